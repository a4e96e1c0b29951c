package sessionlog

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"

	"outbreath/pack/durable"
	"outbreath/schema"
)

// What becomes of a session's record.
const (
	New       = "new"       // it is written
	Changed   = "changed"   // some of its fields are written anew
	Unchanged = "unchanged" // it holds already what the log says
	Sealed    = "sealed"    // the log differs from it, and it was sealed: it is left as it is
	Faulty    = "faulty"    // its values break the plan: it is left as it is
	Left      = "left"      // it came from the log, which has it no more: it is left as it is
)

// A Change is what filling does to one session's record.
type Change struct {
	Session string   `json:"-"`
	File    string   `json:"file"`   // "sessions/0001.json"
	Where   string   `json:"where"`  // in the log, of the session's first row; "" for Left
	What    string   `json:"what"`   // New, Changed ...
	Fields  []string `json:"fields"` // pointers of the values that differ, sorted; none for New
	// pointers of those of Fields that the log gives no more, sorted; of an entry without any
	// value left, that of the entry
	Removed []string `json:"removed"`
	// pointers of values that were typed into the record and stay, sorted
	Kept     []string         `json:"kept"`
	Shipment string           `json:"shipment,omitempty"` // for Sealed: its number
	Problems []schema.Problem `json:"problems"`

	doc    *schema.Node
	was    map[string]string // values of the record that is there
	places map[string]string // of the log's session, see [Record]; nil for Left
}

// Changes is what filling a collection does. Nothing is written before [Changes.Write].
type Changes struct {
	Sessions []Change // in the order of the log, then those that the log has no more
	Roster   RosterChange
	Remarks  []Remark
	Doubts   []Doubt // what a person must decide before anything is written

	filled     *Filled
	roster     []byte // of roster.csv, nil if it stays
	recordings *Recordings
}

// Compare finds what writing the records of r into the collection folder root would
// change. prior is what the last run left; logs are the digests of the files that were
// read; recordings may be nil. sealed returns the number of the shipment that a session_id was sealed in, or
// "". The error is a *[schema.ConfigError] about a file of the collection that must be
// mended first, or an I/O error.
func (r *Reading) Compare(root *os.Root, in Inputs, s *Settings, prior *Filled, logs []string,
	recordings *Recordings, sealed func(session string) (string, error)) (*Changes, error) {
	there, last, err := recordsIn(root)
	if err != nil {
		return nil, err
	}
	c := &Changes{filled: &Filled{Logs: slices.Sorted(slices.Values(logs)), Sessions: maps.Clone(prior.Sessions),
		Roster: maps.Clone(prior.Roster), Recordings: maps.Clone(prior.Recordings)}, recordings: recordings}
	if err := recordings.keepSealed(sealed); err != nil {
		return nil, err
	}
	outline := in.Plan.Outline()
	seen := map[string]bool{}
	renumbered := c.renumbered(r.renumberings(prior), s, there)
	for _, record := range r.Records {
		key, err := schema.Canonical(record.ID)
		if err != nil || seen[key] {
			continue // Read has said so
		}
		seen[key] = true
		m := merge{plan: in.Plan, outline: outline, settings: s, record: record, key: key,
			was: prior.Sessions[key].Values,
			is:  there[key]}
		if old := renumbered[record]; old != "" && m.is == nil {
			m.was, m.is, seen[old] = prior.Sessions[old].Values, there[old], true
			delete(c.filled.Sessions, old)
		}
		if m.is == nil {
			last++
			m.was = nil // a record that was removed is made anew
			m.is = &onDisk{file: NewRecordFile(last)}
		}
		change, values, err := m.change(sealed)
		if err != nil {
			return nil, err
		}
		if change.What == New && len(change.Problems) > 0 {
			last-- // the name stays free
		}
		c.Sessions = append(c.Sessions, change)
		c.Doubts = append(c.Doubts, m.doubts...)
		if change.What != Faulty && change.What != Sealed {
			c.filled.Sessions[key] = FilledSession{File: change.File, Values: values, Places: record.Places}
		}
	}
	for _, key := range slices.Sorted(maps.Keys(prior.Sessions)) {
		if d := there[key]; !seen[key] && d != nil {
			c.Sessions = append(c.Sessions, Change{Session: d.id, File: d.file, What: Left})
		}
	}
	c.zoneDoubt(r.Zone, s)
	if err := c.compareRoster(root, r.Roster, s, prior.Roster); err != nil {
		return nil, err
	}
	c.remark(in, outline, s, there)
	return c, nil
}

