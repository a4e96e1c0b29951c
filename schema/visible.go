package schema

import (
	"fmt"
	"unicode"
	"unicode/utf8"
)

// Invisible characters could carry anything past a person who reads a text: a name in tag
// characters, a number in variation selectors. So a text that leaves holds only visible
// characters and ordinary white space.

// Hidden finds the first character of text that is neither visible nor ordinary white space
// (blanks, tab, line feed, carriage return): controls, format and private-use characters,
// surrogates, unassigned code points, line and paragraph separators, fillers, selectors, and
// broken UTF-8, which counts as U+FFFD of one byte. at is its byte offset. message gives its
// position, in characters from 1, and its code point, never the text around it.
//
// Two exceptions pass: one variation selector after a symbol used for emoji, and the joiners
// U+200C and U+200D between letters of the scripts whose spelling needs them.
func Hidden(text string) (at int, message string, found bool) {
	for i := 0; i < len(text); i++ { // nearly all texts hold only these
		if c := text[i]; (c < ' ' || c > '~') && c != '\n' && c != '\t' && c != '\r' {
			return hiddenFrom(text)
		}
	}
	return 0, "", false
}

func hiddenFrom(text string) (at int, message string, found bool) {
	n, before, last := 0, rune(0), rune(0) // before: the one before the last
	for i, r := range text {
		n++
		_, size := utf8.DecodeRuneInString(text[i:])
		next, _ := utf8.DecodeRuneInString(text[i+size:])
		broken := r == utf8.RuneError && size == 1
		if broken || !visible(r) && !selects(before, last, r, next) && !joinsLetters(last, r, next) {
			return i, fmt.Sprintf("character %d of this text (U+%04X) cannot be seen, so it could hide something; "+
				"delete the text there and type it again, or remove the character", n, r), true
		}
		before, last = last, r
	}
	return 0, "", false
}

// visible reports whether r can be seen or is ordinary white space.
func visible(r rune) bool {
	switch {
	case r == '\n' || r == '\t' || r == '\r':
		return true
	case unicode.In(r, blank):
		return false
	}
	return unicode.In(r, unicode.L, unicode.M, unicode.N, unicode.P, unicode.S, unicode.Zs)
}

// blank holds letters, marks and symbols that are drawn as nothing. Source: Unicode,
// DerivedCoreProperties.txt, Default_Ignorable_Code_Point, those members in categories L, M and
// S; and, from the names list of the Unicode Standard, the Braille pattern without dots, the
// object replacement character, the Khitan filler and the null notehead.
var blank = &unicode.RangeTable{
	R16: []unicode.Range16{
		{Lo: 0x034F, Hi: 0x034F, Stride: 1}, {Lo: 0x115F, Hi: 0x1160, Stride: 1}, {Lo: 0x17B4, Hi: 0x17B5, Stride: 1},
		{Lo: 0x180B, Hi: 0x180F, Stride: 1}, {Lo: 0x2800, Hi: 0x2800, Stride: 1}, {Lo: 0x3164, Hi: 0x3164, Stride: 1},
		{Lo: 0xFE00, Hi: 0xFE0F, Stride: 1}, {Lo: 0xFFA0, Hi: 0xFFA0, Stride: 1}, {Lo: 0xFFFC, Hi: 0xFFFC, Stride: 1},
	},
	R32: []unicode.Range32{
		{Lo: 0x16FE4, Hi: 0x16FE4, Stride: 1}, {Lo: 0x1D159, Hi: 0x1D159, Stride: 1},
		{Lo: 0xE0100, Hi: 0xE01EF, Stride: 1},
	},
}

// selects reports whether r is an emoji variation selector after a symbol that has both
// presentations, or after the digit of a keycap. Source: Unicode, emoji-variation-sequences.txt,
// whose base characters are symbols, a few punctuation marks and keycap digits.
func selects(before, last, r, next rune) bool {
	if r != 0xFE0E && r != 0xFE0F {
		return false
	}
	symbol := last > 0x7F && unicode.In(last, unicode.S, unicode.Po)
	keycap := (last == '#' || last == '*' || '0' <= last && last <= '9') && next == 0x20E3
	return symbol && !unicode.In(last, blank) || keycap && !unicode.IsDigit(before)
}

// joinsLetters reports whether r is a joiner between two letters of one of the
// scripts that are spelt with it. Source: UAX #31, section 2.3.1.
func joinsLetters(last, r, next rune) bool {
	if r != 0x200C && r != 0x200D {
		return false
	}
	joined := func(r rune) bool { return unicode.In(r, unicode.L, unicode.M) && unicode.In(r, joinedScripts...) }
	return joined(last) && joined(next)
}

var joinedScripts = []*unicode.RangeTable{unicode.Arabic, unicode.Syriac, unicode.Mongolian, unicode.Devanagari,
	unicode.Bengali, unicode.Gurmukhi,
	unicode.Gujarati, unicode.Oriya, unicode.Tamil, unicode.Telugu, unicode.Kannada, unicode.Malayalam,
	unicode.Sinhala, unicode.Khmer, unicode.Myanmar}
