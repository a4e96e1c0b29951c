package rederive

import (
	"context"
	"encoding/csv"
	"errors"
	"io"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/unicode/norm"

	"outbreath/schema"
)

// A Source is what a shipment is made from.
type Source struct {
	Folder      fs.FS  // the collection folder
	Study, Site string // codes of study.json
	HoldingDays int    // of study.json
	Plan        string // name of the plan
	Fields      []schema.Field
	Schema      []byte     // the annotated schema that the plan was read from; nil: not known
	Keys        [][32]byte // generations of the pseudonym key, newest first; at least one
	Findings    []Finding
	LeftOut     []string // records of subjects who have withdrawn: "sessions/0012.json"
	Shipment    string   // its number; "" before sealing
}

// A session is one record of the source, without its values.
type session struct {
	file       string // "sessions/0001.json"
	id         string // canonical
	subject    string // canonical
	started    clock
	ended      clock
	ends       bool // ended is known
	birth      day
	born       bool
	recordings []recording
	earliest   *day // of all sessions of the subject that leave
	leftOut    bool
	seen       bool // in the bag
}

func (s *session) first() day { return *s.earliest }

// A recording is a file that a record names.
type recording struct {
	file    string // "recordings/a.csv"
	format  string
	pointer string // "/recordings/0/file"
	seen    bool   // in the bag
}

// leaves returns the name under which a recording leaves.
func (r recording) leaves(session string) string {
	i, _ := strconv.Atoi(strings.Split(r.pointer, "/")[2])
	return "recordings/" + session + "-" + strconv.Itoa(i+1) + "." + r.format
}

// Bounds of a collection.
const (
	maxSessions = 100_000
	maxRoster   = 64 << 20
)

// readFile reads a file of at most limit bytes.
func readFile(folder fs.FS, name string, limit int64) ([]byte, error) {
	f, err := folder.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readAll(f, limit)
}

var errLarge = errors.New("a file is larger than it may be")

func readAll(r io.Reader, limit int64) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = errLarge
	}
	return data, err
}

// readSessions reads what the names of files and the shifts depend on.
func (c *Comparison) readSessions(ctx context.Context) error {
	entries, err := fs.ReadDir(c.source.Folder, "sessions")
	if err != nil {
		return err
	}
	earliest := map[string]*day{}
	for _, e := range entries {
		name := e.Name()
		if !e.Type().IsRegular() || strings.HasPrefix(name, ".") || strings.HasPrefix(name, "~$") ||
			!strings.HasSuffix(strings.ToLower(name), ".json") {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if len(c.sessions) == maxSessions {
			return errors.New("there are more than 100,000 records: split the collection")
		}
		s, err := c.readSession("sessions/" + name)
		if err != nil {
			c.cannot("a record of the collection", "it cannot be read, or lacks what every record has", 0)
			continue
		}
		s.leftOut = slices.Contains(c.source.LeftOut, s.file)
		c.sessions = append(c.sessions, s)
		if s.leftOut {
			s.earliest = &s.started.day
			continue
		}
		if first := earliest[s.subject]; first == nil {
			d := s.started.day
			earliest[s.subject] = &d
		} else if s.started.day < *first {
			*first = s.started.day
		}
		s.earliest = earliest[s.subject]
	}
	return nil
}

func (c *Comparison) readSession(file string) (*session, error) {
	n, err := c.record(file)
	if err != nil {
		return nil, err
	}
	s := &session{file: file}
	if s.id, err = canonical(n.at("/session_id").str()); err != nil {
		return nil, err
	}
	if s.subject, err = canonical(n.at("/subject/subject_id").str()); err != nil {
		return nil, err
	}
	var ok bool
	if s.started, ok = parseClock(n.at("/started_at").str()); !ok {
		return nil, errValue
	}
	s.ended, s.ends = parseClock(n.at("/ended_at").str())
	s.birth, s.born = parseDay(n.at("/subject/birth_date").str())
	if list := n.member("recordings"); list != nil && list.kind == array {
		for i, item := range list.items {
			s.recordings = append(s.recordings, recording{
				file:    c.find(strings.TrimPrefix(item.member("file").str(), "recordings/")),
				format:  item.member("format").str(),
				pointer: "/recordings/" + strconv.Itoa(i) + "/file",
			})
		}
	}
	return s, nil
}

// record reads one record of the source.
func (c *Comparison) record(file string) (*node, error) {
	data, err := readFile(c.source.Folder, file, maxJSON)
	if err != nil {
		return nil, err
	}
	return parse(data)
}

// find returns the path of the recording called name. A record and a file system may
// write one letter in two ways.
func (c *Comparison) find(name string) string {
	if !c.listed {
		c.listed = true
		entries, _ := fs.ReadDir(c.source.Folder, "recordings")
		for _, e := range entries {
			c.files[norm.NFC.String(e.Name())] = e.Name()
		}
	}
	if there, ok := c.files[norm.NFC.String(name)]; ok {
		return "recordings/" + there
	}
	return "recordings/" + name
}

// roster returns the rows of roster.csv by canonical subject identifier; nil if it
// cannot be read.
func (c *Comparison) roster() map[string]map[string]string {
	data, err := readFile(c.source.Folder, "roster.csv", maxRoster)
	if err != nil {
		return nil
	}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(data), "\ufeff")))
	r.FieldsPerRecord = -1
	head, err := r.Read()
	if err != nil {
		return nil
	}
	rows := map[string]map[string]string{}
	for {
		cells, err := r.Read()
		if err != nil {
			return rows
		}
		row := map[string]string{}
		for i, cell := range cells {
			if i < len(head) {
				row[strings.TrimSpace(head[i])] = strings.TrimSpace(cell)
			}
		}
		if id, err := canonical(row["subject_id"]); err == nil {
			rows[id] = row
		}
	}
}

// opening returns what the findings leave open in a text of a record.
func (c *Comparison) opening(v *visit, source, pointer string) *opening {
	o := &opening{source: source}
	for _, f := range c.found[v.file] {
		if f.Pointer == pointer {
			o.findings = append(o.findings, f)
		}
	}
	if c.shifted {
		o.shift = v.days
	}
	return o
}
