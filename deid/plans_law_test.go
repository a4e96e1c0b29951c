package deid

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"outbreath/schema"

	"pgregory.net/rapid"
)

// A piece is a part of a plan, and a maker of values that it accepts.
type piece struct {
	schema string
	value  func() string // JSON
}

// A planMaker draws a plan and a record, and remembers which values must not
// leave and which may.
type planMaker struct {
	*rapid.T
	n      int
	forks  int // alternatives drawn
	defs   []string
	hidden []string        // values of dropped and pseudonymised fields, birth dates, postal codes
	kept   map[string]bool // JSON values that may leave as they are
	dates  []string        // to be moved
}

// word makes a text that occurs nowhere else, not even in another one.
func (m *planMaker) word(prefix string) string {
	m.n++
	letters := ""
	for i := m.n; len(letters) < 4; i /= 26 {
		letters += string(rune('a' + i%26))
	}
	return prefix + letters + "x"
}

func (m *planMaker) hide(s string) string {
	m.hidden = append(m.hidden, s)
	return s
}

func (m *planMaker) keep(value string) string {
	m.kept[value] = true
	return value
}

func (m *planMaker) one(label string, of ...string) string {
	return rapid.SampledFrom(of).Draw(m.T, label)
}

func (m *planMaker) yes(label string) bool { return rapid.Bool().Draw(m.T, label) }

func (m *planMaker) date() string {
	return fmt.Sprintf("20%02d-%02d-%02d", m.int("y", 10, 25), m.int("m", 1, 12), m.int("d", 1, 28))
}

func (m *planMaker) int(label string, from, to int) int {
	return rapid.IntRange(from, to).Draw(m.T, label)
}

var lawTreatments = []string{`"keep"`, `"drop"`, `{"pseudonym":"subject"}`, `{"pseudonym":"operator"}`,
	`{"pseudonym":"kit"}`, `"shift"`, `{"shift":{"clock":"hour"}}`, `{"shift":{"clock":"drop"}}`, `"day"`, `"year"`, `{"age-band":5}`,
	`"region"`, `{"region":1}`, `{"round":5}`, `{"round":10,"from":50,"to":90}`, `"text"`}

// bare is a leaf without its annotations.
func (m *planMaker) bare(treatment, format string) piece {
	text := func(make func() string) func() string { return func() string { return strconv.Quote(make()) } }
	switch treatment {
	case `"keep"`:
		fixed := strconv.Quote(m.word("kp"))
		number := strconv.Itoa(m.int("number", 0, 99))
		return rapid.SampledFrom([]piece{
			{`{"const":` + fixed + `}`, func() string { return m.keep(fixed) }},
			{`{"enum":[` + fixed + `,7,null]}`, func() string { return m.keep(m.one("listed", fixed, "7", "null")) }},
			{`{"type":["string","null"]}`, func() string { return m.keep(strconv.Quote(m.word("kp"))) }},
			{`{"type":"integer","maximum":99}`, func() string { return m.keep(number) }},
			{`{"type":"boolean"}`, func() string { return m.keep("true") }},
		}).Draw(m.T, "kept")
	case `"drop"`, `{"pseudonym":"subject"}`, `{"pseudonym":"operator"}`:
		if m.yes("const") {
			fixed := m.hide(m.word("hq"))
			return piece{`{"const":` + strconv.Quote(fixed) + `}`, text(func() string { return fixed })}
		}
		if treatment == `"drop"` && m.yes("number") {
			return piece{`{"type":["integer","null"],"minimum":7000000}`, func() string {
				m.n++
				return m.hide(strconv.Itoa(7_310_000 + m.n))
			}}
		}
		return piece{`{"type":"string","minLength":2}`, text(func() string { return m.hide(m.word("hq")) })}
	case `{"pseudonym":"kit"}`:
		return piece{`{"type":["string","integer"],"minimum":7000000}`, func() string {
			if m.n++; m.yes("number") {
				return m.hide(strconv.Itoa(7_310_000 + m.n))
			}
			return strconv.Quote(m.hide(m.word("hq")))
		}}
	case `"shift"`, `{"shift":{"clock":"hour"}}`, `{"shift":{"clock":"drop"}}`, `"day"`, `"year"`:
		return piece{`{"type":"string","format":"` + format + `"}`, text(func() string {
			d := m.date()
			if format == "date-time" {
				d = fmt.Sprintf("2026-03-02T08:%02d:00-05:00", m.int("minute", 20, 59))
			}
			m.dates = append(m.dates, d)
			return d
		})}
	case `{"age-band":5}`:
		return piece{`{"type":"string","format":"date"}`, text(func() string { return m.hide("19" + m.date()[2:]) })}
	case `"region"`, `{"region":1}`:
		return piece{`{"type":"string"}`, text(func() string {
			return m.hide(strconv.Itoa(m.int("zip", 10_000,
				99_999)))
		})}
	case `"text"`:
		return piece{`{"type":"string","maxLength":50}`, func() string { return m.keep(strconv.Quote(m.word("kp"))) }}
	}
	return piece{`{"type":"number"}`, func() string {
		return fmt.Sprintf("%d.%d", m.int("whole", 0, 150),
			m.int("tenths", 0, 9))
	}}
}

