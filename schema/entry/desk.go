package entry

import (
	"errors"
	"maps"
	"os"
	"strings"
	"time"

	"outbreath/schema"
	"outbreath/schema/sessionlog"
)

// Pointers of fields that the tool itself needs.
const (
	sessionAt  = "/session_id"
	subjectAt  = "/subject/subject_id"
	startedAt  = "/started_at"
	tubesAt    = "/tubes"
	barcodeOf  = "/tubes/*/barcode"
	positionOf = "/tubes/*/position"
)

// A Desk is what sessions are entered against: the collection's plan, roster and records.
type Desk struct {
	Plan     *schema.Plan
	Study    *schema.Study
	Roster   *schema.Roster
	Settings *sessionlog.Settings
	Now      func() time.Time
	Unread   []string // records that could not be read: their tubes are not known

	root     *os.Root
	outline  *schema.Outline
	headings map[string]string // by field
	once     map[string]string // answers that are good for this run only
	tubes    map[string]string // by barcode, as [schema.Barcode] has it: the record
	sessions map[string]string // by canonical session_id: the record
	subjects map[string]map[string]string
	alike    map[string]string // by how a subject_id looks: how it is written
	last     *schema.Node      // the record with the greatest number
	number   int               // of the last record
}

// Open reads the records of a collection. The error is a *[schema.ConfigError] or of the
// disk.
func Open(col *schema.Collection, set *sessionlog.Settings, now func() time.Time) (*Desk, error) {
	d := &Desk{Plan: col.Plan, Study: col.Study, Roster: col.Roster, Settings: set, Now: now, root: col.Root,
		outline: col.Plan.Outline(), headings: map[string]string{}, once: map[string]string{},
		tubes: map[string]string{}, sessions: map[string]string{}, subjects: map[string]map[string]string{},
		alike: map[string]string{}}
	for _, c := range sessionlog.Columns(col.Plan) {
		if d.headings[c.Field] == "" {
			d.headings[c.Field] = c.Heading
		}
	}
	for _, row := range col.Roster.Rows {
		if id, err := schema.Canonical(row["subject_id"]); err == nil {
			d.subjects[id], d.alike[schema.Look(id)] = row, row["subject_id"]
		}
	}
	return d, d.records()
}

// records reads what is in the folder of sessions.
func (d *Desk) records() error {
	files, last, err := sessionlog.RecordFiles(d.root)
	if err != nil {
		return err
	}
	d.number = last
	newest := 0
	for _, f := range files {
		if f.Doc == nil {
			d.Unread = append(d.Unread, f.File)
			continue
		}
		d.add(f.File, f.Doc, f.Number > newest || d.last == nil)
		newest = max(newest, f.Number)
	}
	return nil
}

// add notes what a record uses up.
func (d *Desk) add(file string, n *schema.Node, newest bool) {
	if newest {
		d.last = n
	}
	if id := n.At(sessionAt); id != nil {
		if key, err := schema.Canonical(id.Text); err == nil {
			d.sessions[key] = file
		}
	}
	if list := n.Member("tubes"); list != nil {
		for _, t := range list.Items {
			if b := t.Member("barcode"); b != nil {
				d.tubes[schema.Barcode(b.Text)] = file
			}
		}
	}
}

// Answer takes the answer to a question about how something typed is to be read. What
// holds for all that is typed here is kept with the log's settings.
func (d *Desk) Answer(q sessionlog.Doubt, value string) error {
	if q.Option == "zone" && !sessionlog.IsZone(value) {
		return errors.New("this names no time zone: write continent and city, such as Europe/Berlin")
	}
	if q.Option == "" {
		d.once[q.ID] = value
		return nil
	}
	d.Settings.Answer(q, value)
	if err := d.Settings.Write(d.root); err != nil {
		return &DiskError{sessionlog.SettingsFile, err}
	}
	return nil
}

// inputs are what typed values are read against.
func (d *Desk) inputs() sessionlog.Inputs {
	return sessionlog.Inputs{Plan: d.Plan, Study: d.Study, Roster: d.Roster, Zone: d.Study.Zone, Today: d.Now()}
}

// typed reads one line for a field.
func (d *Desk) typed(field, line, started string) (*schema.Node, error) {
	set := *d.Settings
	set.Answers = maps.Clone(d.once)
	switch t := sessionlog.ReadTyped(d.inputs(), &set, field, line, started); {
	case len(t.Doubts) > 0 && d.plainer(field, t.Doubts[0]):
		return nil, errors.New("this can be read in several ways: write a date as 2026-03-02 and a time as 09:10")
	case len(t.Doubts) > 0:
		return nil, &Asked{t.Doubts[0]}
	case t.Problem != "":
		return nil, errors.New(t.Problem)
	default:
		return t.Node, nil
	}
}

// plainer reports whether a date or time is sooner typed again than asked about. The zone,
// and the hour that comes twice, cannot be typed more plainly.
func (d *Desk) plainer(field string, q sessionlog.Doubt) bool {
	leaf := d.Leaf(field)
	return strings.HasPrefix(leaf.Format, "date") && q.Option != "zone" && !strings.HasPrefix(q.ID, "twice-")
}

// An Asked error is a question that must be answered, with [Desk.Answer], before a line
// can be read.
type Asked struct{ Doubt sessionlog.Doubt }

func (e *Asked) Error() string { return e.Doubt.Question }

// now is the present time as a record has it.
func (d *Desk) now() (*schema.Node, error) {
	zone := d.inputs().Location(d.Settings)
	if zone == nil {
		return nil, &Asked{sessionlog.ZoneDoubt()}
	}
	return text(d.Now().In(zone).Truncate(time.Second).Format(time.RFC3339)), nil
}

func text(s string) *schema.Node { return &schema.Node{Kind: schema.String, Text: s} }
