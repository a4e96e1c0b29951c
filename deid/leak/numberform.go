package leak

import "strings"

var things = setOf(cueThing, cueVersion)

// numberForm finds a national or vehicle number without a word that names it. Its groups
// and its check characters must both be right, which seldom happens by chance. After
// words for tubes, lots and devices nothing is reported.
func (p *page) numberForm(i int) bool {
	if p.tok[i].piece > 1 {
		return false // excludes most tokens of long mixed runs
	}
	s, first, last := p.formAt(i)
	if s == nil {
		return false
	}
	far := 4 // words
	if last > i && !p.tok[i].glued && !p.tok[i+1].glued {
		far = 1 // groups are stronger evidence than a distant word
	}
	if !p.nearest(first, far, things).empty() {
		return false
	}
	var buf [24]byte
	v := buf[:0]
	for j := first; j <= last; j++ {
		v = append(v, p.word(j)...)
	}
	if !s.holds(string(v)) || s == birthScheme && !bornDigits(v) {
		return false
	}
	conf := Possible // a check digit is right by chance once in ten times, a letter once in 23
	if s == nirScheme || s == cpfScheme || s == vinScheme {
		conf = Likely
	}
	p.emit(p.tok[first].s, p.tok[last].e, s.class, "pattern: "+s.name, conf)
	return true
}

// formAt returns the scheme whose numbers have the form of the text at token i, with the
// first and the last token, or nil.
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

// mixedForm is formAt for a run of letters and digits in which token i is the first
// number.
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
	gaps   string // one character between each two groups; "?": any, but always the same
	starts string // the possible first digits; "": any
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

// fits reports whether x allows these gaps and this first digit.
func (x *grouping) fits(gaps string, first byte) bool {
	if x.starts != "" && strings.IndexByte(x.starts, first) < 0 {
		return false
	}
	return x.gaps == gaps || x.gaps == "?" && strings.Count(gaps, gaps[:1]) == len(gaps)
}

// grouping returns the scheme with a usual grouping that begins with the n digits of
// token i, and its last token; nil if there is none.
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
		return nil, 0 // as for most numbers: a single group has 15 digits
	}
	form, marks, first := string(sizes[:k]), string(gaps[:k-1]), p.fold.b[p.tok[i].s]
	for x := range groupings {
		if groupings[x].sizes == form && groupings[x].fits(marks, first) {
			return groupings[x].scheme, last
		}
	}
	return nil, 0
}
