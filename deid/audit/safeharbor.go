package audit

import (
	"fmt"
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/schema"
)

// A Class is one of the eighteen classes of 45 CFR 164.514(b)(2)(i), and what became
// of it. Status is a word of this tool, not a legal verdict:
//
//	absent       nothing of this kind was found at the site
//	removed      something of this kind was found and does not leave
//	transformed  something made from it leaves
//	retained     something of this kind leaves unchanged
type Class struct {
	Class    string `json:"class"` // "A" to "R"
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
		list = append(list, f.judge(c))
	}
	return list
}

// fieldClass returns the class of a field's values, by its treatment and its name; ""
// for a field that identifies nobody.
func fieldClass(l deid.FieldLedger) string {
	kind := l.Kind()
	name := l.Path[strings.LastIndexByte(l.Path, '/')+1:]
	switch {
	case kind == schema.Shift || kind == schema.Year || kind == schema.AgeBand || strings.Contains(name, "birth") ||
		strings.HasSuffix(name, "_at") || strings.Contains(name, "date"):
		return "C"
	case kind == schema.Region || strings.Contains(name, "postal") || strings.Contains(name, "zip") ||
		strings.Contains(name, "city") || strings.Contains(name, "street") || l.Path == "/site":
		return "B"
	case strings.Contains(name, "serial") || strings.HasPrefix(l.Path, "/kit/"):
		return "M"
	case kind == schema.Pseudonym || strings.HasSuffix(name, "_id") || name == "barcode":
		return "R"
	case strings.Contains(name, "phone"):
		return "D"
	case strings.Contains(name, "mail"):
		return "F"
	case strings.Contains(name, "name"):
		return "A"
	}
	return ""
}

var rank = map[string]int{Absent: 0, Removed: 1, Transformed: 2, Retained: 3}

// judge returns the status of one class: the strongest that any evidence gives.
func (f *Facts) judge(class leak.Class) Class {
	letter, words := string(class), class.Words()
	c := Class{Class: letter, Name: words.Rule, Status: Absent}
	var says []string
	set := func(status, why string) {
		if rank[status] > rank[c.Status] {
			c.Status = status
		}
		says = append(says, why)
	}
	var columns []string
	for _, col := range words.Columns {
		if slices.Contains(f.Roster, col) {
			columns = append(columns, col)
		}
	}
	if len(columns) > 0 {
		set(Removed, "listed in the roster ("+strings.Join(columns, ", ")+"), which never leaves")
	}
	for _, l := range f.Ledger.Fields {
		if l.Values == 0 || fieldClass(l) != letter {
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

// RouteOf derives the route from the plan in f and from the classes of [Eighteen].
func RouteOf(f *Facts, classes []Class) *Route {
	r := &Route{NotSafeHarbor: []string{}, Needs: []string{
		"a limited data set (164.514(e)): true dates and whole postal codes may stay, sixteen direct identifiers " +
			"go, and a data use agreement binds the recipient; it is still protected health information",
		"or an expert determination (164.514(b)(1)): a person with statistical knowledge finds the risk very small " +
			"for this recipient, and documents it",
		"under other law, for example the GDPR: pseudonymised data are personal data for the site, which holds the " +
			"key, and may be for others (Article 4(5), recital 26); the protocol, the consent and the ethics " +
			"committee decide",
		"even with all eighteen classes removed, Safe Harbor requires that nobody at the site knows that the rest " +
			"could identify somebody (164.514(b)(2)(ii)); no program can check this",
	}}
	has := func(kind schema.TreatmentKind) bool {
		return slices.ContainsFunc(f.Ledger.Fields, func(l deid.FieldLedger) bool {
			return l.Values > 0 &&
				l.Kind() == kind
		})
	}
	why := func(s string) { r.NotSafeHarbor = append(r.NotSafeHarbor, s) }
	if has(schema.Shift) {
		why("dates leave, moved by a number of days: Safe Harbor allows only the year, and does not mention a shift")
	}
	if slices.ContainsFunc(f.Ledger.Fields, func(l deid.FieldLedger) bool {
		return l.Values > 0 && l.Kind() == schema.Keep && fieldClass(l) == "C"
	}) {
		why("true dates leave")
	}
	if has(schema.Text) {
		why("free text leaves; a search can only find what is listed or has a known pattern")
	}
	if has(schema.Pseudonym) {
		why("pseudonyms leave, which are made from identifiers with a key (class R)")
	}
	if slices.ContainsFunc(f.Ledger.Fields, func(l deid.FieldLedger) bool {
		return l.Values > 0 && l.Kind() == schema.Region && l.Treatment != "region" && l.Treatment != "region 3"
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
