package audit

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/deid"
	"outbreath/deid/attack"
	"outbreath/deid/reach"
	"outbreath/schema"
)

// A Field is one field of the plan, as treatment.json lists it.
type Field struct {
	Path      string // "/tubes/*/barcode"
	Treatment string // "age-band 5"
	Risk      string // "quasi", "sensitive" or ""
}

// treatment returns the parsed treatment; the zero Treatment for one that this program
// does not know.
func (f Field) treatment() schema.Treatment {
	t, _ := schema.ParseTreatment(f.Treatment)
	return t
}

// FieldsOf returns the fields of a ledger.
func FieldsOf(l *deid.Ledger) []Field {
	var list []Field
	for _, f := range l.Fields {
		list = append(list, Field{f.Path, f.Treatment, f.Risk})
	}
	return list
}

// An Output is the payload as the laboratory reads it. The zero value is empty.
type Output struct {
	Records    []*Record
	Recordings []*Trace
	Files      []Entry // every file, in the order of the archive
	Archive    bool    // Files are from an archive: their times and owners are known

	Words *Words // searched for in recordings while these are read; may be nil

	texts   []fileText      // of all files but the records
	leaving attack.Shipment // the same, as attackers read it

	interned map[string]string
	leaves   int
}

// Bounds of an Output, for its memory.
const (
	maxRecords = 100_000
	maxLeaves  = 20_000_000
)

// An Entry is a file of the archive.
type Entry struct {
	Name         string
	Size         int64
	ModTime      time.Time
	Mode         int64
	UID, GID     int
	Owner, Group string
}

// A Record is one treated session.
type Record struct {
	Name    string // "sessions/....json"
	Leaves  []Leaf
	Session string // /session_id
	Subject string // /subject/subject_id
	Started time.Time
}

// A Leaf is one value of a record.
type Leaf struct {
	Path  string // with "*" for list indices
	Index int    // in the first list of the path
	Text  string // "" for null
}

// Pointer returns the JSON pointer of the value in the record.
func (l Leaf) Pointer() string { return strings.Replace(l.Path, "*", strconv.Itoa(l.Index), 1) }

// Get returns the first value at path, "" if there is none.
func (r *Record) Get(path string) string {
	for _, l := range r.Leaves {
		if l.Path == path {
			return l.Text
		}
	}
	return ""
}

// Add adds one file of the payload, by its name relative to data/, in the order of the
// archive. It reads r to the end. The error is that of r, or reports that the file has
// a wrong form, without any of its content.
func (o *Output) Add(name string, r io.Reader) error {
	h := &head{most: attack.Wanted(name)}
	if err := o.add(name, io.TeeReader(r, h)); err != nil {
		return err
	}
	if err := o.leaving.Add(name, &h.b); err != nil && !errors.Is(err, attack.ErrTooLarge) {
		return err
	}
	return nil // a payload that is too large for the attacks is reported as not tested
}

// A head keeps the first bytes that are written to it.
type head struct {
	b    bytes.Buffer
	most int
}

func (h *head) Write(p []byte) (int, error) {
	h.b.Write(p[:min(len(p), h.most-h.b.Len())])
	return len(p), nil
}

func (o *Output) add(name string, r io.Reader) error {
	switch {
	case name == deid.SummaryName:
		return o.summary(r)
	case strings.HasPrefix(name, "sessions/"):
		if len(o.Records) == maxRecords || o.leaves > maxLeaves {
			return errors.New("there are more than 100,000 records or 20,000,000 values, too many for the audit: " +
				"audit smaller shipments")
		}
		data, err := io.ReadAll(io.LimitReader(r, 16<<20+1))
		if err != nil {
			return err
		}
		n, err := schema.ParseJSON(data)
		if err != nil {
			return errors.New("a record that leaves is not JSON; the audit cannot judge it")
		}
		o.record(name, n)
		return nil
	case strings.HasPrefix(name, "recordings/"):
		t, err := readTrace(name, r, o.Words)
		if err != nil {
			return err
		}
		if len(o.texts)+len(t.texts) > maxFileTexts {
			return errTexts
		}
		o.Recordings, o.texts = append(o.Recordings, t), append(o.texts, t.texts...)
		t.texts = nil
		return nil
	case strings.HasSuffix(name, ".csv"):
		return o.table(name, r)
	case strings.HasSuffix(name, ".json"):
		return o.document(name, r)
	}
	_, err := io.Copy(io.Discard, r)
	return err
}