// leaf returns a single value with its treatment in itself, next to alternatives, or in
// each of them.
func (m *planMaker) leaf() piece {
	treatment, format := m.one("treatment", lawTreatments...), m.one("format", "date", "date-time")
	with := func(schema string) string { return `{"deid":` + treatment + `,"why":"w",` + schema[1:] }
	a := m.bare(treatment, format)
	if m.forks > 12 || !m.yes("either") {
		return piece{m.ref(with(a.schema)), a.value}
	}
	m.forks += 2
	b := m.bare(treatment, format)
	value := func() string {
		if m.yes("first") {
			return a.value()
		}
		return b.value()
	}
	if m.yes("next to alternatives") {
		return piece{m.ref(with(`{"anyOf":[` + a.schema + `,` + b.schema + `]}`)), value}
	}
	return piece{`{"anyOf":[` + m.ref(with(a.schema)) + `,` + m.ref(with(b.schema)) + `]}`, value}
}

// ref puts a schema into "$defs" now and then.
func (m *planMaker) ref(schema string) string {
	if !m.yes("ref") {
		return schema
	}
	m.defs = append(m.defs, fmt.Sprintf(`"d%d":%s`, len(m.defs), schema))
	return fmt.Sprintf(`{"$ref":"#/$defs/d%d"}`, len(m.defs)-1)
}

type member struct {
	name     string
	required bool
	piece
}

func (m *planMaker) member(depth int) member {
	return member{m.word("f"), m.yes("required"), m.any(depth)}
}

func (m *planMaker) object(members []member) piece {
	var properties, required []string
	for _, f := range members {
		properties = append(properties, strconv.Quote(f.name)+":"+f.schema)
		if f.required {
			required = append(required, strconv.Quote(f.name))
		}
	}
	return piece{m.ref(`{"type":"object","additionalProperties":false,"required":[` + strings.Join(required, ",") +
		`],"properties":{` + strings.Join(properties, ",") + `}}`), func() string {
		var out []string
		for _, f := range members {
			if f.required || m.yes("present") {
				out = append(out, strconv.Quote(f.name)+":"+f.value())
			}
		}
		return "{" + strings.Join(out, ",") + "}"
	}}
}

func (m *planMaker) list(item piece) piece {
	least := m.int("minItems", 0, 2)
	return piece{fmt.Sprintf(`{"type":"array","minItems":%d,"items":%s}`, least, item.schema), func() string {
		var out []string
		for range m.int("entries", least, 3) {
			out = append(out, item.value())
		}
		return "[" + strings.Join(out, ",") + "]"
	}}
}

