package leak_test

import (
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"strings"
)

// A label gives the place, the class and the variant of an identifier in a note, and
// whether the roster lists it.
type label struct {
	start, end     int
	class, variant string
	known          bool
}

// A note is one text of the sample; clean notes have no labels.
type note struct {
	text   string
	labels []label
}

// A half of the sample has its own seed, templates and locales.
type half struct {
	name    string
	seed    uint64
	locales []locale
	frames  map[string]map[string][]string // language, then kind of value
	kin     []string                       // a title or a relation before a stranger's name
	odd     map[string][]string            // what no roster knows, in context, {} where the value goes
	clean   []string
}

// plant puts value into a frame of the language (or English) and labels it.
func (h half) plant(r *rand.Rand, lang, kind, value, class, variant string, known bool) note {
	frames := h.frames[lang][kind]
	if len(frames) == 0 {
		frames = h.frames["en"][kind]
	}
	return place(pick(r, frames), value, class, variant, known)
}

func place(frame, value, class, variant string, known bool) note {
	before, after, ok := strings.Cut(frame, "{}")
	if !ok || value == "" {
		panic("sample: a frame without a place, or no value for " + variant)
	}
	return note{before + value + after, []label{{len(before), len(before) + len(value), class, variant, known}}}
}

// known plants every variant of every value that the roster knows, as far as the person has one.
func (h half) known(r *rand.Rand, p person) (notes []note) {
	add := func(kind, value, class, variant string) {
		notes = append(notes, h.plant(r, p.lang, kind, value, class, variant, true))
	}
	common := map[string]bool{"May": true, "Price": true, "Long": true, "Best": true}[p.family]
	add("name", p.full(), "A", "full name")
	if latin(p.full()) {
		add("name", p.family+", "+p.given, "A", "family first")
		add("name", strings.ToLower(p.full()), "A", "case")
		add("name", strings.ToUpper(p.full()), "A", "case")
		if !common {
			add("name", p.family, "A", "family alone")
			add("name", swapCase(p.family), "A", "case")
			add("name", p.family+"'s", "A", "possessive")
		}
		add("name", p.given, "A", "given alone")
		add("name", initials(p), "A", "initials")
		add("name", strings.ReplaceAll(p.full(), " ", "-"), "A", "hyphen")
		add("name", p.given+"\n"+p.family, "A", "line break")
		add("name", p.given+"  "+p.family, "A", "double space")
		if f := p.family; len([]rune(f)) >= 6 && !strings.ContainsAny(f, " '-") {
			add("name", p.given+" "+typo(r, f), "A", "typo")
			add("name", typo(r, f), "A", "typo alone")
		}
		add("name", p.given+" "+p.family[:1]+"\u200b"+p.family[1:], "A", "zero-width")
		if s := lookalike.Replace(p.family); s != p.family && !common {
			add("name", s, "A", "homoglyph")
		}
		add("name", wide(plain(p.full())), "A", "full-width")
		if hasMarks(p.full()) {
			add("name", plain(p.full()), "A", "diacritics dropped")
			if s := germanise.Replace(p.full()); s != p.full() && (p.lang == "de" || p.lang == "sv" || p.lang == "da") {
				add("name", s, "A", "transliterated")
			}
		}
		if n := nicknames[p.given]; n != "" {
			add("name", n+" "+p.family, "A", "nickname")
		}
	} else {
		add("original", p.family, "A", "other script, family alone")
		if p.lang == "el" || p.lang == "ru" {
			add("name", p.altGiven+" "+p.altFamily, "A", "romanised")
		}
	}
	date := monthsOf(p.lang, h.locales)
	add("birth", birth(r, p, date), "C", "birth date")
	add("birth", birth(r, p, date), "C", "birth date")
	add("phone", p.phone, "D", "phone as stored")
	add("phone", national(p), "D", "phone, no prefix")
	add("phone", regroup(p.phone, pick(r, []string{" ", "-", "."}), 2+r.IntN(2)), "D", "phone grouping")
	add("phone", "00"+onlyDigits(p.phone), "D", "phone 00 prefix")
	add("phone", wide(onlyDigits(national(p))), "D", "full-width number")
	add("mail", p.email, "F", "e-mail")
	add("mail", strings.ToUpper(p.email), "F", "e-mail case")
	add("street", p.street, "B", "street")
	if latin(p.street) {
		add("street", strings.ToLower(p.street), "B", "street case")
		if hasMarks(p.street) {
			add("street", plain(p.street), "B", "street plain")
		}
	}
	add("postal", p.postal+" "+p.city, "B", "postal code and city")
	add("record", p.record, "H", "record number")
	add("record", regroup(p.record, pick(r, []string{" ", "-"}), 3), "H", "record grouping")
	add("record", p.id, "R", "subject id")
	add("record", strings.ReplaceAll(p.id, "-", " "), "R", "subject id split")
	secret := pick(r, []string{p.full(), p.email})
	add("coded", base64.StdEncoding.EncodeToString([]byte(secret)), "A", "base64")
	add("coded", hex.EncodeToString([]byte(secret)), "A", "hex")
	add("coded", spacedHex(secret), "A", "hex with spaces")
	add("coded", percent(p.full()), "A", "percent")
	if hasMarks(p.full()) || !latin(p.full()) {
		add("coded", qp(p.full()), "A", "quoted-printable")
	}
	add("coded", digests(r, pick(r, []string{p.id, p.email, p.record})), "R", "digest")
	add("coded", utf16LE(secret), "A", "UTF-16 bytes")
	add("coded", uEscapes(secret), "A", `\u escapes`)
	return notes
}

