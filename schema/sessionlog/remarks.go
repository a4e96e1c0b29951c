package sessionlog

import (
	"cmp"
	"slices"
	"strings"

	"outbreath/schema"
)

// A Remark is what is odd among the records as they would be written. It is to be looked
// at, and prevents nothing.
type Remark struct {
	Where   string `json:"where"`   // in the log, or the record's file if the log does not have the value
	Field   string `json:"field"`   // "tubes/0/barcode"
	Rule    string `json:"rule"`    // of [schema.Problem]
	Message string `json:"message"` // what is odd, and what to do
}

// remark compares all records as they would be once the changes are written. Where two
// sessions seem to have each other's days or tubes, or a subject's id seems to be in the
// place of a code, that is a doubt: a wrong record of it would be another person's. Nothing
// is compared before all records are certain.
func (c *Changes) remark(in Inputs, outline *schema.Outline, s *Settings, there map[string]*onDisk) {
	if len(c.Doubts) > 0 || slices.ContainsFunc(c.Sessions, func(x Change) bool { return x.What == Faulty }) {
		return
	}
	byFile := map[string]*Change{}
	for i := range c.Sessions {
		byFile[c.Sessions[i].File] = &c.Sessions[i]
	}
	var records []schema.Unwritten
	docs := map[string]*schema.Node{}
	add := func(file string, doc *schema.Node) {
		if docs[file] != nil || doc == nil || len(in.Plan.Validate(file, doc)) > 0 {
			return // check names what a record that is there breaks
		}
		docs[file] = doc
		records = append(records, schema.Unwritten{File: file, Doc: doc,
			Where: func(pointer string) string { return byFile[file].place(pointer) }})
	}
	for _, x := range c.Sessions {
		add(x.File, x.doc)
	}
	for _, d := range there {
		values := map[string]*schema.Node{}
		for pointer, text := range d.values {
			values[pointer], _ = schema.ParseJSON([]byte(text)) // it was encoded by us
		}
		add(d.file, outline.Record(values))
	}
	problems := schema.Compared(in.Study, in.Plan, in.Roster, records)
	asked := map[string]bool{} // files of the two sessions of a question
	for _, p := range problems {
		where := cmp.Or(byFile[p.File].place(p.Pointer), p.File)
		field := strings.TrimPrefix(p.Pointer, "/")
		var about []string
		switch {
		case p.Rule == "session.exchanged":
			for _, q := range problems {
				if q.Rule == p.Rule {
					about = append(about, q.File, q.Pointer, literal(docs[q.File].At(q.Pointer)))
				}
			}
		case p.Rule == "code.borrowed" && isSubject(in.Roster, docs[p.File].At(p.Pointer)):
			about = []string{p.File, p.Pointer, literal(docs[p.File].At(p.Pointer))}
		}
		changes := slices.ContainsFunc(c.Sessions, func(x Change) bool {
			return x.doc != nil && slices.Contains(about, x.File)
		})
		key := id("odd", append(about, p.Rule)...)
		switch {
		case s.Answers[key] == "right":
		case about == nil || !changes:
			c.Remarks = append(c.Remarks, Remark{Where: where, Field: field, Rule: p.Rule, Message: p.Message})
		case asked[key]:
		default:
			asked[key] = true
			c.Doubts = append(c.Doubts, Doubt{ID: key, Where: where, Question: field + ": " + p.Message +
				". Is the log right as it is? If not, correct it first",
				Choices: []Choice{{"right", "yes: I have compared it with the label or the notes"}}})
		}
	}
}

// place returns where in the log a value of a record was read, "" if it was not.
func (c *Change) place(pointer string) string {
	if c == nil {
		return ""
	}
	return FilledSession{Places: c.places}.place(pointer)
}

// isSubject reports whether a value is a subject_id of the roster.
func isSubject(roster *schema.Roster, n *schema.Node) bool {
	return roster != nil && n != nil && slices.ContainsFunc(roster.Rows, func(row map[string]string) bool {
		return schema.SameID(row["subject_id"], n.Text)
	})
}
