package main

import (
	"fmt"
	"slices"
	"strings"

	"outbreath/schema/sessionlog"
)

// shownFields is how many fields of one change, or files with one remark, are named; the
// others are counted.
const shownFields = 4

// A tableRead is what is new to say of how one table was read.
type tableRead struct {
	name   string
	whole  string   // of the table as a whole
	first  bool     // it was not mentioned before
	own    int      // columns under the headings of the plan's own workbook
	fields []string // of all others: `"Besuch" is session id`
	how    []string // decisions
	of     map[string][]string
}

// decided notes a decision, once for all headings that it is about.
func (t *tableRead) decided(how, about string) {
	if t.of[how] == nil {
		t.how = append(t.how, how)
	}
	t.of[how] = append(t.of[how], about)
}

func (t *tableRead) decisions(indent string) string {
	var b strings.Builder
	for _, how := range t.how {
		b.WriteString(hung(indent+how+": "+strings.Join(t.of[how], ", "), len(indent)+2))
	}
	return b.String()
}

// understood says how the log was read, table by table, as far as that was not said
// before. Columns under the headings of the plan's own workbook are counted, all others
// are named; what was decided for several columns is said once for all of them.
func (f *filling) understood() string {
	plain, own := map[string]string{}, map[string]string{} // by field: its name, its heading
	for _, c := range sessionlog.Columns(f.col.Plan) {
		plain[c.Field], own[c.Field] = c.Plain(), c.Heading
	}
	name := func(field string) string {
		if p := plain[field]; p != "" {
			return p
		}
		return strings.ReplaceAll(strings.TrimPrefix(field, "/"), ":", ": ")
	}
	var tables []*tableRead
	for _, x := range f.reading.Understood {
		i := slices.IndexFunc(tables, func(t *tableRead) bool { return t.name == x.Table })
		if i < 0 {
			i = len(tables)
			tables = append(tables, &tableRead{name: x.Table, of: map[string][]string{}})
		}
		t, heading := tables[i], fmt.Sprintf("%q", cellText(x.Heading))
		switch {
		case x.Table == "" || x.Heading == "" && x.Field != "":
			about := x.Where
			if x.Where == "the roster" {
				about = name(x.Field)
			}
			if f.news(x.Where, x.Field, x.How) {
				t.decided(x.How, about)
			}
			continue
		case x.Heading == "":
			t.whole = strings.TrimPrefix(x.How, "holds "+strings.TrimPrefix(x.Table, "sheet "))
			t.first = f.news(x.Table, x.How)
			continue
		case !f.news(x.Where, x.Heading, x.Field):
		case x.Heading == own[x.Field] || x.How == "" && strings.EqualFold(x.Heading, own[x.Field]):
			t.own++
		case x.Field != "":
			t.fields = append(t.fields, heading+" is "+name(x.Field))
		case x.How == "":
			t.fields = append(t.fields, heading+" is not read")
		}
		for how := range strings.SplitSeq(x.How, "; ") {
			if how != "" && f.news(x.Where, x.Heading, how) {
				t.decided(how, heading)
			}
		}
	}
	return f.asText(tables)
}

// news reports whether something was not said before.
func (f *filling) news(what ...string) bool {
	key := strings.Join(what, "\x00")
	if f.said[key] {
		return false
	}
	f.said[key] = true
	return true
}

func (f *filling) asText(tables []*tableRead) string {
	var b strings.Builder
	var ours []string // tables of which there is no more to say
	for _, t := range tables {
		switch {
		case t.name == "":
			b.WriteString(t.decisions("  "))
			continue
		case t.first && t.whole == "" && len(t.fields)+len(t.how) == 0:
			if t.own == 0 {
				ours = append(ours, t.name+", empty")
			} else {
				ours = append(ours, t.name+", "+count(t.own, "column"))
			}
			continue
		case !t.first && t.own+len(t.fields)+len(t.how) == 0:
			continue
		}
		line := "  " + t.name
		if t.first && t.whole != "" {
			line += ": " + t.whole
		}
		if t.own > 0 {
			line += ", " + count(t.own, "column") + " under the plan's own headings"
		}
		b.WriteString(hung(line, 4))
		b.WriteString(beside(t.fields))
		b.WriteString(t.decisions("  "))
	}
	if ours != nil {
		b.WriteString(hung("  under the plan's own headings: "+strings.Join(ours, "; "), 4))
	}
	if zone := f.reading.Zone; zone != "" && f.news("zone", zone) {
		b.WriteString(hung("  times without a zone are those of "+zone, 4))
	}
	switch {
	case b.Len() == 0:
		return ""
	case f.news("understood"):
		return "understood:\n" + b.String()
	}
	return "now understood as well:\n" + b.String()
}

