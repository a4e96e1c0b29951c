package schema

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// Codes that are alike in a collection, but for one: it was misread, mistyped or scanned
// twice. The limits are our own (common practice, no source).

const (
	fewAlike    = 4  // how many codes of one form show what form a code has
	oneIn       = 50 // of so many of that form, one may be odd
	mostOdd     = 20 // of a kind are reported
	shortRun    = 3  // digits up to which a number counts on without leading zeros: K-9, K-10
	nextFactor  = 1.5
	scannedFrom = 6 // characters of a code that a scanner may have read twice
)

// A code is one value of a collection that is printed on something.
type code struct {
	text string
	tell func(message string) // reports a problem of it
}

// codeKinds are the fields that hold codes: those of each thing by its own, such as a
// barcode, and those that many records share, such as a serial.
var codeKinds = []struct {
	pointer, what string
	shared        bool
}{
	{"/tubes/*/barcode", "barcode", false},
	{"/kit/unit", "unit", false},
	{"/kit/lot", "lot", true},
	{"/sampler/serial", "serial", true},
	{"/operator", "operator", true},
}

// oddCodes reports codes that differ in form from all others of their kind.
func (c *Collection) oddCodes() {
	alike := make(map[[2]string]bool) // said already: it looks like one that is there
	for _, p := range c.Problems {
		if p.Rule == "tube.alike" {
			alike[[2]string{p.File, p.Pointer}] = true
		}
	}
	for _, kind := range codeKinds {
		var codes []code
		for _, s := range c.Sessions {
			for _, pointer := range s.pointers(kind.pointer) {
				text := literal(s.Doc.At(pointer))
				if text == "" || alike[[2]string{s.File, pointer}] {
					continue
				}
				codes = append(codes, code{text: text, tell: func(message string) {
					c.report(s, pointer, "code.odd", Warning, message)
				}})
			}
		}
		if kind.shared {
			rareCodes(codes, kind.what)
		} else {
			oddForms(codes, kind.what)
		}
	}
	c.borrowedBarcodes()
}

// pointers returns the places of a record that path means: "/tubes/*/barcode" is one for
// each tube.
func (s *Session) pointers(path string) []string {
	list, rest, many := strings.Cut(strings.TrimPrefix(path, "/"), "/*/")
	if !many {
		return []string{path}
	}
	var out []string
	for i := range entries(s.Doc, list) {
		out = append(out, fmt.Sprintf("/%s/%d/%s", list, i, rest))
	}
	return out
}

// A form is how a code looks, and the digits that its codes have in each run.
type form struct {
	count     int
	low, high []float64 // of each run of digits
	zeros     []bool    // some code has a leading zero in the run
}

// runs returns the runs of digits in a code, and the code with "9" for every digit and
// "A" for every letter.
func runs(text string) (numbers []string, look string) {
	var b strings.Builder
	in := false
	for _, r := range text {
		digit := '0' <= r && r <= '9'
		switch {
		case digit && in:
			numbers[len(numbers)-1] += string(r)
			b.WriteByte('9')
		case digit:
			numbers = append(numbers, string(r))
			b.WriteByte('9')
		case 'a' <= r|0x20 && r|0x20 <= 'z':
			b.WriteByte('A')
		default:
			b.WriteRune(r)
		}
		in = digit
	}
	return numbers, b.String()
}

func (f *form) add(numbers []string) {
	if f.count == 0 {
		f.low, f.high = make([]float64, len(numbers)), make([]float64, len(numbers))
		f.zeros = make([]bool, len(numbers))
	}
	for i, n := range numbers {
		v, _ := strconv.ParseFloat(n, 64)
		if f.count == 0 || v < f.low[i] {
			f.low[i] = v
		}
		f.high[i] = max(f.high[i], v)
		f.zeros[i] = f.zeros[i] || len(n) > 1 && n[0] == '0'
	}
	f.count++
}

// counts reports whether number, in run i, may be one of a series without leading zeros
// that goes on with a digit more. In a series with them, none is shorter.
func (f *form) counts(i int, number string, shorter bool) bool {
	if number[0] == '0' || shorter && f.zeros[i] {
		return false
	}
	v, _ := strconv.ParseFloat(number, 64)
	return !f.zeros[i] && len(number) <= shortRun+1 || v >= f.low[i]/nextFactor && v <= f.high[i]*nextFactor
}

// oddForms reports codes whose form is nearly that of many others.
func oddForms(codes []code, what string) {
	forms := make(map[string]*form)
	seen := make(map[string]bool, len(codes))
	for _, c := range codes {
		if seen[c.text] {
			continue
		}
		seen[c.text] = true
		numbers, look := runs(c.text)
		if forms[look] == nil {
			forms[look] = &form{}
		}
		forms[look].add(numbers)
	}
	told := 0
	for _, c := range codes {
		numbers, look := runs(c.text)
		message := ""
		many := func(look string, few int) *form {
			f := forms[look]
			if f == nil || f.count < few || 5*f.count < len(seen) {
				return nil
			}
			return f
		}
		own := func(f *form) bool { return forms[look].count <= max(1, f.count/oneIn) }
		if half := len(c.text) / 2; len(c.text)%2 == 0 && half >= scannedFrom {
			_, first := runs(c.text[:half])
			_, second := runs(c.text[half:])
			if f := many(first, 1); first == second && f != nil && own(f) {
				message = "twice as long as the others: it was perhaps scanned twice, so look at the label and keep " +
					"one of the two"
			}
		}
		if _, mapped := runs(misread(c.text, look)); mapped != look && message == "" {
			if f := many(mapped, fewAlike-1); f != nil && own(f) {
				message = "of the form of the others but for a letter in place of a digit (O for 0, I or l for 1): " +
					"look at the label, and correct it"
			}
		}
		if message == "" {
			message = digitLess(look, numbers, func(look string) bool {
				f := many(look, fewAlike)
				return f != nil && own(f)
			}, forms)
		}
		if message == "" {
			continue
		}
		if told++; told > mostOdd {
			return
		}
		c.tell("this " + what + " is " + message)
	}
}