// choice returns alternatives: objects that differ in a constant or in their fields, a
// list, and a single value. A field may be in several of the objects.
func (m *planMaker) choice(depth int) piece {
	m.forks += 4
	shared := m.member(depth + 1)
	var all []piece
	for range m.int("objects", 1, 3) {
		fixed := strconv.Quote(m.word("kp"))
		members := []member{{"kind", true, piece{`{"const":` + fixed + `,"deid":"keep"}`,
			func() string { return m.keep(fixed) }}}}
		if m.yes("distinguished by a dropped field") { // treated ones may then look alike
			gone := m.bare(`"drop"`, "")
			members = []member{{m.word("f"), true, piece{`{"deid":"drop",` + gone.schema[1:], gone.value}}}
		}
		for range m.int("fields", 0, 2) {
			members = append(members, m.member(depth+1))
		}
		if m.yes("shared") {
			members = append(members, shared)
		}
		all = append(all, m.object(members))
	}
	if m.yes("gone") { // an object of which nothing may leave
		hidden := m.bare(`"drop"`, "")
		all = append(all, m.object([]member{{m.word("f"), true,
			piece{`{"deid":"drop",` + hidden.schema[1:], hidden.value}}}))
	}
	if m.yes("list") {
		all = append(all, m.list(m.any(depth+1)))
	}
	if m.yes("single") {
		all = append(all, m.leaf())
	}
	var schemas []string
	for _, p := range all {
		schemas = append(schemas, p.schema)
	}
	return piece{`{"` + m.one("keyword", "oneOf", "anyOf") + `":[` + strings.Join(schemas, ",") + `]}`,
		func() string { return all[m.int("branch", 0, len(all)-1)].value() }}
}

func (m *planMaker) any(depth int) piece {
	kind := "leaf"
	if depth < 3 {
		kind = m.one("kind", "leaf", "leaf", "object", "list", "choice")
	}
	if kind == "choice" && m.forks > 12 {
		kind = "object"
	}
	switch kind {
	case "object":
		members := []member{m.member(depth + 1)}
		for range m.int("fields", 0, 2) {
			members = append(members, m.member(depth+1))
		}
		return m.object(members)
	case "list":
		return m.list(m.any(depth + 1))
	case "choice":
		return m.choice(depth)
	}
	return m.leaf()
}

// TestPlansLaw: whatever plan a study writes and whatever record it accepts,
// what leaves fits the outgoing schema, holds nothing that is to stay, and every
// value in it has the form that its field's treatment makes.
func TestPlansLaw(t *testing.T) {
	leaves := make(map[schema.TreatmentKind]int)
	rapid.Check(t, func(t *rapid.T) {
		m := &planMaker{T: t, kept: make(map[string]bool)}
		var members []member
		for range m.int("fields", 1, 4) {
			members = append(members, m.member(0))
		}
		more, record := "", coreRecord
		for _, f := range members {
			more += `,"` + f.name + `":` + f.schema
			if m.yes("present") {
				record += `,"` + f.name + `":` + f.value()
			}
		}
		plan := planWith(t, more+`},"$defs":{`+strings.Join(m.defs, ","))
		s := session("{" + record + "}")
		if problems := plan.Validate(s.File, s.Doc); len(problems) > 0 {
			t.Fatalf("the plan %s refuses %s: %v", more, record, problems)
		}
		tr, err := newTreater(plan, nil, NewPseudonymiser(testKey(), "LARK-2"))
		if err != nil {
			t.Fatal(err)
		}
		v, err := tr.visit(s)
		if err != nil {
			t.Fatal(err)
		}
		out := tr.record(v)
		if out == nil || len(v.faults) > 0 {
			t.Fatalf("plan %s, record %s: %v", more, record, v.faults)
		}
		leaving, err := schema.CompileOutgoing(plan.Outgoing())
		if err != nil {
			t.Fatal(err)
		}
		// as the laboratory reads it
		read, err := schema.ParseJSON(out.Encode())
		if err != nil {
			t.Fatal(err)
		}
		if problems := leaving.Validate(s.File, read); len(problems) > 0 {
			t.Fatalf("plan %s\noutgoing %s\nrefuses %s: %v", more, plan.Outgoing(), out.Encode(), problems)
		}
		for _, h := range m.hidden {
			if bytes.Contains(out.Encode(), []byte(h)) || bytes.Contains(plan.Outgoing(), []byte(h)) {
				t.Fatalf("plan %s, record %s: %s leaves", more, record, h)
			}
		}
		own := &schema.Node{Kind: schema.Object}
		for _, f := range read.Members {
			if slices.ContainsFunc(members, func(o member) bool { return o.name == f.Name }) {
				own.Members = append(own.Members, f)
			}
		}
		m.lawful(plan, own, "", v.shift, leaves)
	})
	for _, treatment := range []schema.TreatmentKind{schema.Keep, schema.Pseudonym, schema.Shift, schema.Year,
		schema.DayCount, schema.AgeBand, schema.Region, schema.Round, schema.Text} {
		if leaves[treatment] == 0 {
			t.Errorf("no value left with the treatment %s: the test shows nothing of it", treatment)
		}
	}
}

