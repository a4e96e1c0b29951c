package sheet

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

const (
	lostLetter     = "a mark that programs leave where a letter was lost: "
	foreignLetters = "letters that were saved in one encoding and read in another, two or three signs for one letter: "
)

// garbled refuses a text whose letters went through a wrong encoding before.
func garbled(text string) *Refusal {
	line := 0
	for l := range strings.Lines(text) {
		line++
		if twiceEncoded(l) {
			return atLine(line, "holds "+foreignLetters+"export the table again from where it is right, as CSV UTF-8")
		}
	}
	return nil
}

// twiceEncoded reports whether a run of characters beyond ASCII is UTF-8 that was read as
// Windows-1252 or as Latin-1: then its bytes are the UTF-8 of a letter, with a letter and
// a sign next to each other that no language writes so.
func twiceEncoded(text string) bool {
	for i := 0; i < len(text); {
		if text[i] < utf8.RuneSelf {
			i++
			continue
		}
		end := i
		for end < len(text) && text[end] >= utf8.RuneSelf {
			end++
		}
		if reread(text[i:end]) {
			return true
		}
		i = end
	}
	return false
}

// reread reports whether a run holds a character of two or three bytes when its characters
// are put back into bytes.
func reread(run string) bool {
	var bytes []byte
	for _, c := range run {
		b, ok := charmap.Windows1252.EncodeRune(c)
		switch {
		case ok:
		case 0x80 <= c && c <= 0x9F: // bytes that Windows-1252 gives no character
			b = byte(c)
		default:
			b = ' '
		}
		bytes = append(bytes, b)
	}
	for i := range bytes {
		c, size := utf8.DecodeRune(bytes[i:])
		if size < 2 || c == utf8.RuneError {
			continue
		}
		switch bytes[i] {
		case 0xC2, 0xC3, 0xE2: // no word has these before a sign
			return true
		case 0xC4, 0xC5: // capitals that quotation marks and dashes may follow
			if b := bytes[i+1]; b >= 0xA0 || b < 0x82 || b > 0x97 {
				return true
			}
		}
	}
	return false
}

// elsewhere returns the first line of a text read as Windows-1252 whose letters are more
// likely of another encoding, 0 for none. What the letters s and z with a caron are there,
// are o and u with a mark in Mac OS Roman; and whoever writes carons has the encoding of
// Central Europe, where other letters differ.
//
// Sources: the mapping files 8859-1, CP1252, CP1250 and ROMAN of the Unicode Consortium.
func elsewhere(text string) int {
	line := 1
	var before rune
	word := 0 // letters before, without a break
	for i, c := range text {
		if before != 0 && unicode.IsLetter(before) {
			word++
		} else {
			word = 0
		}
		if c < utf8.RuneSelf {
			if c == '\n' {
				line++
			}
			before = c
			continue
		}
		after, _ := utf8.DecodeRuneInString(text[i+utf8.RuneLen(c):])
		inWord := unicode.IsLetter(before) && unicode.IsLower(after)
		switch {
		case strings.ContainsRune("ŠšŽžŸŒƒˆ†‡‰‹›", c):
			return line // letters with carons and what stands beside them
		case inWord && strings.ContainsRune("€‚„…‘“”•–—˜™"+
			"¤§®¯¾¿¡»«·", c):
			return line // signs inside a word, which are letters in Mac OS Roman
		case c == '’' && word > 2 && unicode.IsLower(after) &&
			!strings.ContainsRune("stmdrlv", after):
			return line // as in "don't"; else i with an accent in Mac OS Roman
		case c == '¡' && (after == 'C' || after == 'F'):
			return line // the sign of degrees in Mac OS Roman
		}
		before = c
	}
	return 0
}