// renumbered returns the old number of each record that a person has said to be a session
// under a new one, and asks about the others.
func (c *Changes) renumbered(all []renumbering, s *Settings, there map[string]*onDisk) map[*Record]string {
	old := map[*Record]string{}
	for _, n := range all {
		switch answer := s.Answers[n.doubt.ID]; {
		case there[n.old] == nil:
		case answer == "same":
			old[n.record] = n.old
		case answer == "":
			c.Doubts = append(c.Doubts, n.doubt)
		}
	}
	return old
}

// Any reports whether Write would change a record, the roster or a recording.
func (c *Changes) Any() bool {
	return c.roster != nil || len(c.incoming()) > 0 ||
		slices.ContainsFunc(c.Sessions, func(s Change) bool { return s.doc != nil })
}

// incoming returns the recordings that Write brings in: those of sessions whose record
// can be written.
func (c *Changes) incoming() (out []*Incoming) {
	if c.recordings == nil {
		return nil
	}
	for _, x := range c.recordings.Incoming {
		if x.New && slices.ContainsFunc(c.Sessions, func(s Change) bool {
			return s.Session == x.Session && (s.What == New || s.What == Changed || s.What == Unchanged)
		}) {
			out = append(out, x)
		}
	}
	return out
}

// Write writes the roster, the recordings and the records, each whole or not at all, and then what they
// were filled with: a run that was cut off between is finished by the next.
func (c *Changes) Write(root *os.Root) error {
	if c.roster != nil {
		if err := durable.Replace(root, rosterFile, c.roster, 0o600); err != nil {
			return err
		}
	}
	for _, x := range c.incoming() {
		if err := c.recordings.write(x); err != nil {
			return err
		}
		if c.filled.Recordings == nil {
			c.filled.Recordings = map[string]string{}
		}
		c.filled.Recordings[x.File] = x.digest
	}
	for _, s := range c.Sessions {
		if s.doc == nil {
			continue
		}
		write := durable.Replace
		if s.What == New {
			write = durable.WriteNew
		}
		if err := WriteRecord(root, s.File, s.doc.Encode(), write); err != nil {
			return err
		}
	}
	return c.filled.write(root)
}

// An onDisk is a record that is there already.
type onDisk struct {
	file   string
	id     string            // session_id as written
	values map[string]string // pointer to JSON text; nil if there is no such record yet
}

// recordsIn reads the records of a collection by canonical session_id. last is the
// greatest number that is the name of one.
func recordsIn(root *os.Root) (found map[string]*onDisk, last int, err error) {
	files, last, err := RecordFiles(root)
	if err != nil {
		return nil, 0, err
	}
	found = map[string]*onDisk{}
	for _, f := range files {
		if f.Err != nil {
			return nil, 0, f.Err
		}
		d := &onDisk{file: f.File, values: leaves(f.Doc)}
		if id := f.Doc.At("/session_id"); id != nil {
			d.id = id.Text
		}
		key, err := schema.Canonical(d.id)
		if err != nil {
			return nil, 0, &schema.ConfigError{File: f.File,
				Message: "has no session_id that can be used, so that it " +
					"cannot be compared with the log: correct it, or move it out of the folder"}
		}
		if other := found[key]; other != nil {
			return nil, 0, &schema.ConfigError{File: f.File, Message: "has the session_id of " + other.file +
				": correct one of the two, or move one out of the folder"}
		}
		found[key] = d
	}
	return found, last, nil
}

// leaves returns the JSON text of all single values of a record by their pointers.
func leaves(n *schema.Node) map[string]string {
	values := map[string]string{}
	n.Walk(func(at schema.Place, n *schema.Node) bool {
		if n.Kind != schema.Object && n.Kind != schema.Array {
			values[at.Pointer()] = literal(n)
		}
		return true
	})
	return values
}

// literal is a value as JSON.
func literal(n *schema.Node) string { return strings.TrimSuffix(string(n.Encode()), "\n") }

// A merge brings one session of the log and its record together.
type merge struct {
	plan     *schema.Plan
	outline  *schema.Outline
	settings *Settings
	record   *Record
	key      string
	was      map[string]string
	is       *onDisk
	doubts   []Doubt
}

