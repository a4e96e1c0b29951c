package leak

import (
	"slices"
	"strings"
	"sync"
)

// streetWords maps the words for kinds of street, and their abbreviations, to their
// full spellings.
var streetWords = sync.OnceValue(func() map[string][]string {
	m := make(map[string][]string)
	for _, group := range entries("streetwords") {
		for _, w := range group {
			m[w] = append(m[w], group[0])
		}
	}
	return m
})

// streetEnds holds the endings of one-word street names, each with its abbreviations.
var streetEnds = sync.OnceValue(func() [][]string { return entries("streetends") })

// contracted maps Italian words to their endings in abbreviations such as P.zza.
var contracted = wordPairs("contracted")

// addStreet adds a street without its house number, in all spellings of its first word.
func (l *lexicon) addStreet(v, basis string) {
	w := withoutHouseNumber(split(foldString(v)))
	n, plain := 0, true
	for _, x := range w {
		n += len(x)
		plain = plain && (known(x) || streetWords()[x] != nil || len(x) < 4)
	}
	if n < 5 {
		return
	}
	enter := func(words ...string) {
		words = append(words, w[1:]...)
		t := l.term(words[0])
		for _, p := range t.phrases {
			if slices.Equal(p.words, words) && p.basis == basis {
				return
			}
		}
		t.phrases = append(t.phrases, &phrase{words, "B", basis, Likely, plain})
	}
	for _, first := range spellings(w[0]) {
		enter(first)
	}
	if end, ok := contracted()[w[0]]; ok {
		enter(w[0][:1], end)
	}
}

// withoutHouseNumber returns the words of a street without its number, the letter of
// the number, and whatever follows.
func withoutHouseNumber(w []string) []string {
	for len(w) > 0 && class[w[0][0]] == cDigit {
		w = w[1:]
	}
	if i := slices.IndexFunc(w, func(x string) bool { return class[x[0]] == cDigit }); i > 0 {
		w = w[:i]
	}
	if len(w) > 1 && len(w[0]) == 1 { // 27a Long Lane
		w = w[1:]
	}
	return w
}

// spellings returns the usual spellings of a word of an address, w itself first.
func spellings(w string) []string {
	out := []string{w}
	for _, full := range streetWords()[w] {
		for x, y := range streetWords() {
			if x != w && slices.Contains(y, full) {
				out = append(out, x)
			}
		}
	}
	for _, ends := range streetEnds() {
		for _, e := range ends {
			if stem, ok := strings.CutSuffix(w, e); ok && len(stem) >= 3 {
				for _, f := range ends {
					if f != e {
						out = append(out, stem+f)
					}
				}
				return out
			}
		}
	}
	return out
}

// sameWord reports whether a and b are spellings of the same word of an address.
func sameWord(a string, b []byte) bool {
	if a == string(b) {
		return true
	}
	for _, full := range streetWords()[a] {
		if slices.Contains(streetWords()[string(b)], full) {
			return true
		}
	}
	return len(a) > 5 && slices.Contains(spellings(a), string(b))
}
