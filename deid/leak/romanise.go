package leak

import (
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// romanised returns the usual spellings of a Greek or Cyrillic name in Latin
// letters, none for a name in other letters. Sources: ELOT 743 for Greek, the
// BGN/PCGN usage and ICAO Doc 9303 part 3 for Cyrillic, all from memory.
func romanised(name string) []string {
	s := strings.ToLower(name)
	if strings.IndexFunc(s, func(r rune) bool { return r >= 0x370 && r < 0x530 }) < 0 {
		return nil
	}
	usual := toLatin.Replace(s)
	if passport := toLatin.Replace(asPassport.Replace(s)); passport != usual {
		return []string{usual, passport}
	}
	return []string{usual}
}

var toLatin = strings.NewReplacer(
	"ου", "ou", "ού", "ou", "αυ", "af", "αύ", "af", "ευ", "ef", "εύ", "ef", "γγ", "ng", "γξ", "nx", "γχ", "nch", "α", "a", "ά", "a", "β", "v", "γ", "g", "δ", "d",
	"ε", "e", "έ", "e", "ζ", "z", "η", "i", "ή", "i", "θ", "th", "ι", "i", "ί", "i", "ϊ", "i", "ΐ", "i", "κ", "k", "λ", "l", "μ", "m", "ν", "n", "ξ", "x",
	"ο", "o", "ό", "o", "π", "p", "ρ", "r", "σ", "s", "ς", "s", "τ", "t", "υ", "y", "ύ", "y", "ϋ", "y", "φ", "f", "χ", "ch", "ψ", "ps", "ω", "o", "ώ", "o",
	"ий", "y", "ый", "y", "а", "a", "б", "b", "в", "v", "г", "g", "д", "d", "е", "e", "ё", "e", "ж", "zh", "з", "z", "и", "i", "й", "y", "к", "k", "л", "l", "м", "m",
	"н", "n", "о", "o", "п", "p", "р", "r", "с", "s", "т", "t", "у", "u", "ф", "f", "х", "kh", "ц", "ts", "ч", "ch", "ш", "sh", "щ", "shch", "ъ", "", "ы", "y",
	"ь", "", "э", "e", "ю", "yu", "я", "ya", "і", "i", "ї", "yi", "є", "ye", "ґ", "g", "ј", "j", "љ", "lj", "њ", "nj", "ћ", "c", "ђ", "dj", "џ", "dz")

// asPassport writes what passports spell otherwise.
var asPassport = strings.NewReplacer("ий", "ii", "й", "i", "ю", "iu", "я", "ia", "щ", "shch", "ъ", "ie")

// respellings are the letters that ASCII writes in several ways: without their mark,
// as the language's own keyboards do, and as passports have them. Source: ICAO Doc
// 9303 part 3, section 6, from memory; the others common practice, no source.
var respellings = map[rune][]string{
	'ä': {"a", "ae"}, 'ö': {"o", "oe"}, 'ü': {"u", "ue"}, 'ø': {"o", "oe"}, 'å': {"a", "aa", "o"}, 'æ': {"ae", "a", "e"}, 'œ': {"oe", "o"},
	'ß': {"ss", "s", "sz"}, 'đ': {"d", "dj"}, 'ð': {"d", "dh", "th"}, 'þ': {"th", "t"}, 'ñ': {"n", "ny", "nn"}, 'ë': {"e", "ee"}, 'ï': {"i", "ii"},
	'č': {"c", "ch"}, 'ć': {"c", "ch"}, 'š': {"s", "sh"}, 'ž': {"z", "zh"}, 'ş': {"s", "sh"}, 'ç': {"c", "ch"}, 'ő': {"o", "oe"}, 'ű': {"u", "ue"},
	'ó': {"o", "oo"}, 'ĳ': {"ij", "y"}, 'ŋ': {"n", "ng"},
}

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
		ways := respellings[r]
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
