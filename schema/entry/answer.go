package entry

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/schema"
	"outbreath/schema/sessionlog"
)

// Answer takes a line as the answer to q and keeps it. remarks are for the person. The
// error is an *[Asked], or words about the line, or of the disk ([DiskError]).
func (s *Session) Answer(q Question, line string) (remarks []string, err error) {
	n, err := s.value(q, line)
	if err != nil {
		return nil, err
	}
	switch field := q.Field; {
	case n == nil:
		return nil, s.Clear(q.Item)
	case field == subjectAt:
		return s.subject(n)
	case field == sessionAt:
		err = s.freeSession(n)
	case field == barcodeOf:
		remarks, err = s.freeTube(q.Pointer, n)
	case field == positionOf && s.takenPosition(q.Item, n):
		err = errors.New("another tube of this session has this position already")
	case isTime(q.Leaf):
		remarks, err = s.moment(q, n)
	}
	if err == nil {
		err = s.refuses(q.Pointer, n)
	}
	if err != nil {
		return nil, err
	}
	return remarks, s.keep(Step{At: q.Pointer, Value: literal(n)})
}

// value reads a line. It is nil where the line says that there is none.
func (s *Session) value(q Question, line string) (*schema.Node, error) {
	freeText := q.Leaf.Treatment.Kind == schema.Text
	switch {
	case line == "" && q.Offer != nil:
		return q.Offer, nil
	case q.Now && (line == "" && q.Needed || strings.EqualFold(line, "n")):
		return s.now()
	case line == "" && freeText && q.Leaf.MinLength == 0 && q.Needed:
		return text(""), nil
	case line == "" && !q.Needed:
		return nil, nil
	case line == "":
		return nil, errors.New("an empty line is no answer here: type the value, or ? for what it is")
	}
	if n := choice(q.Leaf, line); n != nil {
		return n, nil
	}
	if !q.Always && sessionlog.SaysNothing(line) {
		return nil, nil
	}
	started := s.textAt(startedAt)
	if q.Pointer == startedAt {
		started = ""
	}
	n, err := s.typed(q.Field, line, started)
	if asked := (*Asked)(nil); errors.As(err, &asked) && q.Leaf.Listed != nil {
		return nil, errors.New("this is none of the listed values: type one of the numbers")
	}
	if n == nil && err == nil && q.Always {
		return nil, errors.New("this says that there is no value, but the record needs one")
	}
	return n, err
}

// Choices returns the listed values of a leaf, nil if it takes others.
func Choices(l *schema.Leaf) []string {
	if l.Listed == nil && len(l.Types) == 1 && l.Accepts("boolean") {
		return []string{"yes", "no"}
	}
	return l.Listed
}

// choice returns the listed value that a line names: in full, by its number, or by the
// letters that it alone begins with.
func choice(l *schema.Leaf, line string) *schema.Node {
	values := Choices(l)
	i := slices.IndexFunc(values, func(v string) bool { return strings.EqualFold(v, line) })
	if n, err := strconv.Atoi(line); i < 0 && err == nil && 1 <= n && n <= len(values) {
		i = n - 1
	}
	if i < 0 {
		for k, v := range values {
			if strings.HasPrefix(strings.ToLower(v), strings.ToLower(line)) {
				if i >= 0 {
					return nil
				}
				i = k
			}
		}
	}
	switch {
	case i < 0:
		return nil
	case l.Listed == nil:
		return &schema.Node{Kind: schema.Bool, Text: strconv.FormatBool(i == 0)}
	case l.Accepts("string"):
		return text(values[i])
	case l.Accepts("boolean"):
		return &schema.Node{Kind: schema.Bool, Text: values[i]}
	}
	return &schema.Node{Kind: schema.Number, Text: values[i]}
}

// refuses returns what the plan has against a value, nil for nothing.
func (s *Session) refuses(pointer string, n *schema.Node) error {
	was, had := s.values[pointer]
	s.values[pointer] = n
	problems := s.Plan.Validate("", s.record())
	if delete(s.values, pointer); had {
		s.values[pointer] = was
	}
	for _, p := range problems {
		if p.Pointer == pointer {
			return errors.New(p.Message)
		}
	}
	return nil
}