// changesText says what becomes of each session, of the roster and of the recordings.
func (f *filling) changesText() string {
	var b strings.Builder
	counts := map[string]int{}
	for _, c := range f.changes.Sessions {
		counts[c.What]++
		switch c.What {
		case sessionlog.Changed:
			b.WriteString(hung(c.File+"  "+whatChanges(&c)+" (its row: "+c.Where+")", 4))
		case sessionlog.Sealed:
			b.WriteString(hung(fmt.Sprintf("%s  %s: was sealed in %s, and the log says something else in %s: the "+
				"record stays; if the log is right, correct the record by hand, and seal it again with --amended",
				c.File, c.Where, c.Shipment, named(c.Fields)), 4))
		case sessionlog.Left:
			b.WriteString(hung(c.File+"  the log does not have this session any more: the record stays; move it out "+
				"of sessions if there was no such session", 4))
		case sessionlog.Faulty:
			for _, p := range c.Problems {
				field := strings.TrimPrefix(p.Pointer, "/")
				b.WriteString(hung(fmt.Sprintf("%s  %s: %s", c.Where, field, p.Message), 4))
			}
		}
		if len(c.Kept) > 0 {
			b.WriteString(hung(c.File+"  keeps "+named(c.Kept)+" as typed into the record", 4))
		}
	}
	b.WriteString(f.recordingsText())
	var parts []string
	for _, what := range []string{sessionlog.New, sessionlog.Changed, sessionlog.Unchanged, sessionlog.Sealed,
		sessionlog.Faulty, sessionlog.Left} {
		if counts[what] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[what], changeWords[what]))
		}
	}
	if parts == nil {
		parts = []string{"none"}
	}
	b.WriteString(hung("sessions: "+strings.Join(parts, ", "), 4))
	parts = nil
	r := f.changes.Roster
	for _, p := range []struct {
		n    int
		what string
	}{{r.Added, "added"}, {r.Changed, "changed"}, {r.Left, "that the log does not have stay"}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.what))
		}
	}
	if parts != nil {
		b.WriteString("roster.csv: " + strings.Join(parts, ", ") + "\n")
	}
	incoming := 0
	for _, x := range f.recordings.Incoming {
		if x.New {
			incoming++
		}
	}
	fmt.Fprintf(&b, "recordings: %d matched, %d of them to be taken in, %d without a session\n",
		len(f.recordings.Incoming), incoming, len(f.recordings.Left))
	return b.String()
}

// remarksText lists what is odd among the records as they would be; what says the same of
// many is counted, as check does.
func (f *filling) remarksText() string {
	var b strings.Builder
	shown := map[string]int{}
	for _, r := range f.changes.Remarks {
		if shown[r.Rule+r.Message]++; shown[r.Rule+r.Message] <= alike {
			b.WriteString(hung(fmt.Sprintf("look  %s  %s: %s [%s]", r.Where, r.Field, r.Message, r.Rule), 6))
		}
	}
	said := map[string]bool{}
	for _, r := range f.changes.Remarks {
		if more := shown[r.Rule+r.Message] - alike; more > 0 && !said[r.Rule+r.Message] {
			said[r.Rule+r.Message] = true
			fmt.Fprintf(&b, "and %d more [%s]; --json lists all\n", more, r.Rule)
		}
	}
	if n := len(f.changes.Remarks); n > 0 {
		b.WriteString(count(n, "value") + " to look at; this does not prevent writing\n")
	}
	return b.String()
}

