package leak

import "strings"

var things = setOf(cueThing, cueVersion)

// numberForm finds a national number or a vehicle's that no word names, by the
// groups it is written in and its check characters, which chance seldom gives
// both. Behind the words for tubes, lots and devices it stays quiet.
func (p *page) numberForm(i int) bool {
	if p.tok[i].piece > 1 {
		return false // most pieces of a jumble
	}
	s, first, last := p.formAt(i)
	if s == nil {
		return false
	}
	far := 4 // words
	if last > i && !p.tok[i].glued && !p.tok[i+1].glued {
		far = 1 // groups say more than a word some way off
	}
	if !p.nearest(first, far, things).empty() {
		return false
	}
	var room [24]byte
	v := room[:0]
	for j := first; j <= last; j++ {
		v = append(v, p.word(j)...)
	}
	if !s.holds(string(v)) || s == birthScheme && !bornDigits(v) {
		return false
	}
	conf := Possible // one check digit in ten, or a letter in twenty-three, holds by chance
	if s == nirScheme || s == cpfScheme || s == vinScheme {
		conf = Likely
	}
	p.emit(p.tok[first].s, p.tok[last].e, s.class, "pattern: "+s.name, conf)
	return true
}

// formAt returns the scheme whose numbers look like the text at token i, and its
// first and last token; nil if none does.
func (p *page) formAt(i int) (s *scheme, first, last int) {
	n := p.tok[i].size()
	switch {
	case p.tok[i].glued || i+1 < len(p.tok) && p.tok[i+1].glued:
		return p.mixedForm(i)
	case n == 1 || n == 2 || n == 3 || n == 6 || n == 8 || n == 15:
		s, last = p.grouping(i, n)
	}
	return s, i, last
}

// mixedForm is formAt for letters and digits in one run, of which token i is the
// first number.
func (p *page) mixedForm(i int) (s *scheme, first, last int) {
	first, last = p.runStart(i), i
	for last+1 < len(p.tok) && p.tok[last+1].glued && p.tok[last].e-p.tok[first].s <= 17 {
		last++
	}
	n := p.tok[i].size()
	switch p.tok[last].e - p.tok[first].s {
	case 17:
		s = vinScheme
	case 9:
		if n == 8 || n == 7 && first == i-1 {
			s = dniScheme
		}
	}
	return s, first, last
}

// A grouping is a usual way to write the numbers of a scheme.
type grouping struct {
	scheme *scheme
	sizes  string // of the groups of digits: "3332"
	gaps   string // the gap before it, one character each; "?" any, but the same
	starts string // one of these digits is the first; "" for any
}

var groupings = []grouping{
	{cpfScheme, "3332", "..-", ""},
	{nirScheme, "1222332", "?", ""},
	{nirScheme, "5", "", "12"}, // 15 digits in one piece
	{birthScheme, "64", "-", ""}, {birthScheme, "64", "+", ""},
	{birthScheme, "84", "-", ""}, {birthScheme, "84", "+", ""},
	{sinScheme, "333", "--", ""},
	{taxScheme, "2333", "   ", ""},
}

// fits reports whether x has these marks between its groups, and begins with first.
func (x *grouping) fits(gaps string, first byte) bool {
	if x.starts != "" && strings.IndexByte(x.starts, first) < 0 {
		return false
	}
	return x.gaps == gaps || x.gaps == "?" && strings.Count(gaps, gaps[:1]) == len(gaps)
}

// grouping returns the scheme whose usual way of writing begins with the n
// digits of token i, and its last token.
func (p *page) grouping(i, n int) (*scheme, int) {
	last := i
	var sizes, gaps [8]byte
	sizes[0] = byte('0' + n%10)
	k := 1
	for ; k < len(sizes) && p.number(last+1); k++ {
		g := p.gap(last + 1)
		if len(g) != 1 || p.tok[last+1].size() > 4 {
			break
		}
		last++
		sizes[k], gaps[k-1] = byte('0'+p.tok[last].size()), g[0]
	}
	if last+1 < len(p.tok) && p.tok[last+1].glued || i > 0 && p.number(i-1) && len(p.gap(i)) == 1 {
		return nil, 0
	}
	if k == 1 && n < 15 {
		return nil, 0 // most numbers: no grouping of one group is shorter
	}
	form, marks, first := string(sizes[:k]), string(gaps[:k-1]), p.fold.b[p.tok[i].s]
	for x := range groupings {
		if groupings[x].sizes == form && groupings[x].fits(marks, first) {
			return groupings[x].scheme, last
		}
	}
	return nil, 0
}
