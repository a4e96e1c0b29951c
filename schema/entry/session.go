package entry

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"outbreath/schema"
)

// A Session is a record that is being entered, or changed.
type Session struct {
	*Desk
	kept   Kept
	disk   []byte // File as it was last written or read; nil if there is none
	base   map[string]*schema.Node
	values map[string]*schema.Node // by pointer
	done   map[string]bool         // lists that are complete
}

// New begins a session.
func (d *Desk) New() *Session {
	s := &Session{Desk: d, kept: Kept{Begun: d.Now().UTC()}}
	s.base = map[string]*schema.Node{}
	for at, code := range map[string]string{"/study": d.Study.Study, "/site": d.Study.Site} {
		if d.outline.Find(at) != nil {
			s.base[at] = text(code)
		}
	}
	s.replay()
	return s
}

// Kept reports how many answers are kept.
func (s *Session) Kept() int { return len(s.kept.Steps) }

// Subject and ID name the session for the person who enters it; "" if not yet known.
func (s *Session) Subject() string { return s.textAt(subjectAt) }

// ID is the session's number.
func (s *Session) ID() string { return s.textAt(sessionAt) }

func (s *Session) textAt(pointer string) string {
	if n := s.values[pointer]; n != nil {
		return n.Text
	}
	return ""
}

// replay makes the values of the steps.
func (s *Session) replay() {
	s.values, s.done = maps.Clone(s.base), map[string]bool{tubesAt: s.kept.Amends != ""}
	for _, step := range s.kept.Steps {
		switch {
		case step.Done != "":
			s.done[step.Done] = true
		case step.Drop != "":
			drop(s.values, step.Drop)
		case step.Value == "":
			delete(s.values, step.At)
		default:
			s.values[step.At], _ = schema.ParseJSON([]byte(step.Value)) // judged when it was read or made
		}
	}
}

// drop removes one entry of a list, and closes the gap.
func drop(values map[string]*schema.Node, entry string) {
	list, token, _ := cutLast(entry)
	index, _ := strconv.Atoi(token)
	for _, at := range slices.Sorted(maps.Keys(values)) {
		if strings.HasPrefix(at, entry+"/") || at == entry {
			delete(values, at)
		}
	}
	for i := index + 1; ; i++ {
		moved := false
		from, to := list+"/"+strconv.Itoa(i), list+"/"+strconv.Itoa(i-1)
		for _, at := range slices.Sorted(maps.Keys(values)) {
			if rest, ok := strings.CutPrefix(at, from+"/"); ok {
				values[to+"/"+rest] = values[at]
				delete(values, at)
				moved = true
			}
		}
		if !moved {
			return
		}
	}
}

// cutLast cuts a pointer before its last token.
func cutLast(pointer string) (before, token string, ok bool) {
	at := strings.LastIndexByte(pointer, '/')
	if at < 0 {
		return "", pointer, false
	}
	return pointer[:at], pointer[at+1:], true
}

// count returns how many entries the list at a pointer has.
func (s *Session) count(list string) int {
	n := 0
	for at := range s.values {
		if rest, ok := strings.CutPrefix(at, list+"/"); ok {
			token, _, _ := strings.Cut(rest, "/")
			if i, err := strconv.Atoi(token); err == nil {
				n = max(n, i+1)
			}
		}
	}
	return n
}

// An Item is one single value of the record, or the place for it.
type Item struct {
	Pointer string
	Field   string // path: "/tubes/*/barcode"
	Label   string
	Leaf    *schema.Leaf
	Value   *schema.Node // nil: none
	Needed  bool         // the record is not valid without it
	Always  bool         // it is needed in every record, or in every entry of its list
	List    string       // pointer of the list that it is in, "/tubes"; "" for none
	Entry   int          // in that list
}

// Items returns all values that the record has or may have, in the order of the schema.
func (s *Session) Items() []Item {
	var out []Item
	s.items(&out, s.outline, Item{Needed: true, Always: true})
	return out
}

