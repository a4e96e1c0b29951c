package leak

import (
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

var pages = sync.Pool{New: func() any { return new(page) }}

// Scan returns the matches in text, ordered by Start. Overlapping matches are merged:
// the surer match, then the one from the roster, then the longer gives its class to the
// whole. declared are codes that the record itself declares (tube barcodes, kit lots,
// device serials, study and site codes). A pattern match that is not sure is dropped if
// it lies within a declared code that is a whole word and has the form of a code. A
// roster match is never dropped.
func (s *Scanner) Scan(text string, declared *Declared) []Match {
	return s.search(text, declared, false)
}

// ScanField is like Scan, for the value of a field that does not hold prose: there a
// name of the roster counts in any spelling of its case.
func (s *Scanner) ScanField(text string, declared *Declared) []Match {
	return s.search(text, declared, true)
}

// search does what Scan and ScanField do.
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
	p.text, p.out, p.groups = "", nil, groupedNumber{} // a pooled page must not keep anybody's text
	clear(p.run)
	if len(out) == 0 {
		clean.add(text)
		return nil
	}
	return merge(dismiss(out, text, declared))
}

// scan runs all detectors on text and leaves their matches in p.out.
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

// dismiss drops pattern matches that lie within a declared code and are not sure.
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

// wordEnds reports whether s ends with a letter, a mark or a digit.
func wordEnds(s string) bool {
	r, _ := utf8.DecodeLastRuneInString(s)
	return unicode.In(r, unicode.L, unicode.N, unicode.M)
}

// wordBegins reports whether s begins with a letter, a mark or a digit.
func wordBegins(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return unicode.In(r, unicode.L, unicode.N, unicode.M)
}

// rank orders confidences; "" is the lowest.
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

// merge sorts the matches and joins those that overlap; the best of them, as better
// compares them, describes the whole.
func merge(ms []Match) []Match {
	slices.SortFunc(ms, func(a, b Match) int {
		if a.Start != b.Start {
			return a.Start - b.Start
		}
		return b.End - a.End
	})
	var out []Match
	var best Match // as found, not extended over others
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

// better reports whether a describes a merged match better than b: the surer, then the
// one from the roster, then the longer.
func better(a, b Match) bool {
	if a.Confidence != b.Confidence {
		return rank(a.Confidence) > rank(b.Confidence)
	}
	if x, y := strings.HasPrefix(a.Basis, "roster"), strings.HasPrefix(b.Basis, "roster"); x != y {
		return x
	}
	return a.End-a.Start > b.End-b.Start
}
