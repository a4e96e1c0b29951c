package leak

import (
	"bytes"
	"unicode/utf8"
)

// A value of the roster is parted if it has marks or white space between its letters or
// digits that the other detectors take for the end of a word or number: 3041|8923,
// K o v a l, Kovaly.chenko. Only values of the roster are searched in this form.

// partingGap reports whether g, which has neither letters nor digits, is short enough to
// be within a parted value: three characters.
func partingGap(g []byte) bool { return len(g) <= 3 || len(g) <= 12 && utf8.RuneCount(g) <= 3 }

// The least lengths of parted values.
const (
	leastSpaced = 4 // letters of a name with a gap after each letter
	leastBroken = 6 // letters of any other name
	leastLower  = 8 // letters of a name in lower case with only ordinary gaps
	leastParted = 7 // digits of a number
)

// parted reports whether v, which was found at p.run[k] and which no letter or digit
// touches, counts as a parted value.
func (p *page) parted(v *embedded, c code, k int) bool {
	gaps := p.gapsIn(k, len(v.key))
	if len(gaps) == 0 {
		return false
	}
	n, ordinary := utf8.RuneCountInString(v.key), 0
	for _, g := range gaps {
		if ordinaryGap(g) {
			ordinary++
		}
	}
	spaced := len(gaps) == n-1 // a gap after each character
	switch v.form {
	case embeddedName, embeddedPhrase:
		from, _ := p.fold.span(int(p.runAt[k]), int(p.runAt[k])+1)
		switch {
		case spaced:
			return n >= leastSpaced
		case n < leastBroken:
			return false
		case ordinary < len(gaps), len(gaps) > 2:
			return true
		}
		// Two ordinary words form a name by chance: van essa, mar tin.
		return (n > leastBroken && p.largeAt(from) || n >= leastLower) && !p.allKnown(k, len(v.key))
	case embeddedCode:
		return n >= leastBroken && (ordinary < len(gaps) || n >= 8)
	case embeddedDigits:
		if c.class == "B" || !spaced && tableGaps(gaps) {
			return false
		}
		return n >= leastParted || spaced && n == 6 || ordinary == 0 && n == 6 && sameGaps(gaps)
	}
	return spaced || len(gaps) > 1 || string(gaps[0]) != "." // a birth date, not a decimal number
}

// tableGaps reports whether the gaps are those of a number in groups, which findCode
// judges, or of several numbers of a table, such as decimals or lines of cells.
func tableGaps(gaps [][]byte) bool {
	dots, lines, others := 0, 0, 0
	groups := true
	for _, g := range gaps {
		groups = groups && codeGap(g)
		switch {
		case string(g) == ".":
			dots++
		case string(g) == "\n", string(g) == "\r\n":
			lines++
		default:
			others++
		}
	}
	return groups || dots > 0 && (others > 0 || lines > 0) || lines > 0 && others > 0
}

// ordinaryGap reports whether g is usual between two words of a text.
func ordinaryGap(g []byte) bool {
	switch string(g) {
	case " ", ", ", ". ", "; ", ": ", "\n", "\r\n", ".\n", ",\n":
		return true
	}
	return false
}

func sameGaps(gaps [][]byte) bool {
	for _, g := range gaps {
		if !bytes.Equal(g, gaps[0]) {
			return false
		}
	}
	return true
}

// allKnown reports whether all words in the n bytes of the stream from k on are in the
// vocabulary.
func (p *page) allKnown(k, n int) bool {
	s, e := int(p.runAt[k]), int(p.runAt[k+n-1])+1
	for i := p.tokenAt(s); i < len(p.tok) && p.tok[i].s < e; i++ {
		if p.cues(i).empty() {
			return false
		}
	}
	return true
}
