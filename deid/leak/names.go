package leak

import (
	"bytes"
	"slices"
	"unicode/utf8"
)

// A part is a piece of a name of the roster in the text.
type part struct {
	first, last int   // tokens; two if a hyphen or a line end divides the word
	term        *term // nil for an initial
	fuzzy       bool  // misspelt by one letter
}

// joins reports whether g can separate the parts of one name.
func joins(g []byte) bool {
	if len(g) > 12 {
		return false
	}
	lines, commas := 0, 0
	for _, c := range g {
		switch c {
		case ' ', '\t', '\r', '-', '\'', '.', '_':
		case '\n':
			lines++
		case ',':
			commas++
		default:
			return false
		}
	}
	return lines < 2 && commas < 2
}

var (
	ledByTitle = setOf(cueTitle, cueSubject)
	ledByWord  = setOf(cueTitle, cueStaff, cueSubject, cueKin)
)

// findNames finds names of the roster and, after titles and words for relatives and
// staff, names that the roster does not list.
func (p *page) findNames() {
	for i := 0; i < len(p.tok); {
		if p.tok[i].number || !p.mayStartName(i) {
			i++
			continue
		}
		if len(p.lex.initials) > 0 {
			if c := p.chain(i); len(c) > 0 {
				p.judge(c)
				i = c[len(c)-1].last + 1
				continue
			}
			if p.short(i) {
				p.emit(p.tok[i].s, p.tok[i].e, "A", "roster: given_name, cut short", Possible)
			}
		}
		i++
	}
	if p.inner {
		return
	}
	for i := range p.tok {
		t := p.tok[i].term
		if t == nil {
			continue
		}
		if t.cues.meets(ledByWord) {
			p.afterTitle(i)
		}
		if t.text == "by" && i > 0 {
			p.afterBy(i)
		}
	}
}

// mayStartName reports whether a name of the roster can begin at token i: the word or
// the next one is part of a name or is followed by a hyphen, or the word has a capital
// or follows a title. It excludes most words of a text quickly.
func (p *page) mayStartName(i int) bool {
	t := &p.tok[i]
	return p.field || t.lead || t.upper || i+1 < len(p.tok) && p.tok[i+1].lead || p.cues(i-1).meets(ledByTitle)
}

// part returns token i as a piece of a name of the roster; ok is false if it is none.
func (p *page) part(i int) (part, bool) {
	if i < 0 || i >= len(p.tok) || p.tok[i].number || p.tok[i].piece > 1 || p.runLen(i) > 2 {
		return part{}, false
	}
	if i+1 < len(p.tok) && !p.tok[i+1].number && cutsName(p.gap(i+1)) {
		var buf [64]byte
		t := p.lex.words.look(append(append(buf[:0], p.word(i)...), p.word(i+1)...))
		if t != nil && len(t.rows) > 0 && !t.part {
			return part{i, i + 1, t, false}, true
		}
	}
	if p.name(i) {
		return part{i, i, p.tok[i].term, false}, true
	}
	return part{}, false
}

// cutsName reports whether g can divide one word: a hyphen or an apostrophe, within a
// line as in Mac-Donald or at its end as in Guillau-<line end>me.
func cutsName(g []byte) bool {
	if len(g) == 0 || len(g) >= 8 || g[0] != '-' && g[0] != '\'' || len(bytes.Trim(g, "-' \r\n\t")) > 0 {
		return false
	}
	lines := bytes.Count(g, []byte("\n"))
	return len(g) == 1 || lines == 1
}

// chain returns the longest sequence of name pieces that begins at token i. It includes
// initials, and misspelt names that misspelt accepts.
func (p *page) chain(i int) []part {
	var c []part
	next := i
	for next < len(p.tok) {
		if len(c) > 0 && !joins(p.gap(next)) {
			break
		}
		q, ok := p.part(next)
		if !ok {
			var before []part
			if len(c) > 0 {
				before = c[len(c)-1:]
			}
			q, ok = p.misspelt(next, before)
		}
		if !ok && p.initial(next) && (len(c) > 0 || p.name(next+1) && joins(p.gap(next+1))) {
			q, ok = part{next, next, nil, false}, true
		}
		if !ok {
			break
		}
		c = append(c, q)
		next = q.last + 1
	}
	if len(c) > 0 && !slices.ContainsFunc(c, func(q part) bool { return q.term != nil }) {
		return nil
	}
	return c
}

// initial reports whether token i is a single letter that can be an initial.
func (p *page) initial(i int) bool {
	w := p.word(i)
	if p.tok[i].number || utf8.RuneCount(w) != 1 || p.runLen(i) > 1 {
		return false
	}
	return p.caseOf(i) != lowerCase || bytes.HasPrefix(p.after(i), []byte("."))
}

// shareRow reports whether the ascending lists a and b have a row in common.
func shareRow(a, b []int32) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	for _, r := range a {
		if _, ok := slices.BinarySearch(b, r); ok {
			return true
		}
	}
	return false
}
