package leak

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Initials returns the usual initials of a person of these names, in capitals: the
// first letters of given and family names, one of each or all of them, in both orders.
// It returns nil unless both names have a letter.
func Initials(given, family string) []string {
	letters := func(name string) (out []string) {
		for _, w := range split(foldString(name)) {
			if !vocabulary()[w].has(cueParticle) || len(out) > 0 {
				out = append(out, strings.ToUpper(w[:runeLen(w)]))
			}
		}
		return out
	}
	g, f := letters(given), letters(family)
	if len(g) == 0 || len(f) == 0 {
		return nil
	}
	var all []string
	allGiven, allFamily := strings.Join(g, ""), strings.Join(f, "")
	for _, x := range []string{g[0] + f[0], f[0] + g[0], allGiven + f[0], g[0] + allFamily, allGiven + allFamily} {
		if !slices.Contains(all, x) {
			all = append(all, x)
		}
	}
	return all
}

// FindInitials returns the places of text where one of initials is a word in capitals:
// JM, J.M. or J. M. Many people share their initials; call it only for texts about one
// person, with that person's initials. The matches are at most possible. It skips
// letters within a code (JM-0417) and, without full stops, abbreviations of the trade
// and short everyday words.
func FindInitials(text string, initials []string) (out []Match) {
	if len(initials) == 0 {
		return nil
	}
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		if !unicode.IsUpper(r) || joinedBefore(text[:i]) {
			i += n
			continue
		}
		end, letters, stops := initialsAt(text, i)
		word := strings.ToUpper(foldString(letters))
		other := abbreviations()[strings.ToLower(word)] || known(strings.ToLower(word))
		if utf8.RuneCountInString(letters) > 1 && slices.Contains(initials, word) && (stops || !other) {
			out = append(out, Match{i, end, "A", "roster: initials of the subject", Possible})
		}
		i = max(end, i+n)
	}
	return out
}

// initialsAt reads the capitals that begin at text[i], with a full stop after each or
// after none, and returns their end. letters is "" if they are part of a longer word.
func initialsAt(text string, i int) (end int, letters string, stops bool) {
	for end = i; end < len(text); {
		r, n := utf8.DecodeRuneInString(text[end:])
		if !unicode.IsUpper(r) {
			break
		}
		letters += string(r)
		end += n
		next := end
		if strings.HasPrefix(text[next:], ".") {
			next++
			if strings.HasPrefix(text[next:], " ") {
				next++
			}
			after, _ := utf8.DecodeRuneInString(text[next:])
			behind, _ := utf8.DecodeRuneInString(text[min(len(text), next+utf8.RuneLen(max(after, 0))):])
			if unicode.IsUpper(after) && !unicode.IsLetter(behind) {
				stops, end = true, next
			}
		}
	}
	if joinedBehind(text[end:]) {
		return end, "", false
	}
	return end, letters, stops
}

// joinedBefore reports whether s, the text before a word, makes the word a part of a
// code or of a longer word.
func joinedBefore(s string) bool {
	r, n := utf8.DecodeLastRuneInString(s)
	if strings.ContainsRune("-_/.", r) && n > 0 {
		r, _ = utf8.DecodeLastRuneInString(s[:len(s)-n])
	}
	return unicode.In(r, unicode.L, unicode.N, unicode.M)
}

// joinedBehind is like joinedBefore, for the text after a word.
func joinedBehind(s string) bool {
	r, n := utf8.DecodeRuneInString(s)
	if strings.ContainsRune("-_/.", r) && n > 0 {
		r, _ = utf8.DecodeRuneInString(s[n:])
	}
	return unicode.In(r, unicode.L, unicode.N, unicode.M)
}

// abbreviations holds everyday words and abbreviations of two to four letters that
// notes write in capitals.
var abbreviations = wordSet("abbreviations")
