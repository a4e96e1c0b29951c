package leak

import "bytes"

// numberForm finds a national number or a vehicle's that no word names, by the
// groups it is written in and its check characters, which chance seldom gives
// both. Behind the words for tubes, lots and devices it stays quiet.
func (p *page) numberForm(i int) bool {
	first, last, s, far := i, i, (*scheme)(nil), 4
	switch n := p.tok[i].e - p.tok[i].s; {
	case p.tok[i].glued || i+1 < len(p.tok) && p.tok[i+1].glued:
		if p.tok[i].piece > 1 {
			return false // not the first number of its run
		}
		first = p.runStart(i)
		for last+1 < len(p.tok) && p.tok[last+1].glued && p.tok[last].e-p.tok[first].s <= 17 {
			last++
		}
		switch p.tok[last].e - p.tok[first].s {
		case 17:
			s = vinScheme
		case 9:
			if n == 8 || n == 7 && first == i-1 {
				s = dniScheme
			}
		}
	case n == 1 || n == 2 || n == 3 || n == 6 || n == 8 || n == 15:
		s, last = p.grouping(i, n)
		if last > i {
			far = 1 // groups say more than a word some way off
		}
	}
	if s == nil || p.nearest(first, far, kThing|kVersion) != 0 {
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

// grouping returns the scheme whose usual way of writing begins with the n
// digits of token i, and its last token.
func (p *page) grouping(i, n int) (*scheme, int) {
	last := i
	var form, gaps [8]byte
	form[0] = byte('0' + n%10)
	k := 1
	for ; k < len(form) && p.number(last+1); k++ {
		g := p.gap(last + 1)
		if len(g) != 1 || p.tok[last+1].e-p.tok[last+1].s > 4 {
			break
		}
		last++
		form[k], gaps[k-1] = byte('0'+p.tok[last].e-p.tok[last].s), g[0]
	}
	if last+1 < len(p.tok) && p.tok[last+1].glued || i > 0 && p.number(i-1) && len(p.gap(i)) == 1 {
		return nil, 0
	}
	f, g := string(form[:k]), gaps[:k-1]
	switch {
	case f == "3332" && string(g) == "..-":
		return cpfScheme, last
	case f == "1222332" && bytes.Count(g, g[:1]) == len(g), n == 15 && k == 1 && (p.fold.b[p.tok[i].s] == '1' || p.fold.b[p.tok[i].s] == '2'):
		return nirScheme, last
	case (f == "64" || f == "84") && (g[0] == '-' || g[0] == '+'):
		return birthScheme, last
	case f == "333" && string(g) == "--":
		return sinScheme, last
	case f == "2333" && string(g) == "   ":
		return taxScheme, last
	}
	return nil, 0
}

// bornDigits says whether a personal number begins with a day of birth and is
// no time of the present years, 260312-0915.
func bornDigits(v []byte) bool {
	if len(v) == 12 {
		if v[0] != '1' || v[1] != '9' {
			return false
		}
		v = v[2:]
	}
	two := func(k int) int { return int(v[k]-'0')*10 + int(v[k+1]-'0') }
	month, day := two(2), two(4)
	clock := two(6) < 24 && two(8) < 60 && two(0) >= 15 && two(0) < 40
	return month >= 1 && month <= 12 && (day >= 1 && day <= 31 || day >= 61 && day <= 91) && !clock
}