func monthsOf(lang string, locales []locale) string {
	for _, l := range locales {
		if l.lang == lang {
			return l.months
		}
	}
	return monthsEN
}

// unknown plants what no roster knows: n notes of each kind.
func (h half) unknown(r *rand.Rand, n int) (notes []note) {
	makers := []struct {
		class, kind string
		value       func() string
	}{
		{"A", "title + name", nil},
		{"F", "e-mail", func() string {
			return pick(r, []string{"ward.clerk", "t.fielding", "anna_b", "praxis-nord"}) +
				pick(r, []string{"@clinic.example", "@example.org", "@post.example.net"})
		}},
		{"N", "URL", func() string {
			return pick(r, []string{"https://records.example.org/p/" + join(digitsN(r, 4)), "www.example.com/people/x" +
				join(digitsN(r, 3)), "http://clinic.example/visit?id=" + join(digitsN(r, 5))})
		}},
		{"N", "handle", func() string {
			return pick(r, []string{"@breezy_", "@walkerfan", "@lunghiker"}) +
				join(digitsN(r, 2))
		}},
		{"D", "phone", func() string {
			return digits(r, pick(r, []string{"+44 7700 900###", "+1 202 555 01##", "(415) 555-01##",
				"+49 30 23125 ###", "+33 6 39 98 ## ##", "020 7946 0###", "+46 70 174 06 ##"}))
		}},
		{"D", "phone, few digits",
			func() string { return digits(r, pick(r, []string{"2 555 01##", "555-01##", "555 01##"})) }},
		{"O", "IP", func() string {
			return pick(r, []string{fmt.Sprintf("192.0.2.%d", r.IntN(255)), fmt.Sprintf("203.0.113.%d", r.IntN(255)),
				fmt.Sprintf("2001:db8::%x", 4096+r.IntN(40000))})
		}},
		{"R", "MAC", func() string { return fmt.Sprintf("00:00:5e:00:53:%02x", r.IntN(256)) }},
		{"C", "age over 89", func() string { return fmt.Sprint(90 + r.IntN(14)) }},
		{"C", "date", func() string {
			return fmt.Sprintf("%d %s 20%d", 2+r.IntN(27), pick(r, strings.Fields(monthsEN)), 10+r.IntN(14))
		}},
		{"B", "street", func() string {
			return digits(r, pick(r, []string{"?# Willow Street", "1? Harbour Road", "Ahornstraße ?", "?# rue Pasteur",
				"Via Roma ?#", "Calle Sol ?#"}))
		}},
		{"L", "plate", func() string { return digits(r, pick(r, []string{"B-XK ?###", "LS?# KTR", "AB-###-CD"})) }},
		{"I", "insurance number",
			func() string { return digits(r, pick(r, []string{"A?########", "H?#-####-##", "K###-######"})) }},
		{"J", "account number", func() string { return digits(r, "?#######") }},
		{"R", "NHS number", func() string { return nhs(r) }}, {"G", "SSN", func() string { return ssn(r) }},
		{"G", "NIR", func() string { return nir(r) }}, {"R", "Steuer-ID", func() string { return steuerID(r) }},
		{"R", "DNI", func() string { return dni(r) }}, {"R", "BSN", func() string { return bsn(r) }},
		{"R", "personnummer", func() string { return personnummer(r) }}, {"R", "SIN", func() string { return sin(r) }},
		{"R", "CPF", func() string { return cpf(r) }}, {"K", "NPI", func() string { return npi(r) }},
		{"J", "IBAN", func() string { return iban(r) }}, {"J", "card", func() string { return card(r) }},
		{"L", "VIN", func() string { return vin(r) }},
	}
	strangers := []string{"Harrowgate", "Oberlin", "Vasseur", "Tennant", "Kaldewey", "Moreau", "Ricciardi", "Bjelke",
		"Sobczak", "Teixeira"}
	for _, m := range makers {
		for range n {
			if m.value == nil {
				notes = append(notes, place(pick(r, h.kin), pick(r, strangers), m.class, m.kind, false))
				continue
			}
			notes = append(notes, place(pick(r, h.odd[m.kind]), m.value(), m.class, m.kind, false))
		}
	}
	return notes
}

// harmless fills the clean templates with values that must not be reported.
func (h half) harmless(r *rand.Rand, n int) (notes []note) {
	for i := range n {
		text := h.clean[i%len(h.clean)]
		if i >= len(h.clean) {
			text += pick(r, []string{"; ", ". ", ", ", "\n"}) + pick(r, h.clean)
		}
		text = strings.NewReplacer("{tube}", tubes[r.IntN(len(tubes))], "{lot}", lots[r.IntN(len(lots))], "{serial}",
			serials[r.IntN(len(serials))]).Replace(text)
		notes = append(notes, note{text: digits(r, text)})
	}
	return notes
}

// What the records of the sample declare, and what their notes may name.
var (
	tubes   = []string{"LT-004711", "LT-004712", "LT-118206", "TB0093417", "TB0093418"}
	lots    = []string{"K2309-B", "CK-88214", "LOT7741A"}
	serials = []string{"RB-2201-0457", "SN48820193", "CAP-000381"}
)
