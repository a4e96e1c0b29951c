package keys

import (
	"bytes"
	"iter"
	"strings"
)

// textLines yields the lines of a key file with their numbers from 1, trimmed, without
// empty lines and comments. A byte-order mark at the start and carriage returns at line
// ends, which Windows editors write, are dropped.
func textLines(data []byte) iter.Seq2[int, string] {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	return func(yield func(int, string) bool) {
		n := 0
		for line := range strings.Lines(string(data)) {
			n++
			line = strings.Trim(line, " \t\r\n")
			if line == "" || line[0] == '#' {
				continue
			}
			if !yield(n, line) {
				return
			}
		}
	}
}

// field splits the first word off s.
func field(s string) (first, rest string) {
	i := strings.IndexAny(s, " \t")
	if i < 0 {
		return s, ""
	}
	return s[:i], strings.TrimLeft(s[i:], " \t")
}

// secretLine returns the kind of secret in a line, such as "an age secret key", or "" if it
// holds no known kind.
func secretLine(line string) string {
	upper := strings.ToUpper(line)
	switch {
	case strings.Contains(upper, "AGE-SECRET-KEY-"), strings.Contains(upper, "AGE-PLUGIN-"):
		return "an age secret key"
	case strings.Contains(upper, "PRIVATE KEY-----"):
		return "a private key"
	case strings.Contains(line, pseudonymHeader):
		return "a pseudonym key"
	}
	return ""
}

// appendLines returns text with lines added, and first a line feed if the last is missing.
func appendLines(text []byte, lines ...string) []byte {
	out := bytes.Clone(text)
	if len(out) > 0 && out[len(out)-1] != '\n' {
		out = append(out, '\n')
	}
	for _, l := range lines {
		out = append(append(out, l...), '\n')
	}
	return out
}
