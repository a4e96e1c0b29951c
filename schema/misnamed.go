package schema

import (
	"fmt"
	"path"
	"strconv"
	"strings"
	"unicode"
)

// misnamed reports recordings whose file name is another session's: it holds that one's
// session_id, or its number where the names of most recordings end in the number of their
// session. A CSV recording says nothing of itself, so its name is all there is.
func (c *Collection) misnamed() {
	ids, numbers := make(map[string]*Session), make(map[int]*Session)
	for _, s := range c.Sessions {
		if id, err := Canonical(s.ID); err == nil && len(id) >= 3 {
			ids[id] = s
		}
		if n, ok := lastNumber(s.ID); ok {
			if _, twice := numbers[n]; twice {
				s = nil // the number settles nothing
			}
			numbers[n] = s
		}
	}
	fit, all := 0, 0
	for _, s := range c.Sessions {
		for _, r := range s.Recordings {
			if own, ok := lastNumber(s.ID); ok {
				all++
				if n, ok := lastNumber(stem(r.File)); ok && n == own {
					fit++
				}
			}
		}
	}
	numbered := all >= 4 && 2*fit >= all
	for _, s := range c.Sessions {
		for _, r := range s.Recordings {
			other, own := holds(stem(r.File), ids, s)
			if n, ok := lastNumber(stem(r.File)); ok && numbered && !own && other == nil {
				other = numbers[n]
			}
			if other == nil || other == s {
				continue
			}
			c.report(s, r.Pointer, "recording.name", Warning, fmt.Sprintf("by its name this recording is that of the "+
				"session in %s: look whether two files were exchanged, and name the right one in each record",
				other.at("/session_id")))
		}
	}
}

func stem(file string) string { return strings.TrimSuffix(path.Base(file), path.Ext(file)) }

// holds finds a session_id among the words of a name: another's, unless own is there too.
func holds(name string, ids map[string]*Session, s *Session) (other *Session, own bool) {
	words := strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	const most = 16 // words of a name, and of an identifier
	words = words[:min(len(words), most)]
	for i := range words {
		for j := i + 1; j <= len(words); j++ {
			id, err := Canonical(strings.Join(words[i:j], ""))
			if err != nil || ids[id] == nil || lone(id) {
				continue
			}
			if ids[id] == s {
				return nil, true
			}
			other = ids[id]
		}
	}
	return other, false
}

// lone reports whether an identifier is a mere number, which any name may hold.
func lone(id string) bool { return strings.TrimFunc(id, unicode.IsDigit) == "" }

// lastNumber returns the last digits of a text as a number.
func lastNumber(text string) (int, bool) {
	end := strings.LastIndexAny(text, "0123456789") + 1
	start := end
	for start > 0 && '0' <= text[start-1] && text[start-1] <= '9' {
		start--
	}
	n, err := strconv.Atoi(text[start:end])
	return n, err == nil
}
