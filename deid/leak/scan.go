package leak

import (
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

var pages = sync.Pool{New: func() any { return new(page) }}

// Scan returns the matches in text, ordered by Start, not overlapping (of
// overlapping ones the surer, then the longer, stays and covers both). declared
// are values that the record itself declares (tube barcodes, kit lots, device
// serials, study and site codes): a pattern match that lies within one of them,
// where it is a whole word and has a code's form, is no match unless it is
// sure; a roster match always is.
func (s *Scanner) Scan(text string, declared *Declared) []Match {
	return s.search(text, declared, false)
}

// ScanField is Scan for the value of a field that holds no prose: a name of the
// roster counts there however it is written.
func (s *Scanner) ScanField(text string, declared *Declared) []Match {
	return s.search(text, declared, true)
}

func (s *Scanner) search(text string, declared *Declared, field bool) []Match {
	clean := &s.clean
	if field {
		clean = &s.cleanFields
	}
	if clean.has(text) {
		return nil
	}
	p := pages.Get().(*page)
	defer pages.Put(p)
	p.lex, p.inner, p.field = s.lex, false, field
	p.scan(text)
	out := p.out
	p.text, p.out, p.groups = "", nil, groupedNumber{} // a pooled page holds nobody's text back
	clear(p.run)
	if len(out) == 0 {
		clean.add(text)
		return nil
	}
	return settle(dismiss(out, text, declared))
}

// scan leaves every match of text in p.out.
func (p *page) scan(text string) {
	p.text, p.tok, p.out = text, p.tok[:0], nil
	p.fold.fold(text)
	p.tokenize()
	p.findNames()
	p.findPhrases()
	p.findNumbers()
	p.findAddresses()
	p.findGlued()
	p.findSpoken()
	if !p.inner {
		p.findEncoded()
	}
}

// dismiss drops pattern matches within a declared code.
func dismiss(ms []Match, text string, declared *Declared) []Match {
	if declared.none() {
		return ms
	}
	return slices.DeleteFunc(ms, func(m Match) bool {
		if m.Confidence == Sure || strings.HasPrefix(m.Basis, "roster") {
			return false
		}
		within, _ := declared.covers(text, m.Start, m.End)
		return within
	})
}

func wordEnds(s string) bool {
	r, _ := utf8.DecodeLastRuneInString(s)
	return unicode.In(r, unicode.L, unicode.N, unicode.M)
}

func wordBegins(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return unicode.In(r, unicode.L, unicode.N, unicode.M)
}

func rank(c Confidence) int {
	switch c {
	case Sure:
		return 3
	case Likely:
		return 2
	case Possible:
		return 1
	}
	return 0
}

// settle orders the matches and joins those that overlap: the surer, then one
// from the roster, then the longer names the whole.
func settle(ms []Match) []Match {
	slices.SortFunc(ms, func(a, b Match) int {
		if a.Start != b.Start {
			return a.Start - b.Start
		}
		return b.End - a.End
	})
	var out []Match
	var best Match // as found, before it was widened
	for _, m := range ms {
		n := len(out)
		if n == 0 || m.Start >= out[n-1].End {
			out, best = append(out, m), m
			continue
		}
		if better(m, best) {
			best = m
		}
		out[n-1] = Match{out[n-1].Start, max(out[n-1].End, m.End), best.Class, best.Basis, best.Confidence}
	}
	return out
}

func better(a, b Match) bool {
	if a.Confidence != b.Confidence {
		return rank(a.Confidence) > rank(b.Confidence)
	}
	if x, y := strings.HasPrefix(a.Basis, "roster"), strings.HasPrefix(b.Basis, "roster"); x != y {
		return x
	}
	return a.End-a.Start > b.End-b.Start
}
