package audit

import (
	"slices"
	"strings"
)

// nameClasses gives the class of what a column or a field holds by the words of its name,
// the first that fits: "insurance_no" is class I. All words of a row must occur.
//
// Source: 45 CFR 164.514(b)(2)(i)(A) to (R); which words people use for them is common
// practice, no source.
var nameClasses = []struct {
	words string
	class string
}{
	{"license plate", "L"}, {"licence plate", "L"}, {"vehicle", "L"}, {"vin", "L"}, {"plate", "L"},
	{"fax", "E"}, {"email", "F"}, {"mail", "F"},
	{"phone", "D"}, {"telephone", "D"}, {"mobile", "D"}, {"tel", "D"},
	{"ssn", "G"}, {"national", "G"}, {"social security", "G"},
	{"insurance", "I"}, {"insurer", "I"}, {"beneficiary", "I"}, {"policy", "I"}, {"medicare", "I"}, {"medicaid", "I"},
	{"health plan", "I"}, {"member id", "I"}, {"member number", "I"}, {"member no", "I"},
	{"mrn", "H"}, {"record number", "H"}, {"record no", "H"}, {"hospital number", "H"}, {"hospital no", "H"},
	{"patient number", "H"}, {"patient no", "H"},
	{"account", "J"}, {"iban", "J"}, {"bank", "J"},
	{"license", "K"}, {"licence", "K"}, {"certificate", "K"},
	{"serial", "M"}, {"implant", "M"}, {"pacemaker", "M"}, {"udi", "M"},
	{"url", "N"}, {"website", "N"}, {"homepage", "N"}, {"ip", "O"},
	{"fingerprint", "P"}, {"voiceprint", "P"}, {"photo", "Q"}, {"photograph", "Q"}, {"picture", "Q"},
	{"birth", "C"}, {"born", "C"}, {"dob", "C"}, {"date", "C"},
	{"postal", "B"}, {"postcode", "B"}, {"zip", "B"}, {"city", "B"}, {"street", "B"}, {"address", "B"}, {"town", "B"},
	{"county", "B"},
}

// notPeople are what else may have a name.
var notPeople = strings.Fields("drug drugs medication medications medicine medicines product products substance " +
	"substances compound compounds brand ingredient treatment treatments therapy diagnosis condition conditions " +
	"allergy check checks test tests device devices sampler instrument channel column file program software study " +
	"site sorbent gas protocol plan visit group arm food")

// classOfName returns the class of what a column of a list, or a field of a record, holds,
// by the words of its path alone; "" if they do not say. A name is somebody's unless the
// words say what else has it.
func classOfName(path string) string {
	words := strings.FieldsFunc(strings.ToLower(path), func(r rune) bool {
		return r < '0' || r > '9' && r < 'a' || r > 'z' && r < 0x80
	})
	if len(words) == 0 {
		return ""
	}
	has := func(w string) bool { return slices.Contains(words, w) }
	for _, c := range nameClasses {
		if !slices.ContainsFunc(strings.Fields(c.words), func(w string) bool { return !has(w) }) {
			return c.class
		}
	}
	last := words[len(words)-1]
	named := has("name") || has("surname") || has("forename") || has("names") || has("maiden")
	switch {
	case named && !slices.ContainsFunc(words, func(w string) bool { return slices.Contains(notPeople, w) }):
		return "A"
	case last == "at":
		return "C"
	case last == "id" || last == "barcode":
		return "R"
	}
	return ""
}

// noIdentifier are the columns of [schema.RosterColumns] that identify nobody.
var noIdentifier = []string{"sex", "country"}

// classOfColumn returns the class of a column of the roster; "" if its name does not say,
// "none" if its values identify nobody.
func classOfColumn(column string) string {
	switch class, known := columnClass[column]; {
	case known:
		return class
	case slices.Contains(noIdentifier, column):
		return "none"
	}
	return classOfName(column)
}
