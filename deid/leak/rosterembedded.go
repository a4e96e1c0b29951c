package leak

import (
	"strings"
	"unicode"
)

// addEmbedded adds a value of the column col to the index of embedded values, in the
// forms that its kind has.
func (l *lexicon) addEmbedded(col, v string) {
	folded := foldString(v)
	key := squeeze(folded)
	hasDigit := strings.ContainsAny(key, "0123456789")
	kind := func(class Class, conf Confidence) uint16 {
		return l.kindOf(code{class: class, basis: "roster: " + col, conf: conf})
	}
	digitsOf := func(s string) string { return strings.Map(onlyDigit, s) }
	number := func(s string, class Class) {
		switch {
		case digits(s) && len(s) >= 6:
			l.embedded.add(s, kind(class, Likely), embeddedDigits, false)
		case !digits(s) && hasDigit && len(s) >= 5:
			l.embedded.add(s, kind(class, Likely), embeddedCode, false)
		}
	}
	switch col {
	case "given_name", "family_name", "other_names", "emergency_contact_name":
		l.addEmbeddedNames(col, v, kind("A", Possible))
	case "sex", "country":
	case "mrn", "national_id", "subject_id":
		class := Class("R")
		if col == "mrn" {
			class = "H"
		}
		number(key, class)
		number(strings.TrimLeftFunc(key, unicode.IsLetter), class)
	case "phone", "emergency_contact_phone":
		f, _, _ := strings.Cut(folded, "x")
		d := digitsOf(f)
		if strings.HasPrefix(strings.TrimSpace(f), "+") {
			d = d[callingCode(d):]
		}
		number(strings.TrimLeft(d, "0"), "D")
	case "birth_date":
		if _, ok := parseISO(v); ok {
			iso := digitsOf(v)
			for _, form := range []string{iso, iso[6:] + iso[4:6] + iso[:4], iso[4:6] + iso[6:] + iso[:4]} {
				l.embedded.add(form, kind("C", Possible), embeddedDate, false)
			}
		}
	case "email":
		if len(key) >= 8 {
			l.embedded.add(key, kind("F", Likely), embeddedCode, false)
		}
	case "postal_code":
		if len(key) >= 4 {
			form := embeddedDigits
			if !digits(key) {
				form = embeddedCode
			}
			l.embedded.add(key, kind("B", Possible), form, false)
		}
	default:
		l.addEmbeddedPhrase(col, folded, kind)
	}
}

// addEmbeddedNames adds the words of names, and each name as one word.
func (l *lexicon) addEmbeddedNames(col, v string, what uint16) {
	enter := func(w string) {
		if w != "" && !digits(w) {
			l.embedded.add(w, what, embeddedName, everyday(w))
		}
	}
	for _, name := range strings.FieldsFunc(v, func(r rune) bool { return r == ';' || r == ',' }) {
		all := []string{name}
		if len(name) > len(strings.Map(onlyASCII, name)) {
			all = append(append(all, romanised(name)...), umlauts.Replace(name))
		}
		for _, spelt := range all {
			parts := split(foldString(spelt))
			for _, w := range parts {
				enter(w)
			}
			if len(parts) > 1 {
				enter(strings.Join(parts, ""))
			}
		}
	}
}

// addEmbeddedPhrase adds a street without its number, a city, or the value of an extra
// column.
func (l *lexicon) addEmbeddedPhrase(col, folded string, kind func(Class, Confidence) uint16) {
	class := Class("R")
	words := split(folded)
	switch col {
	case "street":
		class = "B"
		for len(words) > 1 && digits(words[0]) {
			words = words[1:]
		}
	case "city":
		class = "B"
	}
	key := strings.Join(words, "")
	if len(key) < 5 {
		return
	}
	form := embeddedPhrase
	if strings.ContainsAny(key, "0123456789") {
		if form = embeddedCode; digits(key) {
			form = embeddedDigits
		}
		if len(key) < 6 {
			return
		}
	}
	common := true
	for _, w := range words {
		common = common && known(w)
	}
	l.embedded.add(key, kind(class, Possible), form, common)
}

func onlyDigit(r rune) rune {
	if '0' <= r && r <= '9' {
		return r
	}
	return -1
}
