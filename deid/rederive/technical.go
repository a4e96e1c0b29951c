package rederive

import (
	_ "embed"
	"strings"
	"sync"
)

// The words that a text of an EDF header may keep: own copy of the list that the plan's page
// names, so that a word is not added unseen. TestTechnicalWords compares the two.
//
//go:embed words.txt
var wordList string

// technicalWords returns the words, and whether each is a unit.
var technicalWords = sync.OnceValue(func() map[string]bool {
	list := map[string]bool{}
	for line := range strings.Lines(wordList) {
		fields := strings.Fields(line)
		switch {
		case len(fields) == 0 || fields[0][0] == '#':
		case len(fields) == 2 && fields[0] == "unit":
			list[fields[1]] = true
		case len(fields) == 1:
			list[fields[0]] = false
		}
	}
	return list
})

// technical reports whether a text consists of listed words, of numbers of at most four
// digits before a unit, of at most two further digits, and of blanks and marks. A word is
// letters, which one digit with more letters may follow: "CO2", "cmH2O".
func technical(s string) bool {
	words := technicalWords()
	further := 0
	for at := 0; at < len(s); {
		end := wordEnd(s, at)
		switch c := s[at]; {
		case letter(c) || c == '%':
			if _, ok := words[strings.ToLower(s[at:end])]; !ok {
				return false
			}
		case digit(c):
			digits := len(strings.ReplaceAll(s[at:end], ".", ""))
			next := end + len(s[end:]) - len(strings.TrimLeft(s[end:], " "))
			if digits > 4 || next == len(s) || !words[strings.ToLower(s[next:wordEnd(s, next)])] {
				further += digits
			}
		case !strings.ContainsRune(" /:;,.()+_-", rune(c)):
			return false
		}
		at = end
	}
	return further <= 2
}

// wordEnd returns where the word, number or mark at s[at] ends.
func wordEnd(s string, at int) int {
	run := func(of func(byte) bool, from int) int {
		for from < len(s) && of(s[from]) {
			from++
		}
		return from
	}
	switch {
	case letter(s[at]):
		end := run(letter, at)
		if end < len(s) && digit(s[end]) {
			end = run(letter, end+1)
		}
		return end
	case digit(s[at]):
		end := run(digit, at)
		if end+1 < len(s) && s[end] == '.' && digit(s[end+1]) {
			end = run(digit, end+1)
		}
		return end
	}
	return at + 1
}

func letter(c byte) bool { return 'a' <= c|0x20 && c|0x20 <= 'z' }
func digit(c byte) bool  { return '0' <= c && c <= '9' }
