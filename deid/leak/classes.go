package leak

import "strings"

// ClassWords are the words for a class of identifiers.
type ClassWords struct {
	Removed string   // in masks, "[removed: name]"; part of the shipment's format
	Shown   string   // on the screen
	Rule    string   // our short wording of the rule, in the plural
	Columns []string // columns of the roster with this class; the roster itself never leaves
}

// classes holds the words for A to R.
//
// Source: 45 CFR 164.514(b)(2)(i)(A) to (R).
var classes = [...]ClassWords{
	{"name", "name", "names", []string{"given_name", "family_name", "other_names", "emergency_contact_name"}},
	{"place", "address or place", "places smaller than a state", []string{"street", "city", "postal_code"}},
	{"date", "date or high age", "parts of dates other than the year, and ages over 89", []string{"birth_date"}},
	{"telephone number", "telephone number", "telephone numbers", []string{"phone", "emergency_contact_phone"}},
	{"fax number", "fax number", "fax numbers", nil},
	{"e-mail address", "e-mail address", "e-mail addresses", []string{"email"}},
	{"social security number", "national number", "social security numbers", []string{"national_id"}},
	{"record number", "medical record number", "medical record numbers", []string{"mrn"}},
	{"insurance number", "insurance number", "health plan beneficiary numbers", nil},
	{"account number", "account number", "account numbers", nil},
	{"licence number", "licence number", "certificate and licence numbers", nil},
	{"vehicle number", "vehicle number", "vehicle identifiers and plates", nil},
	{"device number", "device number", "device identifiers and serial numbers", nil},
	{"web address", "web address", "web addresses", nil},
	{"network address", "network address", "internet protocol addresses", nil},
	{"biometric mark", "biometric", "biometric identifiers", nil},
	{"picture", "picture", "full-face photographs and comparable images", nil},
	{"identifying number", "identifying code", "any other unique identifying number, characteristic or code",
		[]string{"subject_id"}},
}

// Classes returns the classes A to R, in their order.
func Classes() []Class {
	list := make([]Class, len(classes))
	for i := range list {
		list[i] = Class(rune('A' + i))
	}
	return list
}

// Words returns the words for c. If c is none of A to R, only Removed is set, to
// "identifier".
func (c Class) Words() ClassWords {
	if len(c) == 1 && 'A' <= c[0] && c[0] <= 'R' {
		return classes[c[0]-'A']
	}
	return ClassWords{Removed: "identifier"}
}

// Article returns word with its indefinite article.
func Article(word string) string {
	if word != "" && strings.ContainsRune("aeiou", rune(word[0])) {
		return "an " + word
	}
	return "a " + word
}
