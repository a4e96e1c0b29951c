package leak

import (
	"sort"
	"strings"
)

// misspelt returns the name of the roster that differs from token i by one letter, as a
// piece of the chain after before. Without a neighbouring name of the same subject the
// word must be long and written like a name.
func (p *page) misspelt(i int, before []part) (part, bool) {
	t := &p.tok[i]
	if t.number || t.size() < 4 || t.size() > 30 || !p.cues(i).empty() || p.runLen(i) > 1 {
		return part{}, false
	}
	var next []part
	if q, ok := p.part(i + 1); ok && joins(p.gap(i+1)) {
		next = []part{q}
	}
	titled := p.titled(i)
	alone := titled || p.marked(i) || t.size() >= 7 && p.caseOf(i) != lowerCase && !p.shouting(i, i)
	if len(before) == 0 && len(next) == 0 && !alone {
		return part{}, false
	}
	var found *term
	p.lex.typos.near(p.word(i), func(x *term) bool {
		for _, n := range [...][]part{before, next} {
			if len(n) == 1 && n[0].term != nil && shareRow(n[0].term.rows, x.rows) {
				found = x
				return false
			}
		}
		if alone && len(x.text) >= 5 && (!x.word() || titled) {
			found = x
		}
		return true
	})
	return part{i, i, found, true}, found != nil
}

// short reports whether token i is the beginning of a given name, such as Véro for
// Véronique, and is written like a name.
func (p *page) short(i int) bool {
	w := p.word(i)
	if len(w) < 4 || !p.cues(i).empty() || !p.lex.shorts.has(wordHash(w)) {
		return false
	}
	if p.caseOf(i) != capital || !p.marked(i) || p.runLen(i) > 1 {
		return false
	}
	k := sort.SearchStrings(p.lex.givens, string(w))
	return k < len(p.lex.givens) && strings.HasPrefix(p.lex.givens[k], string(w)) && len(p.lex.givens[k]) >= len(w)+2
}
