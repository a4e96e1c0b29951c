package audit

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/schema"
)

// A Class is one of the eighteen classes of 45 CFR 164.514(b)(2)(i), or of the sixteen of
// 164.514(e)(2), and what became of it. Status is a word of this tool, not a legal verdict:
//
//	absent       nothing of this kind was found at the site
//	removed      something of this kind was found and does not leave
//	transformed  something made from it leaves
//	retained     something of this kind leaves unchanged
type Class struct {
	Class    string `json:"class"` // "A" to "R", or "i" to "xvi"
	Name     string `json:"name"`
	Status   string `json:"status"`
	Evidence string `json:"evidence"`
}

// The statuses of a Class, weakest first.
const (
	Absent      = "absent"
	Removed     = "removed"
	Transformed = "transformed"
	Retained    = "retained"
)

// Facts is the evidence from which the classes are judged.
type Facts struct {
	Ledger     *deid.Ledger
	Findings   []leak.Finding // nil for a shipment, which does not list them
	Shipment   bool           // the evidence is from a sealed shipment
	Roster     []string       // columns with at least one value; nil without a roster
	Recordings int
	Report     *Report // may be nil
}

// Eighteen judges the classes A to R, and returns them in this order.
func Eighteen(f *Facts) []Class {
	var list []Class
	for _, c := range leak.Classes() {
		list = append(list, f.judge(c, func(string) bool { return true }))
	}
	return list
}

// Limited reports whether true dates leave, so that the data can only be a limited data
// set.
func (f *Facts) Limited() bool {
	return f.Ledger.Plan == "limited" || slices.ContainsFunc(f.Ledger.Fields, trueDate)
}

// trueDate reports whether a field with values holds dates that leave as they are.
func trueDate(l deid.FieldLedger) bool {
	return l.Values > 0 && l.Kind() == schema.Keep && fieldClass(l) == "C"
}

// sixteen are the identifiers that a limited data set excludes: the number of each in the
// rule, and its class among the eighteen. Dates (C) and other unique codes (R) may stay.
//
// Source: 45 CFR 164.514(e)(2)(i) to (xvi), from memory, in our wording.
var sixteen = []struct{ number, class, name string }{
	{"i", "A", "names"}, {"ii", "B", "postal addresses, other than town or city, state and ZIP code"},
	{"iii", "D", ""}, {"iv", "E", ""}, {"v", "F", ""}, {"vi", "G", ""}, {"vii", "H", ""}, {"viii", "I", ""},
	{"ix", "J", ""}, {"x", "K", ""}, {"xi", "L", ""}, {"xii", "M", ""}, {"xiii", "N", ""}, {"xiv", "O", ""},
	{"xv", "P", ""}, {"xvi", "Q", ""},
}

// Sixteen judges the classes i to xvi that a limited data set excludes, and returns them in
// this order.
func Sixteen(f *Facts) []Class {
	var list []Class
	for _, s := range sixteen {
		c := f.judge(leak.Class(s.class), func(path string) bool { return s.class != "B" || !townOrZIP(path) })
		c.Class, c.Name = s.number, cmp.Or(s.name, c.Name)
		list = append(list, c)
	}
	return list
}

// townOrZIP reports whether a field or column holds a part of an address that may stay in
// a limited data set, or the site's code.
func townOrZIP(path string) bool {
	return slices.ContainsFunc([]string{"city", "town", "postal", "postcode", "zip", "site"}, func(w string) bool {
		return strings.Contains(path, w)
	})
}

// fieldClass returns the class of a field's values, by its treatment and its name; ""
// for a field that identifies nobody.
func fieldClass(l deid.FieldLedger) string {
	switch kind := l.Kind(); {
	case kind == schema.Shift || kind == schema.Year || kind == schema.AgeBand:
		return "C"
	case kind == schema.Region || l.Path == "/site":
		return "B"
	case strings.HasSuffix(l.Path, "serial") || strings.HasPrefix(l.Path, "/kit/"):
		return "M"
	case kind == schema.Pseudonym:
		return "R"
	}
	return classOfName(l.Path)
}

var rank = map[string]int{Absent: 0, Removed: 1, Transformed: 2, Retained: 3}

