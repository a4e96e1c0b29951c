package schema

import "strings"

// lookalike maps characters that people mistake for one another when reading or typing to
// one of them: O and 0; I, l and 1 (common practice, no source).
var lookalike = strings.NewReplacer("o", "0", "i", "1", "l", "1")

// Look returns the appearance of a canonical identifier, with similar characters mapped to
// one. Of two identifiers that look the same, one may have been misread.
func Look(canonical string) string { return lookalike.Replace(canonical) }

// lookalikes finds keys, in lower case, that look like an earlier one.
type lookalikes struct {
	first map[string]spelling // by appearance
	seen  map[string]bool
}

// A spelling is a key and the place of its first occurrence.
type spelling struct {
	key string
	place
}

func newLookalikes() *lookalikes {
	return &lookalikes{first: make(map[string]spelling), seen: make(map[string]bool)}
}

// add records an occurrence of key. If it is the first one, and key looks like an earlier,
// different key, add returns the place of that key.
func (l *lookalikes) add(key string, at place) (other place, alike bool) {
	if l.seen[key] {
		return place{}, false
	}
	l.seen[key] = true
	look := lookalike.Replace(key)
	first, there := l.first[look]
	if !there {
		l.first[look] = spelling{key, at}
	}
	return first.place, there
}

const (
	subjectAlike = "this subject_id differs from that in %s only by characters that look alike (O and 0; I, l and " +
		"1): look at both, because one may be misread and belong to the other subject"
	tubeAlike = "this barcode differs from that in %s only by characters that look alike (O and 0; I, l and 1): " +
		"look at both tubes, because one may be misread"
)
