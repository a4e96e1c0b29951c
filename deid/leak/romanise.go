package leak

import "strings"

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