// judge returns the status of one class: the strongest that any evidence gives. Fields and
// columns that counts refuses are no evidence.
func (f *Facts) judge(class leak.Class, counts func(path string) bool) Class {
	letter := string(class)
	c := Class{Class: letter, Name: class.Words().Rule, Status: Absent}
	var says []string
	set := func(status, why string) {
		if rank[status] > rank[c.Status] {
			c.Status = status
		}
		says = append(says, why)
	}
	if columns := f.columns(letter, counts); len(columns) > 0 {
		set(Removed, "listed in the roster ("+strings.Join(columns, ", ")+"), which never leaves")
	}
	for _, l := range f.Ledger.Fields {
		if l.Values == 0 || fieldClass(l) != letter || !counts(l.Path) {
			continue
		}
		values := fmt.Sprintf("%s: %s, %d values", l.Path, l.Treatment, l.Values)
		switch l.Kind() {
		case schema.Drop:
			set(Removed, values)
		case schema.Keep, schema.Text:
			set(Retained, values)
		default:
			set(Transformed, values)
		}
	}
	found := f.inTexts(class, set)
	switch {
	case letter == "P" && f.Recordings > 0:
		set(Retained, fmt.Sprintf("no finger or voice print, but %d breath curves; nobody has shown that such curves "+
			"cannot single a person out", f.Recordings))
	case letter == "P":
		says = append(says, "no recording leaves")
	case letter == "Q":
		says = append(says, "only records in JSON, tables in CSV and recordings in EDF can leave; no image can")
	case letter == "R":
		says = append(says, "a keyed pseudonym is made from the identifier, and is therefore not presented as a "+
			"re-identification code under 164.514(c)")
	}
	texts := fmt.Sprintf("nothing of this kind was found in %d texts", f.Ledger.Texts.Searched)
	if f.Shipment && f.Ledger.Texts.Findings > 0 {
		texts = fmt.Sprintf("of %d findings in %d texts, %d were redacted and %d kept; only the site knows their "+
			"classes", f.Ledger.Texts.Findings, f.Ledger.Texts.Searched, f.Ledger.Texts.Redacted, f.Ledger.Texts.Kept)
	}
	if letter != "P" && letter != "Q" && found == 0 {
		says = append(says, texts)
	}
	c.Evidence = strings.Join(says, "; ")
	return c
}

// columns returns the columns of the roster whose values are of a class. A column whose
// name says nothing may hold any identifying number, which is class R.
func (f *Facts) columns(letter string, counts func(string) bool) []string {
	return slices.DeleteFunc(slices.Clone(f.Roster), func(column string) bool {
		return cmp.Or(classOfColumn(column), "R") != letter || !counts(column)
	})
}

// inTexts passes to set what the two searches found of a class, and returns the number
// of findings of the first.
func (f *Facts) inTexts(class leak.Class, set func(status, why string)) (found int) {
	decided := map[string]int{}
	for _, finding := range f.Findings {
		if finding.Class == class {
			decided[finding.Decision]++
			found++
		}
	}
	redacted, kept := decided["redact"], decided["keep"]
	if redacted > 0 {
		set(Removed, fmt.Sprintf("%d found in texts and removed", redacted))
	}
	if kept > 0 {
		set(Retained, fmt.Sprintf("%d found in texts and kept with a reason", kept))
	}
	if open := found - redacted - kept; open > 0 {
		set(Retained, fmt.Sprintf("%d found in texts and still undecided", open))
	}
	if f.Report == nil {
		return found
	}
	left := 0
	for _, i := range f.Report.Issues {
		if i.Code == "leftover."+string(class) {
			left++
		}
	}
	if left > 0 {
		set(Retained, fmt.Sprintf("%d found by the second search in what leaves", left))
	}
	return found
}

// A Route lists why the data do not fit the description of Safe Harbor, and what such
// data need instead. It is not a legal verdict.
type Route struct {
	NotSafeHarbor []string `json:"not_safe_harbor"`
	Needs         []string `json:"needs"`
}

// needs are the ways that remain, and what else the law asks.
var needs = []string{
	"a limited data set (164.514(e)): true dates, towns and postal codes may stay, sixteen direct identifiers " +
		"go, and a data use agreement binds the recipient; it is still protected health information",
	"or an expert determination (164.514(b)(1)): a person with statistical knowledge finds the risk very small " +
		"for this recipient, and documents it",
	"under other law, for example the GDPR: pseudonymised data are personal data for the site, which holds the " +
		"key, and may be for others (Article 4(5), recital 26); the protocol, the consent and the ethics " +
		"committee decide",
	"even with all eighteen classes removed, Safe Harbor requires that nobody at the site knows that the rest " +
		"could identify somebody (164.514(b)(2)(ii)); no program can check this",
}

// RouteOf derives the route from the plan in f and from the classes of [Eighteen], or of
// [Sixteen] for data that can only be a limited data set.
func RouteOf(f *Facts, classes []Class) *Route {
	r := &Route{NotSafeHarbor: []string{}, Needs: needs}
	why := func(s string) { r.NotSafeHarbor = append(r.NotSafeHarbor, s) }
	has := func(fits func(deid.FieldLedger) bool) bool {
		return slices.ContainsFunc(f.Ledger.Fields, func(l deid.FieldLedger) bool { return l.Values > 0 && fits(l) })
	}
	is := func(kind schema.TreatmentKind) func(deid.FieldLedger) bool {
		return func(l deid.FieldLedger) bool { return l.Kind() == kind }
	}
	if has(is(schema.Shift)) {
		why("dates leave, moved by a number of days: Safe Harbor allows only the year, and does not mention a shift")
	}
	if has(trueDate) {
		why("true dates leave")
	}
	if has(is(schema.Text)) {
		why("free text leaves; a search can only find what is listed or has a known pattern")
	}
	if has(is(schema.Pseudonym)) {
		why("pseudonyms leave, which are made from identifiers with a key (class R)")
	}
	if has(func(l deid.FieldLedger) bool {
		return l.Kind() == schema.Region && l.Treatment != "region" && l.Treatment != "region 3"
	}) {
		why("the region follows the study's own rule")
	}
	for _, c := range classes {
		if c.Status == Retained {
			why("class " + c.Class + " (" + c.Name + ") is retained: " + c.Evidence)
		}
	}
	return r
}