// change decides about every value. values is what the log says, to be kept for the
// next time.
func (m *merge) change(sealed func(string) (string, error)) (c Change, values map[string]string, err error) {
	c = Change{Session: m.record.ID, File: m.is.file, Where: m.record.Where, What: New, places: m.record.Places}
	values = map[string]string{}
	for pointer, n := range m.record.Values {
		values[pointer] = literal(n)
	}
	result := map[string]*schema.Node{}
	for _, pointer := range m.pointers(values) {
		v, clash := merged(m.was[pointer], m.is.values[pointer], values[pointer])
		if clash && m.is.values != nil {
			if v = m.settle(pointer, v, values[pointer]); v != values[pointer] {
				c.Kept = append(c.Kept, pointer)
			}
		}
		if v == m.is.values[pointer] && v != values[pointer] && !clash {
			c.Kept = append(c.Kept, pointer)
		}
		if v != m.is.values[pointer] {
			c.Fields = append(c.Fields, pointer)
		}
		if v != "" {
			result[pointer], _ = schema.ParseJSON([]byte(v)) // it was encoded by us
		}
	}
	c.was, c.Removed = m.is.values, m.removed(c.Fields, result)
	doc := m.outline.Record(result)
	switch {
	case m.broken(&c, doc, result):
		c.What = Faulty
	case m.is.values == nil:
		c.doc, c.Fields, c.Removed = doc, nil, nil
	case len(c.Fields) == 0:
		c.What = Unchanged
	default:
		if c.Shipment, err = sealed(cmp.Or(m.is.id, m.record.ID)); err != nil {
			return c, nil, err
		}
		if c.Shipment != "" {
			c.What = Sealed
			break
		}
		c.What, c.doc = Changed, doc
	}
	return c, values, nil
}

// removed returns those of the fields that have no value in the result, entries that have
// none left by their own pointer.
func (m *merge) removed(fields []string, result map[string]*schema.Node) (out []string) {
	for _, pointer := range fields {
		if result[pointer] != nil {
			continue
		}
		if entry := entryOf(pointer); entry != "" && !slices.ContainsFunc(slices.Collect(maps.Keys(result)),
			func(p string) bool { return strings.HasPrefix(p, entry+"/") }) {
			pointer = entry
		}
		if !slices.Contains(out, pointer) {
			out = append(out, pointer)
		}
	}
	return out
}

// entryOf returns the pointer of the entry of a list that a pointer is in: "/tubes/0" for
// "/tubes/0/barcode". "" if it is in none.
func entryOf(pointer string) string {
	parts := strings.Split(pointer, "/")
	for i := len(parts) - 1; i > 0; i-- {
		if _, err := strconv.Atoi(parts[i]); err == nil {
			return strings.Join(parts[:i+1], "/")
		}
	}
	return ""
}

// pointers returns those of all values of the three sides, sorted.
func (m *merge) pointers(log map[string]string) []string {
	all := maps.Clone(log)
	maps.Copy(all, m.was)
	maps.Copy(all, m.is.values)
	return slices.Sorted(maps.Keys(all))
}

// settle asks about a value that both sides have changed, or takes the answer.
func (m *merge) settle(pointer, is, log string) string {
	key := id("changed", m.key, pointer, is, log)
	switch m.settings.Answers[key] {
	case "record":
		return is
	case "log":
		return log
	}
	at := m.record.Places[pointer]
	if at == "" {
		at = m.record.Where
	}
	question := fmt.Sprintf("%s differs between the log and %s, and the record was changed by hand: which is right?",
		strings.TrimPrefix(pointer, "/"), m.is.file)
	m.doubts = append(m.doubts, Doubt{ID: key, Where: at, Question: question, Choices: []Choice{
		{"record", "what the record has"}, {"log", "what the log says"}}})
	return is
}

// broken reports whether the merged record must not be written: it breaks the plan, a
// cell of it could not be read, or the record that is there has fields that would be lost.
func (m *merge) broken(c *Change, doc *schema.Node, values map[string]*schema.Node) bool {
	c.Problems = m.plan.Validate(c.File, doc)
	written := leaves(doc)
	for _, pointer := range slices.Sorted(maps.Keys(values)) {
		if _, ok := written[pointer]; !ok {
			c.Problems = append(c.Problems, schema.Problem{File: c.File, Pointer: pointer, Rule: "fill.unknown",
				Severity: schema.Error, Message: "the plan has no such field, so that it would be lost: " +
					"take it out of " +
					"the record first"})
		}
	}
	for pointer, place := range m.record.Places {
		if m.record.Values[pointer] == nil && place != "" {
			return true // the reading has the problem or the doubt
		}
	}
	return len(c.Problems) > 0
}
