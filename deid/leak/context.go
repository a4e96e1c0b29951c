package leak

import "bytes"

// clauseStart reports whether a sentence or list item ends right before token i.
func (p *page) clauseStart(i int) bool {
	if i == 0 {
		return true
	}
	g := p.gap(i)
	for k, c := range g {
		switch c {
		case '!', '?', ';', '\n', '|':
			return true
		case '.':
			if k+1 < len(g) && (g[k+1] == ' ' || g[k+1] == '\n') && !p.abbreviated(i-1) {
				return true
			}
		case '-':
			if k > 0 && g[k-1] == ' ' && k+1 < len(g) && g[k+1] == ' ' {
				return true
			}
		}
	}
	return false
}

// abbreviated reports whether token i is a short word of the vocabulary: a full stop
// after it may belong to an abbreviation and not end the sentence.
func (p *page) abbreviated(i int) bool {
	return !p.tok[i].number && p.tok[i].size() <= 4 && !p.cues(i).empty()
}

// before returns the cues of up to n words before token i in its clause.
func (p *page) before(i, n int) (s cueSet) {
	for ; n > 0 && i > 0 && !p.clauseStart(i); n-- {
		i--
		s = s.with(p.cues(i))
	}
	return s
}

// following returns the cues of up to n words after token i in its clause.
func (p *page) following(i, n int) (s cueSet) {
	for i++; n > 0 && i < len(p.tok) && !p.clauseStart(i); i, n = i+1, n-1 {
		s = s.with(p.cues(i))
	}
	return s
}

// nearest returns the wanted cues of the last word before token i that has any, in the
// same clause and at most n words away.
func (p *page) nearest(i, n int, want cueSet) cueSet {
	if !p.seen.meets(want) {
		return cueSet{}
	}
	for ; n > 0 && i > 0 && !p.clauseStart(i); n-- {
		i--
		if k := p.cues(i).both(want); !k.empty() {
			return k
		}
	}
	return cueSet{}
}

// listed returns the cues of up to n words before token i, back to a comma or the start
// of the clause.
func (p *page) listed(i, n int) (s cueSet) {
	for ; n > 0 && i > 0 && !p.clauseStart(i) && bytes.IndexByte(p.gap(i), ',') < 0; n-- {
		i--
		s = s.with(p.cues(i))
	}
	return s
}

// measured reports whether a unit or a per cent sign follows token j.
func (p *page) measured(j int) bool {
	g := p.after(j)
	if t := bytes.TrimLeft(g, " "); len(t) > 0 && (t[0] == '%' || bytes.HasPrefix(t, []byte("°"))) {
		return true
	}
	return p.cues(j+1).has(cueUnit) && len(g) < 2
}
