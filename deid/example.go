package deid

import (
	"cmp"
	"strconv"
	"strings"
	"time"

	"outbreath/deid/leak"
	"outbreath/keys"
	"outbreath/schema"
)

// An Example is an invented value before and after a treatment. Both are "" for a
// field that leaves unchanged; After is "" for a field that does not leave.
type Example struct{ Before, After string }

// Examples returns one Example for each field of plan, in order. It runs the code
// that treats records, with invented values and an invented key.
func Examples(plan *schema.Plan) ([]Example, error) {
	const subject = "LARK2-WEIR-003"
	started := time.Date(2026, 11, 24, 9, 41, 7, 0, time.FixedZone("", 3600))
	key := keys.NewPseudonymKey([32]byte{0: 0xE8}) // of no site
	t, err := newTreater(plan, nil, NewPseudonymiser(key, "LARK-2"))
	if err != nil {
		return nil, err
	}
	t.firstOf([]*schema.Session{{Subject: subject, Started: started.AddDate(0, 0, -7)}})
	v, err := t.visit(&schema.Session{ID: "WEIR-0117", Subject: subject, Started: started})
	if err != nil {
		return nil, err
	}
	out := make([]Example, len(plan.Fields))
	for i, f := range plan.Fields {
		n := &schema.Node{Kind: schema.String}
		switch f.Treatment.Kind {
		case schema.Keep:
			continue
		case schema.Drop:
			out[i] = Example{Before: "any value"}
			continue
		case schema.Text:
			out[i] = exampleText()
			continue
		case schema.Pseudonym:
			n.Text = cmp.Or(map[string]string{"subject": subject, "session": v.ID,
				"operator": "op-kestrel"}[f.Treatment.Purpose], "K-0417")
		case schema.Shift, schema.Year, schema.DayCount:
			if n.Text = "2026-11-24T09:47:30+01:00"; f.Format == "date" {
				n.Text = "2026-11-24"
			}
		case schema.AgeBand:
			n.Text = "1958-06-17"
		case schema.Region:
			n.Text = "90210"
		case schema.Round:
			n.Kind, n.Text = schema.Number, exampleNumber(f)
		case schema.Recording:
			n.Text = "recordings/monday-3.csv"
		}
		after, err := t.value(v, n, &f, "/recordings/0/file")
		if err != nil {
			return nil, err
		}
		out[i] = Example{n.Text, plain(after)}
	}
	return out, nil
}

// exampleNumber returns a plausible value for the unit in which the field's name
// ends.
func exampleNumber(f schema.Field) string {
	unit := f.Path[strings.LastIndexByte(f.Path, '_')+1:]
	if usual, ok := map[string]string{"cm": "173.4", "kg": "68.4", "c": "22.4", "kpa": "101.3"}[unit]; ok {
		return usual
	}
	if t := f.Treatment; t.Coded {
		return strconv.Itoa((t.From+t.To)/2) + ".4"
	}
	return "173.4"
}

// plain returns a treated value as text; an object as its names and values.
func plain(n *schema.Node) string {
	if n.Kind != schema.Object {
		return n.Text
	}
	text := ""
	for _, m := range n.Members {
		text += m.Name + " " + m.Value.Text + ", "
	}
	return text[:max(0, len(text)-2)]
}

// exampleText redacts a note about an invented person.
func exampleText() Example {
	const note = "spoke to Odile Quillon"
	scan := leak.New(&schema.Roster{
		Columns: []string{"given_name", "family_name"},
		Rows:    []map[string]string{{"given_name": "Odile", "family_name": "Quillon"}},
	})
	var c cuts
	for _, m := range scan.Scan(note, nil) {
		c = c.add(note, m, "")
	}
	after, _ := c.apply(note, words)
	return Example{note, after}
}
