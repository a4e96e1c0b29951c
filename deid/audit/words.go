package audit

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"outbreath/schema"
)

// Words is a search for the values of a roster and for a few patterns. It is simple on
// purpose and uses nothing of deid/leak, neither its vocabulary nor its folding nor its
// dates: it finds whole words of names, and codes with any separators. Both searches
// depend on schema, which reads records, and on Unicode's decomposition (NFKD). Words
// is safe for concurrent use once made; a nil Words finds nothing.
type Words struct {
	names   map[string]string // folded word to class
	codes   map[string]string // folded letters and digits to class
	lengths []int             // of codes in bytes, ascending
}

// A Hit is a place that the search found in a text. It does not hold the text.
type Hit struct {
	Class string // "A" to "R"
	Basis string // "roster" or "pattern"
	Sure  bool   // false for a single word that may be an ordinary word
	Start int    // byte offset
}

// columnClass gives the class of each column of the roster that is searched for.
var columnClass = map[string]string{
	"given_name": "A", "family_name": "A", "other_names": "A", "emergency_contact_name": "A",
	"phone": "D", "emergency_contact_phone": "D", "email": "F", "national_id": "G", "mrn": "H", "subject_id": "R",
	"street": "B", "birth_date": "C",
}

// NewWords returns the search for the values of r, with a nil r for patterns only.
// Columns other than [schema.RosterColumns] are searched as codes.
func NewWords(r *schema.Roster) *Words {
	w := &Words{names: map[string]string{}, codes: map[string]string{}}
	if r == nil {
		return w
	}
	for _, row := range r.Rows {
		for column, value := range row {
			class := cmp.Or(classOfColumn(column), "R")
			switch {
			case class == "A":
				for _, word := range letterWords(fold(value)) {
					if len([]rune(word)) >= 3 || word != "" && word[0] >= 0x80 {
						w.names[word] = class
					}
				}
			case column == "birth_date":
				if d, err := time.Parse(time.DateOnly, value); err == nil {
					for _, layout := range []string{"20060102", "02012006", "01022006"} {
						w.codes[d.Format(layout)] = class
					}
				}
			case column == "sex" || column == "country" || column == "city" || column == "postal_code":
				// many people share these values, and some are ordinary words
			default:
				w.code(value, class)
			}
		}
	}
	for c := range w.codes {
		if !slices.Contains(w.lengths, len(c)) {
			w.lengths = append(w.lengths, len(c))
		}
	}
	slices.Sort(w.lengths)
	return w
}

// code adds a value as a code, its digits alone if there are six or more, and the last
// seven digits of a telephone number.
func (w *Words) code(value, class string) {
	all := squeeze(fold(value))
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, all)
	if len(all) >= 6 && (digits != "" || class == "F") {
		w.codes[all] = class
	}
	if len(digits) >= 6 {
		w.codes[digits] = class
	}
	if class == "D" && len(digits) > 7 {
		w.codes[digits[len(digits)-7:]] = class
	}
}

// special replaces letters that Unicode's decomposition leaves whole, and apostrophes.
var special = strings.NewReplacer("ß", "ss", "ø", "o", "đ", "d", "ł", "l", "æ", "ae", "œ", "oe", "þ", "th", "ð", "d",
	"ı", "i", "ʻ", "", "'", "", "’", "")

// fold removes the differences of case, accents and apostrophes.
func fold(s string) string {
	var b strings.Builder
	for _, r := range norm.NFKD.String(strings.ToLower(s)) {
		if !unicode.Is(unicode.Mn, r) {
			b.WriteRune(r)
		}
	}
	return special.Replace(b.String())
}

// letterWords splits s into its runs of letters.
func letterWords(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) })
}

// squeeze removes everything but letters and digits.
func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return r
		}
		return -1
	}, s)
}

