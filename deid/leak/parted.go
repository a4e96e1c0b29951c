package leak

import (
	"bytes"
	"unicode/utf8"
)

// A value of the roster is parted where marks or white space stand between its
// letters or digits that the other detectors take for the end of a word or number:
// 3041|8923, K o v a l, Kovaly.chenko. Only values of the roster are looked for so;
// what no roster knows is judged by its usual forms alone.

// partingGap reports whether g, which has neither letter nor digit, is short
// enough to part a value: three characters.
func partingGap(g []byte) bool { return len(g) <= 3 || len(g) <= 12 && utf8.RuneCount(g) <= 3 }

// The least letters of a parted name whose letters stand alone, and of another one;
// of one in small letters with an ordinary gap in it; the least digits of a parted number.
const (
	leastSpaced = 4
	leastBroken = 6
	leastLower  = 8
	leastParted = 7
)

// parted reports whether v, found at p.run[k] and touched by nothing, is a value
// with something between its letters or digits.
func (p *page) parted(v *inlay, c code, k int) bool {
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
	spaced := len(gaps) == n-1 // each by itself
	switch v.form {
	case inlayName, inlayPhrase:
		from, _ := p.fold.span(int(p.runAt[k]), int(p.runAt[k])+1)
		switch {
		case spaced:
			return n >= leastSpaced
		case n < leastBroken:
			return false
		case ordinary < len(gaps), len(gaps) > 2:
			return true
		}
		// Two words of a language make a name by chance: van essa, mar tin.
		return (n > leastBroken && p.largeAt(from) || n >= leastLower) && !p.allKnown(k, len(v.key))
	case inlayCode:
		return n >= leastBroken && (ordinary < len(gaps) || n >= 8)
	case inlayDigits:
		if c.class == "B" || !spaced && tableGaps(gaps) {
			return false
		}
		return n >= leastParted || spaced && n == 6 || ordinary == 0 && n == 6 && sameGaps(gaps)
	}
	return spaced || len(gaps) > 1 || string(gaps[0]) != "." // a birth date; no decimals
}

// tableGaps reports whether the gaps are those of numbers in groups, which findCode
// judges, or of several numbers of a table: decimals, lines of cells.
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

// ordinaryGap reports whether g can be between any two words of a text.
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

// allKnown reports whether the vocabulary knows every word in the n bytes of the stream
// from k on.
func (p *page) allKnown(k, n int) bool {
	s, e := int(p.runAt[k]), int(p.runAt[k+n-1])+1
	for i := p.tokenAt(s); i < len(p.tok) && p.tok[i].s < e; i++ {
		if p.cues(i).empty() {
			return false
		}
	}
	return true
}
