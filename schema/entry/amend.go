package entry

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"slices"
	"time"

	"outbreath/pack/durable"
	"outbreath/schema"
	"outbreath/schema/sessionlog"
)

// AmendmentsFile is the log of what was changed in records, one line a value. It is only
// appended to, and stays at the site.
const AmendmentsFile = "amendments.jsonl"

const maxAmendments = 64 << 20 // bytes

// An Amendment is one value that was changed. It is written before the record is: the
// digests tell whether the change was carried out.
type Amendment struct {
	When   time.Time `json:"when"`   // UTC
	Who    string    `json:"who"`    // a name or role of the staff
	Why    string    `json:"why"`    // one line, without anything about a person
	Record string    `json:"record"` // "sessions/0007.json"
	Field  string    `json:"field"`  // pointer
	Old    string    `json:"old"`    // JSON text; "" for none
	New    string    `json:"new"`    // JSON text; "" for none
	Before string    `json:"before"` // SHA-256 of the record, in hex
	After  string    `json:"after"`
}

// Amend begins to change a record of the folder of sessions.
func (d *Desk) Amend(file string) (*Session, error) { return d.amend(file) }

func (d *Desk) amend(file string) (*Session, error) {
	if !sessionlog.IsRecordFile(file) {
		return nil, &schema.ConfigError{File: file, Message: "this is no record of the folder sessions"}
	}
	n, data, err := sessionlog.ReadRecord(d.root, file)
	if err != nil {
		return nil, err
	}
	s := d.New()
	s.base = leaves(n)
	s.kept.Amends, s.kept.Before = file, digest(data)
	s.replay()
	there := leaves(s.record())
	for at, v := range s.base {
		if o := there[at]; o == nil || literal(o) != literal(v) {
			return nil, &schema.ConfigError{File: file, Message: "has a value at " + at + " that the plan does not " +
				"have, and that would be lost: correct that by hand first"}
		}
	}
	return s, nil
}

// Amends returns the record that is changed; "" for a new session.
func (s *Session) Amends() string { return s.kept.Amends }

// leaves returns the single values of a record by their pointers.
func leaves(n *schema.Node) map[string]*schema.Node {
	values := map[string]*schema.Node{}
	n.Walk(func(at schema.Place, n *schema.Node) bool {
		if n.Kind != schema.Object && n.Kind != schema.Array {
			values[at.Pointer()] = n
		}
		return true
	})
	return values
}

// A Change is one value before and after, "" for none.
type Change struct{ Pointer, Name, Old, New string }

// Changes lists what the amended record has otherwise than before.
func (s *Session) Changes() []Change {
	var out []Change
	all := maps.Clone(s.base)
	maps.Copy(all, s.values)
	word := func(n *schema.Node) string {
		if n == nil {
			return ""
		}
		return literal(n)
	}
	for _, at := range slices.Sorted(maps.Keys(all)) {
		if was, is := word(s.base[at]), word(s.values[at]); was != is {
			out = append(out, Change{at, s.name(at), was, is})
		}
	}
	return out
}

// WriteAmended appends the changes to [AmendmentsFile], then writes the record. who and
// why have been judged: they are kept for good.
func (s *Session) WriteAmended(who, why string) error {
	if problems := s.Problems(); len(problems) > 0 {
		return &InvalidError{problems}
	}
	there, err := durable.Read(s.root, s.kept.Amends, sessionlog.MaxRecord)
	if err != nil {
		return &DiskError{s.kept.Amends, err}
	}
	record := s.record()
	data := record.Encode()
	if digest(there) != s.kept.Before {
		return &schema.ConfigError{File: s.kept.Amends, Message: "was changed by somebody else meanwhile: remove " +
			File + ", and make the changes again"}
	}
	var lines []byte
	for _, c := range s.Changes() {
		line, err := json.Marshal(Amendment{When: s.Now().UTC().Truncate(time.Second), Who: who, Why: why,
			Record: s.kept.Amends, Field: c.Pointer, Old: c.Old, New: c.New, Before: s.kept.Before,
			After: digest(data)})
		if err != nil {
			return err
		}
		lines = append(append(lines, line...), '\n')
	}
	if err := appendLines(s.root, lines); err != nil {
		return err
	}
	if err := sessionlog.WriteRecord(s.root, s.kept.Amends, data, durable.Replace); err != nil {
		return &DiskError{s.kept.Amends, err}
	}
	return s.Discard()
}

// appendLines adds whole lines to the log. A last line that was cut off stays, and what
// is added begins on a line of its own.
func appendLines(root *os.Root, lines []byte) error {
	there, err := durable.Read(root, AmendmentsFile, maxAmendments)
	missing := errors.Is(err, fs.ErrNotExist)
	if err != nil && !missing {
		return err
	}
	if len(there)+len(lines) >= maxAmendments {
		return &schema.ConfigError{File: AmendmentsFile, Message: "has no room for more: go on in a new collection"}
	}
	if len(there) > 0 && there[len(there)-1] != '\n' {
		lines = append([]byte{'\n'}, lines...)
	}
	var f *os.File
	if missing {
		f, err = durable.Create(root, AmendmentsFile, os.O_WRONLY|os.O_APPEND)
	} else {
		f, err = durable.OpenToChange(root, AmendmentsFile, os.O_WRONLY|os.O_APPEND)
	}
	if err != nil {
		return err
	}
	_, err = f.Write(lines)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return durable.SyncFolder(root)
}

// An Amended record, and how many of its values were changed. Values have no place here.
type Amended struct {
	Record string `json:"record"`
	Values int    `json:"values"`
}

// Amendments counts what was changed in a collection, by record. torn is how many lines
// cannot be read.
func Amendments(root *os.Root) (list []Amended, torn int, err error) {
	data, err := durable.Read(root, AmendmentsFile, maxAmendments)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, 0, nil
	}
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", AmendmentsFile, err)
	}
	list, torn = ParseAmendments(data)
	return list, torn, nil
}

// ParseAmendments counts the lines of the log.
func ParseAmendments(data []byte) (list []Amended, torn int) {
	counts := map[string]int{}
	for line := range bytes.Lines(data) {
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		var a Amendment
		if err := json.Unmarshal(line, &a); err != nil || !sessionlog.IsRecordFile(a.Record) {
			torn++
			continue
		}
		counts[a.Record]++
	}
	for _, file := range slices.Sorted(maps.Keys(counts)) {
		list = append(list, Amended{file, counts[file]})
	}
	return list, torn
}