// patterns finds mail addresses, URLs, IPv4 addresses, international telephone numbers,
// US social security numbers and ages of 90 and over, each in its usual form.
var patterns = []struct {
	class string
	re    *regexp.Regexp
}{
	{"F", regexp.MustCompile(`[\pL\pN._%+-]+@[\pL\pN-]+(\.[\pL\pN-]+)+`)},
	{"N", regexp.MustCompile(`(?i)\b(https?://|www\.)\S+`)},
	{"O", regexp.MustCompile(`\b(\d{1,3}\.){3}\d{1,3}\b`)},
	{"D", regexp.MustCompile(`\+\d[\d ()/.-]{8,}\d`)},
	{"G", regexp.MustCompile(`\b\d{3}-\d{2}-\d{4}\b`)},
	{"C", regexp.MustCompile(`(?i)\b(9\d|1[01]\d)[ -]?(years?|yrs?|y/o|yo)\b|\baged? (9\d|1[01]\d)\b`)},
}

// Search returns the hits in one text: patterns, then names, then codes.
func (w *Words) Search(text string) []Hit {
	if w == nil || len(text) < 3 {
		return nil
	}
	var hits []Hit
	for _, p := range patterns {
		for _, at := range p.re.FindAllStringIndex(text, 8) {
			hits = append(hits, Hit{p.class, "pattern", true, at[0]})
		}
	}
	hits = append(hits, w.nameHits(text)...)
	return append(hits, w.codeHits(text)...)
}

// nameHits finds words of names. A hit is sure if the word has a capital within a
// sentence, is in a script without capitals, or is next to another name.
func (w *Words) nameHits(text string) []Hit {
	if len(w.names) == 0 {
		return nil
	}
	var hits []Hit
	last, begins := -2, true
	n, start := 0, -1
	word := func(end int) {
		raw := text[start:end]
		for _, part := range append(letterWords(fold(raw)), fold(strings.Trim(raw, "'’"))) {
			if class, ok := w.names[part]; ok {
				first, _ := firstRune(raw)
				sure := unicode.IsUpper(first) && !begins || last == n-1 || !unicode.IsLower(first) &&
					!unicode.IsUpper(first)
				if last == n-1 && len(hits) > 0 {
					hits[len(hits)-1].Sure = true
				}
				hits = append(hits, Hit{class, "roster", sure, start})
				last = n
				break
			}
		}
		n++
		begins = false
		start = -1
	}
	for i, r := range text {
		in := unicode.IsLetter(r) || unicode.Is(unicode.Mn, r) || strings.ContainsRune("'’ʻ", r) && start >= 0
		switch {
		case in && start < 0:
			start = i
		case !in && start >= 0:
			word(i)
		}
		if strings.ContainsRune(".!?\n:", r) {
			begins = true
		}
	}
	if start >= 0 {
		word(len(text))
	}
	return hits
}

func firstRune(s string) (rune, bool) {
	for _, r := range s {
		return r, true
	}
	return 0, false
}

// codeHits finds codes that begin and end at the border of a run of letters or digits.
// It compares the text without separators, and keeps the original offsets.
func (w *Words) codeHits(text string) []Hit {
	if len(w.codes) == 0 {
		return nil
	}
	var flat []byte
	var at []int            // byte offset in text of each byte of flat
	ends := map[int]bool{}  // offsets in flat where a run ends
	starts := map[int]int{} // offset in flat to offset in text
	open, digit := false, false
	for i, r := range text {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			if open {
				ends[len(flat)] = true
			}
			open = false
			continue
		}
		if d := unicode.IsDigit(r); !open || d != digit {
			ends[len(flat)] = true
			starts[len(flat)] = i
			open, digit = true, d
		}
		if r < 0x80 { // most are, and folding is slow
			flat, at = append(flat, byte(unicode.ToLower(r))), append(at, i)
			continue
		}
		for _, b := range []byte(fold(string(r))) {
			flat = append(flat, b)
			at = append(at, i)
		}
	}
	ends[len(flat)] = true
	var hits []Hit
	for s := range flat {
		if _, ok := starts[s]; !ok {
			continue
		}
		for _, n := range w.lengths {
			if s+n > len(flat) || !ends[s+n] {
				continue
			}
			if class, ok := w.codes[string(flat[s:s+n])]; ok {
				hits = append(hits, Hit{class, "roster", true, at[s]})
				break
			}
		}
	}
	return hits
}
