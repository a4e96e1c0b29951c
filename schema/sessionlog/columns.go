package sessionlog

import (
	"slices"
	"strings"

	"outbreath/schema"
)

// Names of sheets that are the same for every plan.
const (
	SessionsSheet  = "sessions"
	RosterSheet    = "roster"
	ExplainedSheet = "explained"
)

// Fields of a log that are no fields of a record.
const (
	DateField    = "date"    // the day of the session, for times that have none
	rosterPrefix = "roster:" // before the name of a column of roster.csv
	ignored      = "-"       // the field of a column that is not read
	sessionField = "/session_id"
)

// A Column is one column of a log.
type Column struct {
	Sheet    string       // "sessions", "tubes" ...
	Heading  string       // "volume (mL)"; no two of one sheet are equal
	Field    string       // "/tubes/*/volume_ml"; [DateField]; "roster:phone"; in each list's sheet also "/session_id"
	Unit     string       // of a number, as in units.go; "" for none
	Required bool         // every row needs it
	Leaf     *schema.Leaf // nil for DateField and the roster's columns
	List     string       // path of the entries of the list that the field is in, "/tubes/*"; "" for none
}

// Columns returns the columns of a log of sessions under a plan: the sheet of sessions,
// a sheet for each list of the record, and the roster. What study.json says, study and
// site, has no column. Lists inside lists have none either: see [Beyond].
func Columns(p *schema.Plan) []Column {
	w := &columnWalk{}
	w.object(p.Outline(), "", nil)
	columns := w.sheet(SessionsSheet, w.own)
	for _, list := range w.lists {
		columns = append(columns, w.listSheet(list)...)
	}
	for _, name := range schema.RosterColumns() {
		columns = append(columns, Column{Sheet: RosterSheet, Heading: strings.ReplaceAll(name, "_", " "),
			Field: rosterPrefix + name, Required: slices.Contains(rosterNeeds, name)})
	}
	return columns
}

// rosterNeeds are the columns without which a roster cannot be searched for.
var rosterNeeds = []string{"subject_id", "given_name", "family_name", "birth_date"}

// Beyond returns the paths of the lists that stand inside other lists, for which a
// table has no place: they are written into the records by hand.
func Beyond(p *schema.Plan) []string {
	w := &columnWalk{}
	w.object(p.Outline(), "", nil)
	for _, list := range w.lists {
		(&columnWalk{parent: w}).object(list.Items, list.Items.Path, nil)
	}
	return w.beyond
}

// A columnWalk collects the leaves of a record.
type columnWalk struct {
	own    []Column
	lists  []*schema.Outline
	beyond []string
	parent *columnWalk // of the record, when a list is walked
}

// object collects the leaves of o; trail names the objects around them.
func (w *columnWalk) object(o *schema.Outline, list string, trail []string) {
	switch {
	case o.Leaf != nil:
		if o.Path == "/study" || o.Path == "/site" {
			return
		}
		name := o.Name
		if name == "" { // the entries of a list are single values
			name = last(strings.TrimSuffix(list, "/*"))
		}
		heading, unit := headingOf(name, o.Leaf, trail)
		w.own = append(w.own, Column{Heading: heading, Field: o.Path, Unit: unit, Required: o.Required, Leaf: o.Leaf,
			List: list})
	case o.Items != nil && w.parent != nil:
		w.parent.beyond = append(w.parent.beyond, o.Path)
	case o.Items != nil:
		w.lists = append(w.lists, o)
	default:
		if o.Name != "" {
			trail = append(slices.Clone(trail), o.Name)
		}
		for _, m := range o.Members {
			n := len(w.own)
			w.object(m, list, trail)
			for i := n; i < len(w.own) && !o.Required && o.Name != ""; i++ {
				w.own[i].Required = false // the object itself may be left out
			}
		}
	}
}

// headingOf makes a heading of a field's name: "height_cm" is "height (cm)". The name
// of the object around it goes before it, unless it begins with that already.
func headingOf(name string, leaf *schema.Leaf, trail []string) (heading, unit string) {
	base := name
	if leaf.Accepts("number") || leaf.Accepts("integer") {
		base, unit = splitSuffix(name)
	}
	if n := len(trail); n > 0 && !strings.HasPrefix(base, trail[n-1]) {
		base = trail[n-1] + "_" + base
	}
	heading = strings.ReplaceAll(base, "_", " ")
	if unit != "" {
		heading += " (" + unit + ")"
	}
	return heading, unit
}

// sheet names the sheet of columns, and makes their headings differ from each other.
// The day of the session has its column before the first time.
func (w *columnWalk) sheet(name string, columns []Column) []Column {
	var out []Column
	for _, c := range columns {
		c.Sheet = name
		if name == SessionsSheet && c.Leaf.Format == "date-time" &&
			!slices.ContainsFunc(out, func(o Column) bool { return o.Field == DateField }) {
			out = append(out, Column{Sheet: name, Heading: "date", Field: DateField})
		}
		for slices.ContainsFunc(out, func(o Column) bool { return normal(o.Heading) == normal(c.Heading) }) {
			c.Heading = strings.ReplaceAll(strings.Trim(c.Field, "/"), "/", " ") + " " + c.Unit
			if slices.ContainsFunc(out, func(o Column) bool { return normal(o.Heading) == normal(c.Heading) }) {
				c.Heading += " 2"
			}
		}
		out = append(out, c)
	}
	return out
}

// listSheet returns the sheet of one list: the session, then a row an entry.
func (w *columnWalk) listSheet(list *schema.Outline) []Column {
	inner := &columnWalk{parent: &columnWalk{}}
	inner.object(list.Items, list.Items.Path, nil)
	key := Column{Heading: "session id", Field: sessionField, Required: true}
	for _, c := range w.own {
		if c.Field == sessionField {
			key.Leaf = c.Leaf
		}
	}
	return w.sheet(w.sheetName(list), append([]Column{key}, inner.own...))
}

// sheetName returns the last name of a list's path, with the one before it where two
// lists have the same; at most 31 characters, as workbooks ask.
func (w *columnWalk) sheetName(list *schema.Outline) string {
	name := last(list.Path)
	taken := func(o *schema.Outline) bool { return o != list && strings.EqualFold(last(o.Path), name) }
	if slices.ContainsFunc(w.lists, taken) ||
		slices.Contains([]string{SessionsSheet, RosterSheet, ExplainedSheet}, strings.ToLower(name)) {
		name = strings.ReplaceAll(strings.Trim(list.Path, "/"), "/", " ")
	}
	if len(name) > 31 {
		name = name[len(name)-31:]
	}
	return name
}

func last(path string) string { return path[strings.LastIndexByte(path, '/')+1:] }
