package schema

import (
	"errors"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

var (
	// ErrEmptyID says that an identifier has no letter, mark or digit.
	ErrEmptyID = errors.New("the identifier has no letter and no digit; correct it")

	// ErrUnassigned says that an identifier cannot be compared safely: it is not valid UTF-8, or
	// holds a character that Unicode 15.0 does not assign and that another version may fold
	// differently.
	ErrUnassigned = errors.New("the identifier holds a character that is not assigned in Unicode 15.0; type it " +
		"again with ordinary letters and digits")
)

// Canonical returns the form in which identifiers are compared: Unicode NFKC with full case
// folding, reduced to letters, marks and digits (categories L, M and N). Two identifiers are the
// same if and only if their canonical forms are equal; nothing else compares them, neither in
// the roster, the records and the pseudonyms nor in the commands. The canonical form of a
// canonical identifier is itself. The error is [ErrEmptyID] or [ErrUnassigned]; neither quotes
// the identifier.
//
// Source: the project's format description, "Pseudonyms and shifts"; Unicode 15.0, UAX 15 and 3.13.
func Canonical(id string) (string, error) {
	if short, ok := canonicalASCII(id); ok && short != "" {
		return short, nil
	} else if ok {
		return "", ErrEmptyID
	}
	if !utf8.ValidString(id) {
		return "", ErrUnassigned
	}
	for _, r := range id {
		if !assigned(r) {
			return "", ErrUnassigned
		}
	}
	// Removing a character can bring together a letter and a mark that NFKC then composes, so
	// this is repeated until nothing changes. Ordinary identifiers need one pass; no text is
	// known that needs three.
	for range 8 {
		next := canonicalOnce(id)
		if next == "" {
			return "", ErrEmptyID
		}
		if next == id {
			return id, nil
		}
		id = next
	}
	return "", ErrUnassigned
}

// SameID reports whether two texts are the same identifier. A text without a canonical form is
// never the same as another.
func SameID(a, b string) bool {
	x, errX := Canonical(a)
	y, errY := Canonical(b)
	return errX == nil && errY == nil && x == y
}

// errInvisible says that an identifier holds an invisible character, by which it could differ
// from another one that looks equal.
var errInvisible = errors.New("the identifier holds a character that nobody can see, such as a variation selector; " +
	"type it again with ordinary letters and digits")

// usable returns the canonical form of an identifier in a collection. The canonical form, which
// is fixed, keeps invisible marks and letters, so two identifiers that look equal would be two
// people: identifiers with such characters are refused. The error is errInvisible or one of
// [Canonical].
//
// Source: Unicode 15.0, Default_Ignorable_Code_Point (DerivedCoreProperties.txt).
func usable(id string) (string, error) {
	canonical, err := Canonical(id)
	if err != nil {
		return "", err
	}
	for _, r := range canonical {
		if unicode.In(r, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector) {
			return "", errInvisible
		}
	}
	return canonical, nil
}

// sameCanonical explains, for messages, which differences between identifiers do not count.
const sameCanonical = "capitals, punctuation and blanks make no difference, nor does the way in which a character " +
	"is written: \u00df is ss, \u00b2 is 2"

// canonicalASCII is a fast path for ASCII texts, which ordinary identifiers are. It returns false
// for any other text.
func canonicalASCII(id string) (string, bool) {
	kept := make([]byte, 0, 64)
	for i := range len(id) {
		switch c := id[i]; {
		case c >= utf8.RuneSelf:
			return "", false
		case 'A' <= c && c <= 'Z':
			kept = append(kept, c-'A'+'a')
		case 'a' <= c && c <= 'z' || '0' <= c && c <= '9':
			kept = append(kept, c)
		}
	}
	return string(kept), true
}

// canonicalOnce is one pass of Canonical.
func canonicalOnce(id string) string {
	folded := cases.Fold().String(norm.NFKC.String(id))
	kept := make([]byte, 0, len(folded))
	for _, r := range folded {
		r = foldCherokee(r)
		if unicode.In(r, unicode.L, unicode.M, unicode.N) {
			kept = utf8.AppendRune(kept, r)
		}
	}
	return string(kept)
}

// foldCherokee folds small Cherokee letters to capital ones, as CaseFolding.txt requires.
// cases.Fold (x/text 0.44) swaps the two instead.
func foldCherokee(r rune) rune {
	switch {
	case 0xab70 <= r && r <= 0xabbf:
		return r - 0xab70 + 0x13a0
	case 0x13f8 <= r && r <= 0x13fd:
		return r - 0x13f8 + 0x13f0
	}
	return r
}

// assigned reports whether r has a general category other than Cn. Controls, formats and private
// use are assigned. unicode.C cannot be used: since Go 1.25 it includes Cn.
func assigned(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co,
		unicode.L, unicode.M, unicode.N, unicode.P, unicode.S, unicode.Z)
}
