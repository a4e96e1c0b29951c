package leak

import (
	"bytes"
	"slices"
	"strings"
	"sync"
)

// A scheme is a kind of national, professional or vehicle number with check characters.
type scheme struct {
	key   string // in words/schemes.txt
	class Class
	name  string
	sizes []int               // characters
	holds func(v string) bool // reports whether the check characters of v hold
}

var (
	sinScheme   = &scheme{"sin", "R", "social insurance number", []int{9}, sin}
	bsnScheme   = &scheme{"bsn", "R", "citizen service number", []int{9}, bsn}
	npiScheme   = &scheme{"npi", "K", "provider number", []int{10}, npi}
	taxScheme   = &scheme{"steuerid", "R", "tax number", []int{11}, steuerID}
	cpfScheme   = &scheme{"cpf", "R", "tax number", []int{11}, cpf}
	dniScheme   = &scheme{"dni", "R", "identity number", []int{9}, dni}
	nirScheme   = &scheme{"nir", "R", "social security number", []int{15}, nir}
	birthScheme = &scheme{"personnummer", "R", "personal number", []int{10, 12}, personnummer}
	vinScheme   = &scheme{"vin", "L", "vehicle identification number", []int{17}, vin}
)

// schemes maps the words that precede a number to its scheme.
var schemes = sync.OnceValue(func() map[string]*scheme {
	all := []*scheme{
		sinScheme, bsnScheme, npiScheme, taxScheme, cpfScheme, dniScheme, nirScheme, birthScheme, vinScheme,
	}
	m := make(map[string]*scheme)
	for _, e := range entries("schemes") {
		for _, s := range all {
			if s.key == e[1] {
				m[e[0]] = s
			}
		}
	}
	return m
})

// shortestScheme is the length of the shortest of these words, in bytes.
const shortestScheme = 3

// national finds the number after token i if that word names a scheme. The match is
// sure if the check characters are right, otherwise possible: a mistyped number still
// identifies somebody.
func (p *page) national(i int) {
	w := p.word(i)
	if len(w) < shortestScheme {
		return
	}
	s := schemes()[string(w)]
	if s == nil {
		return
	}
	first := i + 1
	if first < len(p.tok) && !p.number(first) && !(first+1 < len(p.tok) && p.tok[first+1].glued) { // no., is, number
		first++
	}
	if first >= len(p.tok) || p.tok[first].glued || !bytes.ContainsAny(p.gap(first), " :") {
		return
	}
	if last, conf := p.schemeEnd(s, first); last >= 0 {
		p.emit(p.tok[first].s, p.tok[last].e, s.class, "pattern: "+s.name, conf)
	}
}

// schemeEnd returns the last token of the number of scheme s that begins at token first,
// or -1 if none does.
func (p *page) schemeEnd(s *scheme, first int) (last int, conf Confidence) {
	var buf [20]byte
	v, digits := buf[:0], 0
	last, conf = -1, Possible
	least := 7 // digits
	if s == vinScheme {
		least = 4
	}
	for j := first; j < len(p.tok) && len(v)+p.tok[j].size() <= 18; j++ {
		if g := p.gap(j); j > first && len(g) > 0 && (len(g) > 1 || strings.IndexByte(" -./+", g[0]) < 0) {
			break
		}
		w := p.word(j)
		if p.tok[j].number {
			digits += len(w)
		} else if len(w) > 1 && s != vinScheme {
			break // a word
		}
		v = append(v, w...)
		if digits < least || j+1 < len(p.tok) && p.tok[j+1].glued || !slices.Contains(s.sizes, len(v)) {
			continue
		}
		last = j
		if s.holds(string(v)) {
			return last, Sure // a word names it, and its check characters are right
		}
	}
	return last, conf
}
