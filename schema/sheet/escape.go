package sheet

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf16"
)

// unescape replaces _xHHHH_, which is how a workbook writes characters that XML
// cannot hold, and makes every line break a line feed.
//
// Source: ECMA-376 Part 1, 22.9.2.19 (ST_Xstring).
func unescape(s string) string {
	if !strings.Contains(s, "_x") && !strings.Contains(s, "\r") {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); {
		if c, ok := escaped(s[i:]); ok {
			b.WriteRune(c)
			i += 7
			continue
		}
		b.WriteByte(s[i])
		i++
	}
	return oneLineBreak(b.String())
}

// escape is the inverse of unescape for texts without control characters. The
// library escapes some texts, and not those that cells share.
func escape(s string) string {
	if !strings.Contains(s, "_x") {
		return s
	}
	var b strings.Builder
	for i := range len(s) {
		if _, ok := escaped(s[i:]); ok {
			b.WriteString("_x005F") // the underscore, which follows, ends it
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// escaped reads the character that s begins with as _xHHHH_.
func escaped(s string) (c rune, ok bool) {
	if len(s) < 7 || s[:2] != "_x" || s[6] != '_' {
		return 0, false
	}
	n, err := strconv.ParseUint(s[2:6], 16, 16)
	return rune(n), err == nil && !utf16.IsSurrogate(rune(n))
}

func hasControl(s string) bool { return strings.ContainsFunc(s, isControl) }

// isControl reports whether c is a control character other than tab and the
// line breaks, or U+FFFE or U+FFFF, which are no characters.
func isControl(c rune) bool {
	switch c {
	case '\t', '\n', '\r':
		return false
	case 0xFFFE, 0xFFFF:
		return true
	}
	return unicode.IsControl(c)
}

// utf16Length counts the UTF-16 units of s, in which programs count characters.
func utf16Length(s string) int {
	n := 0
	for _, c := range s {
		n += utf16.RuneLen(c)
	}
	return n
}