// misread writes the letters O, I and l that stand beside a digit, or among such letters
// beside one, as the digits that they look like.
func misread(text, look string) string {
	b := []byte(text)
	if !strings.Contains(look, "9") {
		return text
	}
	for i, ch := range b {
		switch ch {
		case 'O', 'o':
			b[i] = '0'
		case 'I', 'l':
			b[i] = '1'
		}
	}
	return string(b)
}

// digitLess says that a run of digits is one digit shorter or longer than that of many
// codes, which is "" if it is not.
func digitLess(look string, numbers []string, many func(string) bool, forms map[string]*form) string {
	at := 0
	for i, n := range numbers {
		at += strings.IndexByte(look[at:], '9')
		longer, shorter := look[:at]+"9"+look[at:], look[:at]+look[at+1:]
		if many(longer) && len(n) >= 2 && !forms[longer].counts(i, n, true) {
			return "a digit shorter than the others: look at the label, and add what is missing"
		}
		if len(n) > 2 && many(shorter) && !forms[shorter].counts(i, n, false) {
			return "a digit longer than the others: look at the label, and take out what is too much"
		}
		at += len(n)
	}
	return ""
}

// rareCodes reports a code of few records that is nearly that of many.
func rareCodes(codes []code, what string) {
	count := make(map[string]int)
	for _, c := range codes {
		count[c.text]++
	}
	texts := slices.SortedFunc(maps.Keys(count), func(a, b string) int {
		return cmp.Or(count[b]-count[a], cmp.Compare(a, b))
	})
	looks := make(map[string]string) // the most frequent code of an appearance
	near := make(map[string]string)  // a frequent code by what it is mistyped as
	for i, text := range texts {
		look := Look(strings.ToLower(text))
		if looks[look] == "" {
			looks[look] = text
		}
		if count[text] >= fewAlike && i < mostOdd {
			for _, other := range mistyped(text) {
				near[other] = cmp.Or(near[other], text)
			}
		}
	}
	told := 0
	for _, c := range codes {
		usual, reason := looks[Look(strings.ToLower(c.text))], "by characters that look alike (O and 0; I, l and 1)"
		if strings.EqualFold(usual, c.text) {
			usual, reason = near[c.text], "by a digit that is missing, too much or scanned twice"
		}
		if usual == "" || count[c.text] > max(1, count[usual]/oneIn) && near[c.text] == usual {
			continue
		}
		if told++; told > mostOdd {
			return
		}
		c.tell(fmt.Sprintf("this %s differs from that of %d others only %s: look at it again, and correct it if it "+
			"was misread", what, count[usual], reason))
	}
}

// mistyped returns a code with each of its long numbers a digit shorter or longer, and the
// code twice.
func mistyped(text string) []string {
	out := []string{text + text}
	_, look := runs(text)
	for start := 0; start < len(look); start++ {
		if look[start] != '9' || len(look) != len(text) {
			continue
		}
		end := start
		for end < len(look) && look[end] == '9' {
			end++
		}
		if end-start > shortRun || text[start] == '0' && end-start > 1 {
			for i := start; i < end; i++ {
				out = append(out, text[:i]+text[i+1:])
			}
			for i := start; i <= end; i++ {
				for d := '0'; d <= '9'; d++ {
					out = append(out, text[:i]+string(d)+text[i:])
				}
			}
		}
		start = end
	}
	return out
}

// borrowedBarcodes reports a barcode that is that of something else: of the kit's unit, or
// of a subject.
func (c *Collection) borrowedBarcodes() {
	ids := make(map[string]bool)
	for _, row := range c.Roster.Rows {
		ids[strings.ToLower(row["subject_id"])] = true
	}
	for _, s := range c.Sessions {
		unit := strings.ToLower(literal(s.Doc.At("/kit/unit")))
		for i, t := range s.Tubes {
			own, what := strings.ToLower(t.Barcode), ""
			switch {
			case own == unit:
				what = "the unit of the kit"
			case ids[own] || own == strings.ToLower(s.Subject):
				what = "a subject_id"
			}
			if what != "" && len(own) > shortRun { // a mere number may be both
				c.report(s, fmt.Sprintf("/tubes/%d/barcode", i), "code.borrowed", Warning, "this barcode is "+what+
					": the wrong label was perhaps scanned, so look at the tube, and write its own")
			}
		}
	}
}

// postalCodes reports postal codes of the roster that are a digit shorter than others of the
// country: a spreadsheet took a zero away.
func (r *Roster) postalCodes() []Problem {
	var out []Problem
	countries := make(map[string][]code)
	var names []string
	for i, row := range r.Rows {
		text := postalSigns(row["postal_code"])
		if text == "" || !lone(text) {
			continue
		}
		name := strings.ToUpper(row["country"])
		if countries[name] == nil {
			names = append(names, name)
		}
		countries[name] = append(countries[name], code{text: text, tell: func(string) {
			out = append(out, Problem{File: rosterFile, Line: r.Lines[i], Column: 1, Rule: "roster.postal-code",
				Severity: Warning, Message: "the postal_code of this row has not as many digits as others of its " +
					"country: a spreadsheet takes zeros in front away, so write the code as it is"})
		}})
	}
	for _, name := range names {
		oddForms(countries[name], "postal_code")
	}
	return out
}
