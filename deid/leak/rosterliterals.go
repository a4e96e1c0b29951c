package leak

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	unicode16 "golang.org/x/text/encoding/unicode"
	"golang.org/x/text/unicode/norm"

	"outbreath/schema"
)

// household is how many subjects may share an address or a telephone number. A value
// that more subjects share is probably what a form says for "unknown".
const household = 4

// RosterLiterals returns the values of the roster that are searched byte for byte:
// values of 8 bytes or more as they are written there, names in both orders, and single
// names of four letters or more as words.
//
// It leaves out values that occur by chance: dates, sex, city, postal code and country;
// everyday words; values that many subjects share; and single words and values of extra
// columns that occur in known, the texts that the tool or the plan writes into every
// shipment. [Scanner] judges these by the words around them.
//
// Only with samples does it return the literals that [Literals.Samples] alone searches,
// which are several times as many.
func RosterLiterals(r *schema.Roster, known string, samples bool) []Literal {
	c := literalsOf{known: strings.ToLower(known), words: map[string]bool{}, samples: samples}
	for _, w := range strings.FieldsFunc(c.known, notWord) {
		c.words[w] = true
	}
	if r == nil {
		return nil
	}
	shared := sharedValues(r)
	for _, row := range r.Rows {
		for _, col := range r.Columns {
			if v := strings.Join(strings.Fields(row[col]), " "); v != "" {
				c.value(column(col), v, shared[[2]string{col, row[col]}])
			}
		}
		given, family := tidy(row["given_name"]), tidy(row["family_name"])
		if given != "" && family != "" {
			const both = "given_name, family_name"
			for _, name := range []string{given + " " + family, family + " " + given, family + ", " + given} {
				c.phrase(both, name)
			}
			if first, _ := utf8.DecodeRuneInString(family); first >= 0x2E80 { // East Asian names have no blank
				c.phrase(both, family+given)
			}
		}
	}
	return c.list
}

// literalsOf collects literals.
type literalsOf struct {
	known   string
	words   map[string]bool
	samples bool // those for samples as well
	list    []Literal
}

// value adds one value of the column col, which this many subjects share.
func (c *literalsOf) value(col, v string, subjects int) {
	switch col {
	case "sex", "birth_date", "city", "postal_code", "country":
	case "given_name", "family_name", "other_names", "emergency_contact_name":
		for _, name := range strings.FieldsFunc(v, func(r rune) bool { return r == ';' || r == ',' }) {
			if name = tidy(name); strings.Contains(name, " ") {
				c.phrase(col, name)
			}
			for _, w := range strings.FieldsFunc(name, notWord) {
				c.single(col, w)
			}
		}
	case "mrn", "national_id", "subject_id", "phone", "emergency_contact_phone", "email", "street":
		if subjects > household {
			break
		}
		c.phrase(col, v)
		if tail := strings.TrimLeftFunc(v, func(r rune) bool { return !unicode.IsDigit(r) }); digits(tail) {
			c.phrase(col, tail) // MRN 12345678
		}
	default:
		if _, date := parseISO(v); subjects == 1 && !date && !strings.Contains(c.known, strings.ToLower(v)) {
			c.phrase(col, v)
		}
	}
}

// single adds one name as a word, unless it is too short, an everyday word or known.
func (c *literalsOf) single(col, w string) {
	folded := foldString(w)
	if utf8.RuneCountInString(w) < 4 || strings.ContainsAny(w, "0123456789") {
		return
	}
	if everyday(folded) || c.words[strings.ToLower(w)] {
		return
	}
	c.forms(Literal{Text: w, Column: col, Border: Word})
}

// phrase adds a value as it is written. A value made of everyday words counts only
// where it has capitals.
func (c *literalsOf) phrase(col, v string) {
	if len(v) < minLong {
		return
	}
	x := Literal{Text: v, Column: col, Border: Apart}
	words := strings.FieldsFunc(foldString(v), notWord)
	x.Capitalised = true
	for _, w := range words {
		x.Capitalised = x.Capitalised && known(w) && !digits(w)
	}
	switch {
	case digits(v):
		x.Border = Number
	case x.Capitalised && len(words) < 2:
		return
	}
	c.forms(x)
}

// forms adds x and its other forms: with letters outside ASCII also in lower and upper
// case, and with composed and decomposed accents; with a quotation mark or a backslash
// also escaped as in JSON.
func (c *literalsOf) forms(x Literal) {
	v := x.Text
	c.respelt(x)
	all := []string{v}
	if len(v) > len(strings.Map(onlyASCII, v)) {
		for _, f := range []string{norm.NFC.String(v), norm.NFD.String(v)} {
			all = append(all, f, strings.ToLower(f), strings.ToUpper(f))
		}
	}
	for _, f := range all {
		x.Text = f
		c.add(x)
		c.encoded(x)
		if strings.ContainsAny(f, `"\`) {
			x.Text = strings.NewReplacer(`"`, `\"`, `\`, `\\`).Replace(f)
			c.add(x)
		}
	}
}

// respelt adds the spellings of x in ASCII, and for several words also without blanks
// and with underscores, as EDF+ writes names (section 2.1.3.3). They are searched among
// samples only, because in texts [Scanner] finds them by folding; short words are
// searched in texts only.
func (c *literalsOf) respelt(x Literal) {
	if !c.samples && x.Border != Word {
		return
	}
	x.InSamples = true
	plain := asciiSpellings(x.Text)
	for _, x.Text = range plain {
		c.add(x)
		c.encoded(x)
	}
	if !strings.Contains(x.Text, " ") {
		return
	}
	if plain == nil {
		plain = []string{x.Text}
	}
	for _, spelt := range plain {
		for _, between := range []string{"", "_"} {
			x.Text = strings.ReplaceAll(spelt, " ", between)
			c.add(x)
		}
	}
}

// wideLetters is the least number of letters of a value that is searched in UTF-16:
// small samples look like letters, but seldom like so many letters of a name.
const wideLetters = 7

// encoded adds x in other encodings: UTF-16 in both byte orders and, with letters
// outside ASCII, Latin-1, Latin-2 and Windows-1250, which has the languages of the
// latter.
func (c *literalsOf) encoded(x Literal) {
	if !c.samples {
		return
	}
	plain := x.Text
	x.InSamples, x.Border, x.Capitalised = true, Anywhere, false
	if utf8.RuneCountInString(plain) >= wideLetters {
		for _, order := range []unicode16.Endianness{unicode16.LittleEndian, unicode16.BigEndian} {
			if s, err := unicode16.UTF16(order, unicode16.IgnoreBOM).NewEncoder().String(plain); err == nil {
				x.Text = s
				c.add(x)
			}
		}
	}
	if len(plain) > len(strings.Map(onlyASCII, plain)) {
		for _, page := range []*charmap.Charmap{charmap.ISO8859_1, charmap.ISO8859_2, charmap.Windows1250} {
			if s, err := page.NewEncoder().String(plain); err == nil {
				x.Text = s
				c.add(x)
			}
		}
	}
}

// add adds x unless [NewLiterals] would refuse it, for example because it is too short
// in this encoding.
func (c *literalsOf) add(x Literal) {
	if x.InSamples && !c.samples && len(x.Text) >= minLong {
		return
	}
	if x.check() == nil {
		c.list = append(c.list, x)
	}
}

func onlyASCII(r rune) rune {
	if r < utf8.RuneSelf {
		return r
	}
	return -1
}

func notWord(r rune) bool { return !unicode.In(r, unicode.L, unicode.M, unicode.N) }

func tidy(name string) string { return strings.Join(strings.Fields(name), " ") }
