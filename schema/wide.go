package schema

import (
	"regexp"
	"slices"
	"strings"
)

// mostKept is the longest kept text that does not count as wide, in characters.
const mostKept = 64

// wide reports whether the kept text of s could hold somebody's name: several words, or more
// characters than a code has. It tries such texts, because this cannot be read off a pattern.
func (s *shape) wide(f Field) bool {
	if f.Treatment.Kind != Keep || f.Enum || f.Format != "" || !slices.Contains(f.Types, "string") {
		return false
	}
	pattern := s.word("pattern")
	if pattern == nil {
		return true
	}
	form, err := regexp.Compile(pattern.Text)
	if err != nil {
		return true
	}
	most := whole(s.word("maxLength"), maxJSONBytes)
	for _, text := range []string{"Ann Lee", "ann lee", "Lee, Ann", "Dr. Ann Lee", "Dr Lee", "ANN LEE", "2 Ann Lee",
		"A Lee"} {
		if len(text) <= most && form.MatchString(text) {
			return true
		}
	}
	for _, long := range []string{strings.Repeat("a", mostKept+1), strings.Repeat("A", mostKept+1),
		strings.Repeat("7", mostKept+1), strings.Repeat("A7-", mostKept)} {
		if len(long) <= most && form.MatchString(long) {
			return true
		}
	}
	return false
}
