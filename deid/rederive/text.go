package rederive

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// A Finding is what the search found in a text of the source, and what was decided.
type Finding struct {
	File, Pointer string // "" as Pointer: in a file's name, or in a recording
	Start, End    int    // bytes of the text, or of the recording
	Class         string // "A" to "R"; others are called "identifier" in masks
	Decision      string // "redact", "keep" or ""
	Automatic     bool   // redacted without a person's decision
	Moved         bool   // a date that moves with the subject's other dates
}

// maskWords are the words for the classes in masks.
//
// Source: 45 CFR 164.514(b)(2)(i)(A) to (R); the wording is that of the shipment's format.
var maskWords = map[string]string{
	"A": "name", "B": "place", "C": "date", "D": "telephone number", "E": "fax number", "F": "e-mail address",
	"G": "social security number", "H": "record number", "I": "insurance number", "J": "account number",
	"K": "licence number", "L": "vehicle number", "M": "device number", "N": "web address", "O": "network address",
	"P": "biometric mark", "Q": "picture", "R": "identifying number",
}

func maskWord(class string) string {
	if w, ok := maskWords[class]; ok {
		return w
	}
	return "identifier"
}

// A stretch is a part of a text that does not leave as it is.
type stretch struct {
	start, end int
	words      []string // of its mask
	moved      bool     // a date
}

// stretches returns the redacted parts of a text, in order. Parts that touch, or have
// only blanks between them, are one. ok is false if a finding lies outside the text.
func stretches(source string, found []Finding) (list []stretch, ok bool) {
	found = slices.Clone(found)
	slices.SortStableFunc(found, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.End, b.End))
	})
	for _, f := range found {
		if f.Decision != "redact" {
			continue
		}
		if f.Start < 0 || f.End <= f.Start || f.End > len(source) ||
			!utf8.ValidString(source[:f.Start]) || !utf8.ValidString(source[:f.End]) {
			return nil, false
		}
		word := maskWord(f.Class)
		if n := len(list) - 1; n >= 0 && (f.Start <= list[n].end ||
			strings.Trim(source[list[n].end:f.Start], " \t") == "") {
			list[n].end = max(list[n].end, f.End)
			list[n].moved = false
			if !slices.Contains(list[n].words, word) {
				list[n].words = append(list[n].words, word)
			}
			continue
		}
		list = append(list, stretch{f.Start, f.End, []string{word}, f.Moved})
	}
	return list, true
}

// A mark is a replaced part of a text that leaves, in bytes of it.
type mark struct{ start, end int }

var maskForm = regexp.MustCompile(`^\[removed: ([a-z ,-]+)\]`)

// leaves reports whether out is the text of o with exactly its redacted parts replaced:
// each by its mask, or by the date moved as the subject's other dates. It returns where
// the replacements are.
func (o *opening) leaves(out string) (marks []mark, ok bool) {
	list, ok := stretches(o.source, o.findings)
	if !ok {
		return nil, false
	}
	at, from := 0, 0
	for _, s := range list {
		kept := o.source[from:s.start]
		if !strings.HasPrefix(out[at:], kept) {
			return nil, false
		}
		at, from = at+len(kept), s.end
		n := maskLength(out[at:], s.words)
		if s.moved {
			n = movedLength(o.source[s.start:s.end], out[at:], o.shift)
		}
		if n == 0 {
			return nil, false
		}
		marks = append(marks, mark{at, at + n})
		at += n
	}
	return marks, out[at:] == o.source[from:]
}

// maskLength returns the length of the mask with exactly these words at the beginning of
// out; 0 for none.
func maskLength(out string, words []string) int {
	m := maskForm.FindStringSubmatch(out)
	if m == nil {
		return 0
	}
	there := strings.Split(m[1], ", ")
	slices.Sort(there)
	want := slices.Clone(words)
	slices.Sort(want)
	if !slices.Equal(there, want) {
		return 0
	}
	return len(m[0])
}

// Forms of a date that can be read in one way only.
var (
	yearFirst = regexp.MustCompile(`^([0-9]{4})(-)([0-9]{2})(-)([0-9]{2})`)
	yearLast  = regexp.MustCompile(`^([0-9]{1,2})([./-])([0-9]{1,2})([./-])([0-9]{4})`)
	inWords   = regexp.MustCompile(`^([0-9]{1,2})( )([A-Za-z]{3,9})( )([0-9]{4})`)
)

var monthNames = [...]string{"january", "february", "march", "april", "may", "june", "july", "august", "september",
	"october", "november", "december"}

// movedLength returns the length of the date at the beginning of out, if it is the date
// was, written in the same form, and earlier by shift days; otherwise 0.
func movedLength(was, out string, shift int) int {
	for _, form := range []*regexp.Regexp{yearFirst, yearLast, inWords} {
		a, b := form.FindStringSubmatch(was), form.FindStringSubmatch(out)
		if a == nil || b == nil || len(a[0]) != len(was) || a[2] != b[2] || a[4] != b[4] {
			continue
		}
		order := [3]int{1, 3, 5} // year, month, day
		switch {
		case form == inWords:
			order = [3]int{5, 3, 1}
		case form == yearLast && figures(a[1], len(a[1])) > 12:
			order = [3]int{5, 3, 1}
		case form == yearLast:
			order = [3]int{5, 1, 3}
		}
		before, ok1 := dayIn(a, order)
		after, ok2 := dayIn(b, order)
		if ok1 && ok2 && shift > 0 && before-after == day(shift) && alike(a[3], b[3]) {
			return len(b[0])
		}
	}
	return 0
}

// dayIn returns the day of a matched date; order says which part is year, month and day.
func dayIn(parts []string, order [3]int) (day, bool) {
	month := parts[order[1]]
	m := figures(month, len(month))
	if m < 0 {
		for i, name := range monthNames {
			if word := strings.ToLower(month); word == name || word == name[:3] {
				m = i + 1
			}
		}
	}
	return dayOf(figures(parts[order[0]], 4), m, figures(parts[order[2]], len(parts[order[2]])))
}

// alike reports whether two months are written in one manner.
func alike(a, b string) bool {
	if figures(a, len(a)) >= 0 {
		return true
	}
	short := func(s string) bool { return len(s) == 3 }
	upper := func(s string) bool { return s == strings.ToUpper(s) }
	may := strings.EqualFold(a, "may") || strings.EqualFold(b, "may") // both a name and its short form
	return upper(a) == upper(b) && (may || short(a) == short(b))
}
