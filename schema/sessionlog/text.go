package sessionlog

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"outbreath/schema/sheet"
)

// normal returns what headings and words are compared by: compatibility forms
// resolved, accents removed, case folded, and of that the letters and digits alone.
func normal(s string) string { return strings.Join(tokens(s), "") }

// Written reports whether some cell of the tables is the heading, whatever its case, accents and marks.
func Written(tables []sheet.Table, heading string) bool {
	key := normal(heading)
	for _, t := range tables {
		for _, row := range t.Rows {
			if slices.ContainsFunc(row.Cells, func(c sheet.Cell) bool { return normal(c.Text) == key }) {
				return true
			}
		}
	}
	return false
}

// tokens returns the parts of the normal form of s: it is cut at everything that is no
// letter or digit, between letters and digits, and before a capital after a small letter.
func tokens(s string) []string {
	var parts []string
	var part strings.Builder
	end := func() {
		if part.Len() > 0 {
			parts = append(parts, cases.Fold().String(part.String()))
			part.Reset()
		}
	}
	last := rune(0)
	for _, r := range norm.NFKD.String(s) {
		if unicode.Is(unicode.Mn, r) {
			continue
		}
		letter, digit := unicode.IsLetter(r), unicode.IsDigit(r)
		if !letter && !digit || digit && unicode.IsLetter(last) || letter && unicode.IsDigit(last) ||
			unicode.IsUpper(r) && unicode.IsLower(last) {
			end()
		}
		if letter || digit {
			part.WriteRune(r)
		}
		last = r
	}
	end()
	return parts
}

// clean returns a code as it was meant: without what spreadsheets, word processors and
// keyboards add to it. Full-width forms become ASCII, every kind of blank one blank,
// every kind of hyphen a hyphen, every kind of quotation mark a straight one; what
// cannot be seen is removed. Identifiers that differ in nothing else are one identifier
// (schema.Canonical), so that nobody is taken for somebody else.
func clean(s string) string {
	var b strings.Builder
	blank := false
	for _, r := range s {
		r = plainRune(r)
		switch {
		case r < 0:
			continue
		case r == ' ':
			blank = b.Len() > 0
			continue
		case blank:
			b.WriteByte(' ')
			blank = false
		}
		b.WriteRune(r)
	}
	return b.String()
}

// plainRune returns the character that stands for r in a code, -1 if none does.
func plainRune(r rune) rune {
	switch {
	case 0xFF01 <= r && r <= 0xFF5E: // full-width forms of U+0021 to U+007E
		return r - 0xFEE0
	case strings.ContainsRune("\u2010\u2011\u2012\u2013\u2014\u2212\uFE63", r):
		return '-'
	case strings.ContainsRune("\u2018\u2019\u201A\u201B\u00B4\u2032", r):
		return '\''
	case strings.ContainsRune("\u201C\u201D\u201E\u201F\u2033", r):
		return '"'
	case strings.ContainsRune("\t\n\r", r) || unicode.Is(unicode.Zs, r):
		return ' '
	case unicode.In(r, unicode.Cf, unicode.Variation_Selector):
		return -1
	}
	return r
}

// prose returns a free text: its line breaks as line feeds, without white space around
// it. All else is the writer's.
func prose(s string) string {
	s = strings.ReplaceAll(s, "\r\n", "\n")
	s = strings.ReplaceAll(s, "\r", "\n")
	return strings.TrimFunc(s, func(r rune) bool { return unicode.IsSpace(r) || r == 0xFEFF || r == 0x200B })
}