func (s *Session) items(out *[]Item, o *schema.Outline, at Item) {
	switch {
	case o.Leaf != nil:
		if at.Pointer == "/study" || at.Pointer == "/site" {
			return
		}
		at.Leaf, at.Value, at.Field, at.Label = o.Leaf, s.values[at.Pointer], o.Path, s.label(o)
		*out = append(*out, at)
	case o.Items != nil:
		for i := range s.count(at.Pointer) {
			s.items(out, o.Items, Item{Pointer: at.Pointer + "/" + strconv.Itoa(i), Needed: true, Always: true,
				List: at.Pointer, Entry: i})
		}
	default:
		for _, m := range o.Members {
			next := at
			next.Pointer += "/" + schema.EscapeToken(m.Name)
			next.Always = at.Always && m.Required
			next.Needed = at.Needed && m.Required || m.Leaf == nil && m.Items == nil && s.any(next.Pointer)
			s.items(out, m, next)
		}
	}
}

// any reports whether there is a value under a pointer.
func (s *Session) any(pointer string) bool {
	for at := range s.values {
		if strings.HasPrefix(at, pointer+"/") {
			return true
		}
	}
	return false
}

// label names a field.
func (s *Session) label(o *schema.Outline) string {
	if h := s.headings[o.Path]; h != "" {
		return h
	}
	return strings.ReplaceAll(o.Name, "_", " ")
}

// Lists returns the pointers of the record's lists, those inside lists left out.
func (s *Session) Lists() []string {
	var out []string
	var walk func(o *schema.Outline, at string)
	walk = func(o *schema.Outline, at string) {
		if o.Items != nil {
			out = append(out, at)
			return
		}
		for _, m := range o.Members {
			walk(m, at+"/"+schema.EscapeToken(m.Name))
		}
	}
	walk(s.outline, "")
	return out
}

// Count returns how many entries a list has.
func (s *Session) Count(list string) int { return s.count(list) }

// ListName names a list, or one entry of it: "tubes", "tube 2".
func ListName(list string, entry int) string {
	_, name, _ := cutLast(list)
	name = strings.ReplaceAll(name, "_", " ")
	if entry < 0 {
		return name
	}
	return fmt.Sprintf("%s %d", strings.TrimSuffix(name, "s"), entry+1)
}

// record builds the record of the present values.
func (s *Session) record() *schema.Node { return s.outline.Record(s.values) }

// Problems returns what the plan does not accept in the record as it is.
func (s *Session) Problems() []schema.Problem {
	problems := s.Plan.Validate("", s.record())
	schema.SortProblems(problems)
	return problems
}

// find returns the outline of a single value at a pointer, nil if there is none. field is
// its path.
func (s *Session) find(pointer string) (o *schema.Outline, field string) {
	if !strings.HasPrefix(pointer, "/") {
		return nil, ""
	}
	o = s.outline
	for _, token := range strings.Split(pointer[1:], "/") {
		if o.Items != nil {
			if i, err := strconv.Atoi(token); err != nil || i < 0 || i >= maxEntries || strconv.Itoa(i) != token {
				return nil, ""
			}
			o = o.Items
			continue
		}
		i := slices.IndexFunc(o.Members, func(m *schema.Outline) bool { return schema.EscapeToken(m.Name) == token })
		if i < 0 {
			return nil, ""
		}
		o = o.Members[i]
	}
	if o.Leaf == nil {
		return nil, ""
	}
	return o, o.Path
}

// maxEntries bounds the entries of one list.
const maxEntries = 1000

// Leaf returns what the schema says of a field ("/tubes/*/barcode"), nil if it has none.
func (d *Desk) Leaf(field string) *schema.Leaf {
	if o := d.outline.Find(field); o != nil {
		return o.Leaf
	}
	return nil
}

// Tube returns the barcode of a tube, "" if it has none yet.
func (s *Session) Tube(i int) string { return s.textAt(tubesAt + "/" + strconv.Itoa(i) + "/barcode") }
