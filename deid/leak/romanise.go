package leak

import (
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// romanised returns the usual spellings of a Greek or Cyrillic name in Latin
// letters, none for a name in other letters.
func romanised(name string) []string {
	s := strings.ToLower(name)
	if strings.IndexFunc(s, func(r rune) bool { return r >= 0x370 && r < 0x530 }) < 0 {
		return nil
	}
	usual := toLatin().Replace(s)
	if passport := toLatin().Replace(asPassport().Replace(s)); passport != usual {
		return []string{usual, passport}
	}
	return []string{usual}
}

// toLatin writes Greek and Cyrillic letters as Latin ones; asPassport makes of
// Cyrillic ones those that passports spell otherwise.
var (
	toLatin    = letterList("letters-latin")
	asPassport = letterList("letters-passport")
)

// respellings are the letters that ASCII writes in several ways.
var respellings = wordsOf("letters-ascii")

// mostSpellings bounds the spellings of one value.
const mostSpellings = 24

// asciiSpellings returns the usual spellings of v in ASCII letters, small; none
// where v is ASCII, or holds a letter that has no such spelling. A letter is spelt
// the same way all through v.
func asciiSpellings(v string) []string {
	forms := romanised(v)
	if forms == nil {
		forms = []string{strings.ToLower(norm.NFC.String(v))}
	}
	if len(forms) == 1 && isASCII(forms[0]) {
		if isASCII(v) {
			return nil
		}
		return forms
	}
	for _, r := range forms[0] {
		if r < utf8.RuneSelf {
			continue
		}
		ways := respellings()[string(r)]
		if ways == nil || len(forms)*len(ways) > mostSpellings {
			ways = append([]string{foldRune(r)}, ways[min(1, len(ways)):min(2, len(ways))]...)
		}
		var next []string
		for _, f := range forms {
			for _, w := range ways {
				if f := strings.ReplaceAll(f, string(r), w); !slices.Contains(next, f) && len(next) < mostSpellings {
					next = append(next, f)
				}
			}
		}
		forms = next
	}
	return slices.DeleteFunc(forms, func(f string) bool { return !isASCII(f) })
}

func isASCII(s string) bool { return len(s) == len(strings.Map(onlyASCII, s)) }