// record adds a record as a list of leaves, which needs less memory than its tree.
func (o *Output) record(name string, n *schema.Node) {
	if o.interned == nil {
		o.interned = map[string]string{}
	}
	rec := &Record{Name: name}
	n.Walk(func(at schema.Place, n *schema.Node) bool {
		if n.Kind == schema.Object || n.Kind == schema.Array {
			return true
		}
		path, ok := o.interned[at.Path]
		if !ok {
			path = at.Path
			o.interned[path] = path
		}
		leaf := Leaf{Path: path, Text: n.Text}
		if len(at.Index) > 0 {
			leaf.Index = at.Index[0]
		}
		rec.Leaves = append(rec.Leaves, leaf)
		return true
	})
	rec.Leaves = slices.Clip(rec.Leaves)
	o.leaves += len(rec.Leaves)
	rec.Session, rec.Subject = rec.Get("/session_id"), rec.Get("/subject/subject_id")
	rec.Started, _ = parseDay(cmp.Or(rec.Get("/started_at"), rec.Get("/started_at/date")))
	o.Records = append(o.Records, rec)
}

// summary reads the summary of the recordings and sets their Figures. It comes after
// the recordings in the order of the archive.
func (o *Output) summary(r io.Reader) error {
	var s deid.Summary
	data, err := io.ReadAll(io.LimitReader(r, 16<<20+1))
	if err != nil {
		return err
	}
	if json.Unmarshal(data, &s) != nil {
		return errors.New("the summary of the recordings has a wrong form; the audit cannot judge it")
	}
	byFile := map[string]*Trace{}
	for _, t := range o.Recordings {
		byFile[t.Name] = t
	}
	for _, f := range s.Recordings {
		if t := byFile[f.File]; t != nil {
			figures := f.Figures
			t.Figures = &figures
		}
	}
	return nil
}

// valueSep separates the values of a subject whose sessions differ.
const valueSep = reach.Separator

// Table returns the table of the quasi-identifiers and sensitive fields, one row for
// each subject, ordered by pseudonym.
func (o *Output) Table(fields []Field) *Table {
	t := &Table{}
	for _, f := range fields {
		switch f.Risk {
		case "quasi":
			t.Quasi = append(t.Quasi, f)
		case "sensitive":
			t.Sensitive = append(t.Sensitive, f)
		}
	}
	bySubject := map[string][]*Record{}
	var order []string
	for _, r := range o.Records {
		if bySubject[r.Subject] == nil {
			order = append(order, r.Subject)
		}
		bySubject[r.Subject] = append(bySubject[r.Subject], r)
	}
	slices.Sort(order)
	for _, who := range order {
		t.Rows = append(t.Rows, rowOf(who, bySubject[who], t))
	}
	return t
}

// byRecord returns the table with one row for each record.
func (o *Output) byRecord(of *Table) *Table {
	t := &Table{Quasi: of.Quasi, Sensitive: of.Sensitive}
	for _, r := range o.Records {
		t.Rows = append(t.Rows, rowOf(r.Session, []*Record{r}, t))
	}
	return t
}

// rowOf returns the row of all records of who. Different values of one field are
// sorted and joined by valueSep.
func rowOf(who string, records []*Record, t *Table) Row {
	row := Row{Who: who}
	values := func(f Field) string {
		var all []string
		for _, r := range records {
			for _, l := range r.Leaves {
				if l.Path == f.Path || strings.HasPrefix(l.Path, f.Path+"/") {
					all = append(all, l.Text)
				}
			}
		}
		slices.Sort(all)
		return strings.Join(slices.Compact(all), valueSep)
	}
	for _, f := range t.Quasi {
		row.Quasi = append(row.Quasi, values(f))
	}
	for _, f := range t.Sensitive {
		row.Sensitive = append(row.Sensitive, values(f))
	}
	return row
}
