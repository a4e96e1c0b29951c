package leak

import (
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// romanised returns the usual spellings in Latin letters of a Greek or Cyrillic name,
// and none for other names.
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

// toLatin replaces Greek and Cyrillic letters by Latin ones. asPassport, applied before
// it, replaces the Cyrillic letters that passports spell differently.
var (
	toLatin    = letterList("letters-latin")
	asPassport = letterList("letters-passport")
)

// respellings maps letters to their usual spellings in ASCII.
var respellings = wordsOf("letters-ascii")

// mostSpellings is how many spellings of one value are searched.
const mostSpellings = 24

// asciiSpellings returns the usual spellings of v in ASCII, in lower case. It returns
// none if v is ASCII, or holds a letter without such a spelling. Each spelling treats
// all occurrences of a letter in the same way.
func asciiSpellings(v string) []string {
	if isASCII(v) {
		return nil
	}
	forms := romanised(v)
	if forms == nil {
		forms = []string{strings.ToLower(norm.NFC.String(v))}
	}
	if len(forms) == 1 && isASCII(forms[0]) {
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
