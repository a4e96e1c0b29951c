package schema

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// misreadAs are the character sets as which UTF-8 is read by mistake.
var misreadAs = []*charmap.Charmap{charmap.Windows1252, charmap.ISO8859_1, charmap.Macintosh, charmap.CodePage850,
	charmap.CodePage437, charmap.Windows1250, charmap.Windows1251}

// Garbled returns the rows of the roster whose text was damaged when the list was saved or
// opened: the leak check searches for names as they are written there, and would not find
// the right ones. No value is shown.
func (r *Roster) Garbled() []Problem {
	var out []Problem
	for i, row := range r.Rows {
		for _, column := range r.Columns {
			how := garbled(row[column])
			if how == "" {
				continue
			}
			out = append(out, Problem{File: rosterFile, Line: r.Lines[i], Column: 1, Rule: "roster.garbled",
				Severity: Warning, Message: fmt.Sprintf("the text under %s %s: the leak check searches for what is "+
					"written here, and would miss the right spelling in notes; correct it, and save the list as "+
					"\"CSV UTF-8\"", column, how)})
			break
		}
	}
	return out[:min(len(out), maxProblems)]
}

// garbled says what is wrong with a text, "" if nothing is.
func garbled(text string) string {
	switch {
	case ascii(text):
		return ""
	case strings.ContainsRune(text, utf8.RuneError):
		return "has a sign for a character that could not be read"
	}
	for _, word := range strings.Fields(text) {
		if ascii(word) {
			continue
		}
		for _, set := range misreadAs {
			if again, ok := encoded(set, word); ok && utf8.ValidString(again) && latin(again) {
				return "was encoded twice (UTF-8 read as another set of characters)"
			}
		}
		if inWord(word) {
			return "has a sign or a capital letter in a word where there is none, as of another set of characters"
		}
	}
	return ""
}

func ascii(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return r >= utf8.RuneSelf }) < 0
}

// latin reports whether a text has letters beyond ASCII, or signs as in words, and those of
// the Latin alphabet only: two signs beside each other give some character by chance.
func latin(s string) bool {
	return !ascii(s) && strings.IndexFunc(s, func(r rune) bool {
		return r > unicode.MaxLatin1 && !unicode.Is(unicode.Latin, r) && !('\u2010' <= r && r <= '\u2026')
	}) < 0
}

// encoded returns the bytes of a word in a set of characters; control characters that the
// set leaves open are written as they are.
func encoded(set *charmap.Charmap, word string) (string, bool) {
	var out []byte
	for _, r := range word {
		b, ok := set.EncodeRune(r)
		if !ok && r >= 0x80 && r < 0xA0 {
			b, ok = byte(r), true
		}
		if !ok {
			return "", false
		}
		out = append(out, b)
	}
	return string(out), true
}

// inWord reports a sign between letters, or a foreign capital letter between a letter and a
// small one: bytes of one set of characters read as another's.
func inWord(word string) bool {
	rs := []rune(word)
	for i := 1; i+1 < len(rs); i++ {
		before, r, after := rs[i-1], rs[i], rs[i+1]
		if r < utf8.RuneSelf || !unicode.IsLetter(before) {
			continue
		}
		if unicode.IsUpper(r) && unicode.IsLower(after) || unicode.IsLetter(after) &&
			(unicode.IsSymbol(r) && !unicode.Is(unicode.Sk, r) || strings.ContainsRune("¡¿§¶†‡‰•…", r)) {
			return true
		}
	}
	return false
}