var (
	lawBand   = regexp.MustCompile(`^([0-9]{1,2}-[0-9]{1,2}|90\+)$`)
	lawRegion = regexp.MustCompile(`^[0-9]{3}$`)
)

// lawful checks the form of every value that leaves.
func (m *planMaker) lawful(plan *schema.Plan, n *schema.Node, pointer string, shift int,
	leaves map[schema.TreatmentKind]int) {
	f, known := plan.Field(planPath(pointer))
	name := map[schema.TreatmentKind]string{schema.Year: "year", schema.DayCount: "day",
		schema.Shift: "date"}[f.Treatment.Kind]
	reduced := known && name != "" && n.Member(name) != nil // other objects are possible here
	switch {
	case n.Kind == schema.Object && !reduced:
		for _, c := range n.Members {
			m.lawful(plan, c.Value, pointer+"/"+c.Name, shift, leaves)
		}
		return
	case n.Kind == schema.Array:
		for i, c := range n.Items {
			m.lawful(plan, c, pointer+"/"+strconv.Itoa(i), shift, leaves)
		}
		return
	case !known:
		m.Fatalf("%s leaves without a treatment", pointer)
	}
	literal := strings.TrimSpace(string(n.Encode()))
	ok := false
	switch f.Treatment.Kind {
	case schema.Keep, schema.Text:
		ok = m.kept[literal]
	case schema.Pseudonym:
		ok = pseudonymForm.MatchString(n.Text)
	case schema.Shift:
		ok = slices.ContainsFunc(m.dates, func(d string) bool {
			at, err := time.Parse(time.DateOnly, d[:10])
			want := at.AddDate(0, 0, -shift).Format(time.DateOnly) + strings.TrimSuffix(d[10:], "-05:00")
			if f.Treatment.Clock == schema.ClockHour {
				want = want[:min(len(want), len("2006-01-02T15"))]
			}
			return err == nil && want == n.Text
		})
		if f.Treatment.Clock == schema.ClockDrop && f.Format == "date-time" {
			ok = reduced && len(n.Members) == 2 && n.Member("elapsed_s") != nil &&
				n.Member("date").Text == day("2026-03-02").AddDate(0, 0, -shift).Format(time.DateOnly)
		}
	case schema.Year, schema.DayCount:
		ok = n.Kind == schema.Number && f.Format == "date" || reduced && f.Format == "date-time" &&
			len(n.Members) == 2 && n.Member("elapsed_s") != nil
	case schema.AgeBand:
		ok = lawBand.MatchString(n.Text)
	case schema.Region:
		ok = lawRegion.MatchString(n.Text)
		if w := f.Treatment.Width; w > 0 {
			ok = len(n.Text) == w && strings.Trim(n.Text, "0123456789") == ""
		}
	case schema.Round:
		x, err := strconv.Atoi(n.Text)
		ok = err == nil && x%f.Treatment.Width == 0 &&
			(!f.Treatment.Coded || x >= f.Treatment.From && x <= f.Treatment.To)
	}
	if !ok {
		m.Fatalf("%s leaves with the treatment %q as %s", pointer, f.Treatment, literal)
	}
	leaves[f.Treatment.Kind]++
}