// recordingsText says whose each recording is and by what that was found, but for those
// that are named for their sessions, and what was done to it.
func (f *filling) recordingsText() string {
	var b strings.Builder
	where := map[string]string{}
	for _, c := range f.changes.Sessions {
		where[c.Session] = c.Where
	}
	byName := 0
	said := &tableRead{of: map[string][]string{}}
	for _, x := range f.recordings.Incoming {
		if how, _, _ := strings.Cut(x.How, ", "); how == "name" {
			byName++
		} else {
			if how != sessionlog.AsAnswered {
				how = "by " + x.How
			}
			text := fmt.Sprintf("%s  is the recording of %s (%s), %s", x.From, x.Session, where[x.Session], how)
			if x.Renamed() {
				text += "; it is called " + x.File + " in the collection"
			}
			b.WriteString(hung(text, 4))
		}
		for _, sentence := range x.Said {
			said.decided(sentence, x.From)
		}
	}
	if byName > 0 {
		b.WriteString("matched by name: " + count(byName, "recording") + "\n")
	}
	for _, sentence := range said.how {
		b.WriteString(hung(some(said.of[sentence], ", ")+"  "+sentence, 4))
	}
	list := func(what string, names []string) {
		if len(names) > 0 {
			b.WriteString(hung(what+": "+strings.Join(names, "; "), 4))
		}
	}
	list("left out, as answered", f.recordings.Left)
	for _, g := range f.recordings.Gone {
		b.WriteString(hung(g.From+"  belongs to "+g.Record+", whose session the log does not have any more: it stays "+
			"there", 4))
	}
	var other []string
	for _, x := range f.recordings.Unread {
		if x.Why == "" {
			other = append(other, x.Name)
		} else {
			b.WriteString(hung(x.Name+"  "+x.Why, 4))
		}
	}
	list("not read, because by their names they are no recordings", other)
	if n := len(f.recordings.Without); n > 0 && n == len(f.reading.Records) {
		b.WriteString("no session has a recording\n")
	} else {
		list("sessions without a recording", f.recordings.Without)
	}
	return b.String()
}

// whatChanges says which values of a record change, and which the log gives no more.
func whatChanges(c *sessionlog.Change) string {
	var parts []string
	changed := slices.DeleteFunc(slices.Clone(c.Fields), func(field string) bool {
		return slices.ContainsFunc(c.Removed, func(gone string) bool {
			return field == gone || strings.HasPrefix(field, gone+"/")
		})
	})
	if len(changed) > 0 {
		parts = append(parts, "changes "+named(changed))
	}
	if len(c.Removed) > 0 {
		parts = append(parts, "loses "+named(c.Removed)+", which the log gives no more")
	}
	return strings.Join(parts, "; ")
}

var changeWords = map[string]string{
	sessionlog.New: "new", sessionlog.Changed: "changed", sessionlog.Unchanged: "unchanged",
	sessionlog.Sealed: "sealed and left as they are", sessionlog.Faulty: "with errors, not written",
	sessionlog.Left: "no longer in the log",
}

// named lists fields by their pointers.
func named(pointers []string) string {
	shown := slices.Clone(pointers)
	for i, p := range shown {
		shown[i] = strings.TrimPrefix(p, "/")
	}
	return some(shown, ", ")
}

// some lists the first of many names.
func some(names []string, between string) string {
	if more := len(names) - shownFields; more > 0 {
		names = append(slices.Clone(names[:shownFields]), fmt.Sprintf("%d more", more))
	}
	return strings.Join(names, between)
}

// logProblems lists what only a change of the log, or of a file, can mend.
func logProblems(problems []sessionlog.Problem) string {
	var b strings.Builder
	for _, p := range problems {
		text := p.Message
		if p.Field != "" {
			text = p.Field + ": " + text
		}
		b.WriteString(hung("error  "+p.Where+"  "+text, 7))
	}
	return b.String()
}
