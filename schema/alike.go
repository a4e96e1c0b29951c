package schema

import "strings"

// lookalike maps the characters that are mistaken for one another by eye or by
// hand: O and 0; I, l and 1 (common practice, no source).
var lookalike = strings.NewReplacer("o", "0", "i", "1", "l", "1")

// Look returns how the canonical form of an identifier looks: two that look the same
// may be one that was misread.
func Look(canonical string) string { return lookalike.Replace(canonical) }

// lookalikes finds keys, in lower case, that look like another one.
type lookalikes struct {
	first map[string]spelling // by how it looks
	seen  map[string]bool
}

// A spelling is a key and where it stood first.
type spelling struct {
	key string
	place
}

func newLookalikes() *lookalikes {
	return &lookalikes{first: make(map[string]spelling), seen: make(map[string]bool)}
}

// add notes that key stands at a place. When it stands there for the first time
// and looks like another key, the place of that one is returned.
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