// subject takes a subject of the roster, as the roster writes it, with what it says of them.
func (s *Session) subject(n *schema.Node) (remarks []string, err error) {
	key, err := schema.Canonical(n.Text)
	if err != nil {
		return nil, err
	}
	row := s.subjects[key]
	if row == nil {
		if other := s.alike[schema.Look(key)]; other != "" {
			return nil, fmt.Errorf("roster.csv has no such subject, but %s, which looks alike (O and 0; I, l and 1): "+
				"look at both, then scan or type again", other)
		}
		return nil, errors.New("roster.csv has no such subject: scan or type again, or stop with Ctrl-C, add the " +
			"subject there, and go on")
	}
	steps := []Step{{At: subjectAt, Value: literal(text(row["subject_id"]))}}
	if err := s.refuses(subjectAt, text(row["subject_id"])); err != nil {
		return nil, err
	}
	var said []string
	for _, name := range []string{"birth_date", "sex"} {
		at := "/subject/" + name
		o, field := s.find(at)
		if o == nil {
			continue
		}
		steps = append(steps, Step{At: at, With: true})
		if row[name] == "" {
			continue
		}
		if v, err := s.typed(field, row[name], ""); err == nil && v != nil && s.refuses(at, v) == nil {
			steps[len(steps)-1].Value = literal(v)
			said = append(said, s.label(o)+" "+v.Text)
		}
	}
	if said != nil {
		remarks = []string{"as roster.csv has it: " + strings.Join(said, ", ")}
	}
	return remarks, s.keep(steps...)
}

func (s *Session) freeSession(n *schema.Node) error {
	key, err := schema.Canonical(n.Text)
	if err != nil {
		return err
	}
	if file := s.sessions[key]; file != "" && file != s.kept.Amends {
		return fmt.Errorf("%s has this session id already: give the session its own", file)
	}
	return nil
}

// ScanTube takes one scan as the next tube.
func (s *Session) ScanTube(line string) (remarks []string, err error) {
	n := s.count(tubesAt)
	if n >= maxEntries {
		return nil, errors.New("a session has no room for more tubes")
	}
	pointer := tubesAt + "/" + strconv.Itoa(n) + "/barcode"
	o, _ := s.find(pointer)
	return s.Answer(Question{Item: Item{Pointer: pointer, Field: barcodeOf, Leaf: o.Leaf, Needed: true, Always: true,
		List: tubesAt, Entry: n}}, line)
}

// EndTubes says that there are no more tubes.
func (s *Session) EndTubes() error {
	if s.count(tubesAt) == 0 {
		return errors.New("no tube was scanned yet: scan the first")
	}
	return s.keep(Step{Done: tubesAt})
}

// freeTube refuses a barcode that is used, or that is no tube's.
func (s *Session) freeTube(pointer string, n *schema.Node) (remarks []string, err error) {
	key := schema.Barcode(n.Text)
	if id, err := schema.Canonical(n.Text); err == nil && s.subjects[id] != nil {
		return nil, errors.New("this is a subject of roster.csv and no tube: scan the tube")
	}
	for i := range s.count(tubesAt) {
		at := fmt.Sprintf("%s/%d/barcode", tubesAt, i)
		if at != pointer && schema.Barcode(s.textAt(at)) == key {
			return nil, fmt.Errorf("tube %d of this session has this barcode: scan the other tube", i+1)
		}
		if other := schema.Barcode(s.textAt(at)); at != pointer && schema.Look(other) == schema.Look(key) {
			remarks = append(remarks, fmt.Sprintf("looks like tube %d of this session (O and 0; I, l and 1): "+
				"look at both",
				i+1))
		}
	}
	if file := s.tubes[key]; file != "" && file != s.kept.Amends {
		return nil, fmt.Errorf("%s has this tube already: look at the tube; a tube is used once", file)
	}
	for other, file := range s.tubes {
		if other != key && file != s.kept.Amends && schema.Look(other) == schema.Look(key) {
			remarks = append(remarks, "looks like a tube of "+file+" (O and 0; I, l and 1): look at both")
			break
		}
	}
	return remarks, nil
}

func (s *Session) takenPosition(i Item, n *schema.Node) bool {
	for k := range s.count(i.List) {
		at := strings.Replace(positionOf, "*", strconv.Itoa(k), 1)
		if at != i.Pointer && strings.EqualFold(s.textAt(at), n.Text) && s.textAt(at) != "" {
			return true
		}
	}
	return false
}

// clockSkew is by how much a typed time may be ahead of the computer's clock.
const clockSkew = 2 * time.Minute

// moment refuses a time that is still to come, and remarks on one in the wrong order.
func (s *Session) moment(q Question, n *schema.Node) (remarks []string, err error) {
	at, err := time.Parse(time.RFC3339, n.Text)
	if err != nil {
		return nil, nil // the plan judges it
	}
	if at.After(s.Now().Add(clockSkew)) {
		return nil, errors.New("this time is still to come: if it was another day, write the date before it, such " +
			"as 2026-03-02 09:10")
	}
	return s.disorder(q.Pointer, at), nil
}

// disorder names what a time contradicts.
func (s *Session) disorder(pointer string, at time.Time) (remarks []string) {
	pairs := [][2]string{{startedAt, "/ended_at"}}
	for i := range s.count(tubesAt) {
		tube := fmt.Sprintf("%s/%d", tubesAt, i)
		pairs = append(pairs, [2]string{tube + "/uncapped_at", tube + "/capped_at"},
			[2]string{startedAt, tube + "/capped_at"})
	}
	when := func(p string) (time.Time, bool) {
		if p == pointer {
			return at, true
		}
		t, err := time.Parse(time.RFC3339, s.textAt(p))
		return t, err == nil
	}
	for _, p := range pairs {
		first, ok := when(p[0])
		second, ok2 := when(p[1])
		if (p[0] == pointer || p[1] == pointer) && ok && ok2 && second.Before(first) {
			remarks = append(remarks, fmt.Sprintf("%s is before %s: look at both", s.name(p[1]), s.name(p[0])))
		}
	}
	return remarks
}

// Disorder names all times that contradict each other.
func (s *Session) Disorder() []string {
	var out []string
	for _, i := range s.Items() {
		if i.Value == nil || !isTime(i.Leaf) {
			continue
		}
		if at, err := time.Parse(time.RFC3339, i.Value.Text); err == nil {
			for _, r := range s.disorder(i.Pointer, at) {
				if !slices.Contains(out, r) {
					out = append(out, r)
				}
			}
		}
	}
	return out
}

// name names a value for a person.
func (s *Session) name(pointer string) string {
	o, _ := s.find(pointer)
	if o == nil {
		return strings.TrimPrefix(pointer, "/")
	}
	for _, i := range s.Items() {
		if i.Pointer == pointer {
			return i.Name()
		}
	}
	return s.label(o)
}

// Name names a value for a person: "tube 2, volume (mL)".
func (i Item) Name() string {
	if i.List == "" {
		return i.Label
	}
	return ListName(i.List, i.Entry) + ", " + i.Label
}

// Clear takes a value out that not every record needs.
func (s *Session) Clear(i Item) error {
	if i.Always && i.Value != nil {
		return errors.New("the record needs this value: type another one")
	}
	if i.Value == nil {
		return nil
	}
	return s.keep(Step{At: i.Pointer})
}

// Remove takes one entry out of a list.
func (s *Session) Remove(list string, entry int) error {
	if entry < 0 || entry >= s.count(list) {
		return errors.New("there is no such entry")
	}
	return s.keep(Step{Drop: fmt.Sprintf("%s/%d", list, entry)})
}

// Add begins a new entry of a list, with what is needed of it still to be asked: q is its
// first question.
func (s *Session) Add(list string) (q Question, ok bool) {
	o := s.outline.Find(list)
	if o == nil || o.Items == nil || s.count(list) >= maxEntries {
		return q, false
	}
	var items []Item
	s.items(&items, o.Items, Item{Pointer: fmt.Sprintf("%s/%d", list, s.count(list)), Needed: true, Always: true,
		List: list, Entry: s.count(list)})
	for _, i := range items {
		if i.Needed {
			return s.question(i), true
		}
	}
	if len(items) == 0 {
		return q, false
	}
	return s.question(items[0]), true
}

// Back takes the last answer back. ok is false if there is none.
func (s *Session) Back() (ok bool, err error) {
	steps := s.kept.Steps
	for len(steps) > 0 && steps[len(steps)-1].With {
		steps = steps[:len(steps)-1]
	}
	if len(steps) == 0 {
		return false, nil
	}
	s.kept.Steps = slices.Clone(steps[:len(steps)-1])
	s.replay()
	return true, s.save()
}

// literal is a value as JSON.
func literal(n *schema.Node) string { return strings.TrimSuffix(string(n.Encode()), "\n") }
