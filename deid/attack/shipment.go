package attack

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A Field is one line of the plan, which every recipient has in treatment.json.
type Field struct {
	Path      string // "/tubes/*/barcode"
	Treatment string // "age-band 5"
}

// A Shipment is a payload as an attacker reads it. The zero value is empty.
type Shipment struct {
	Fields   []Field
	Sessions []*Session // in the order of the archive

	// HoldingDays is how many days tubes may be held, if the payload says it; 0 otherwise.
	HoldingDays int

	byName map[string]*Session // by the session's own name
	later  []func(*Shipment)   // what waits for the records
	names  []string            // of recordings, in the order of the archive

	tooLarge bool
	paths    map[string]string      // each path once, to save memory
	handling bool                   // handling.csv is there
	solved   map[Attacker]*calendar // what Run found out
	plain    *calendar              // what the data alone say if no number is in order
}

// A Session is one record that leaves, with what tables and recordings say of it.
type Session struct {
	Name    string // session_id as it leaves
	Subject string // subject/subject_id as it leaves
	Start   Moment
	Values  map[string][]string // path with "*" for list indices to the values there; no times
	Times   map[string][]Moment // likewise
	Figures map[string]float64  // of the curve, by the names in recordings/summary.json
	First   bool                // handling.csv lets one of its tubes be analysed first
	Ambient bool                // a tube was kept at ambient temperature
	Headers map[string][]string // fields of EDF headers

	Known      []Day // days that a recording or a text shows, which may be true
	KnownFrom  []string
	BoxPlace   int // place of its first tube in tubes.csv, from 1
	StartClock int // seconds of the day, where a recording shows it; -1 otherwise
}

// Bounds of what is read, for memory.
const (
	maxSessions = 20_000
	maxRecord   = 16 << 20
	maxValues   = 20_000 // of a record
	maxTable    = 64 << 20
	maxHead     = 8 << 20 // of a recording
)

// ErrTooLarge reports a payload beyond the bounds of this package.
var ErrTooLarge = errors.New("more than 20,000 records, or a record that is too large, for the attacks")

// Wanted returns how many bytes of a file Add reads at most.
func Wanted(name string) int {
	switch {
	case strings.HasPrefix(name, "recordings/") && name != "recordings/summary.json":
		return maxHead
	case strings.HasPrefix(name, "sessions/"):
		return maxRecord
	}
	return maxTable
}

// Add reads one file of the payload, by its name relative to data/. Of a recording it
// reads the first 8 MiB at most.
func (s *Shipment) Add(name string, r io.Reader) error {
	data, err := io.ReadAll(io.LimitReader(r, int64(Wanted(name))))
	if err != nil {
		return err
	}
	switch {
	case strings.HasPrefix(name, "sessions/") && strings.HasSuffix(name, ".json"):
		return s.record(data)
	case name == "recordings/summary.json":
		s.later = append(s.later, func(s *Shipment) { s.summary(data) })
	case strings.HasPrefix(name, "recordings/"):
		s.recording(name, data)
	case name == "treatment.json":
		s.ledger(data)
	case strings.HasSuffix(name, ".csv"):
		s.handling = s.handling || name == "handling.csv"
		s.later = append(s.later, func(s *Shipment) { s.table(name, data) })
	}
	return nil
}

func (s *Shipment) record(data []byte) error {
	if s.tooLarge || len(s.Sessions) == maxSessions || len(data) == maxRecord {
		s.tooLarge, s.Sessions, s.byName = true, nil, nil
		return ErrTooLarge
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	var doc any
	if dec.Decode(&doc) != nil {
		return errors.New("a record that leaves is not JSON")
	}
	x := &Session{Values: map[string][]string{}, Times: map[string][]Moment{}, StartClock: -1}
	budget := maxValues
	if s.paths == nil {
		s.paths = map[string]string{}
	}
	x.flatten("", doc, &budget, s.paths)
	x.Name, x.Subject = x.first("/session_id"), x.first("/subject/subject_id")
	if list := x.Times["/started_at"]; len(list) > 0 {
		x.Start = list[0]
	}
	x.Ambient = slices.Contains(x.Values["/tubes/*/storage"], "ambient")
	if s.byName == nil {
		s.byName = map[string]*Session{}
	}
	s.byName[x.Name] = x
	s.Sessions = append(s.Sessions, x)
	return nil
}

func (x *Session) first(path string) string {
	if list := x.Values[path]; len(list) > 0 {
		return list[0]
	}
	return ""
}

// flatten enters the leaves under v. It stops when budget is used up.
func (x *Session) flatten(path string, v any, budget *int, paths map[string]string) {
	if *budget--; *budget < 0 {
		return
	}
	if same, ok := paths[path]; ok {
		path = same
	} else if len(paths) < maxValues {
		paths[path] = path
	}
	if m, ok := momentOf(v); ok {
		x.Times[path] = append(x.Times[path], m)
		return
	}
	switch v := v.(type) {
	case map[string]any:
		for key, child := range v {
			x.flatten(path+"/"+key, child, budget, paths)
		}
	case []any:
		for _, child := range v {
			x.flatten(path+"/*", child, budget, paths)
		}
	case string:
		x.Values[path] = append(x.Values[path], v)
		x.dates(v, path)
	case json.Number:
		x.Values[path] = append(x.Values[path], v.String())
	case bool:
		x.Values[path] = append(x.Values[path], strconv.FormatBool(v))
	}
}

// halfHolding finds the days from which handling.csv puts a tube first, which
// treatment.json states; they are half of the days that tubes may be held.
var halfHolding = regexp.MustCompile(`ended more than ([0-9.]+) days before the newest session`)

func (s *Shipment) ledger(data []byte) {
	var t struct {
		Fields []struct{ Path, Treatment string }
		Days   int `json:"holding_days"`
	}
	if json.Unmarshal(data, &t) != nil {
		return
	}
	s.HoldingDays = t.Days
	if m := halfHolding.FindSubmatch(data); m != nil && t.Days == 0 {
		if half, err := strconv.ParseFloat(string(m[1]), 64); err == nil && half > 0 && half < 5000 {
			s.HoldingDays = int(2 * half)
		}
	}
	if len(s.Fields) == 0 {
		for _, f := range t.Fields {
			s.Fields = append(s.Fields, Field{f.Path, f.Treatment})
		}
	}
}

// summary takes over the numbers of recordings/summary.json, the mean of a session's
// recordings for each.
func (s *Shipment) summary(data []byte) {
	var doc struct{ Recordings []map[string]any }
	if json.Unmarshal(data, &doc) != nil {
		return
	}
	count := map[string]float64{}
	for _, r := range doc.Recordings {
		name, _ := r["session"].(string)
		x := s.byName[name]
		if x == nil {
			continue
		}
		if x.Figures == nil {
			x.Figures = map[string]float64{}
		}
		count[name]++
		for key, v := range r {
			if n, ok := v.(float64); ok {
				x.Figures[key] += (n - x.Figures[key]) / count[name]
			}
		}
	}
}

// table reads tubes.csv, handling.csv, sessions.csv and the like: a row belongs to the
// session that its column "session" names, or to that of the tube in its column "barcode".
func (s *Shipment) table(name string, data []byte) {
	in := csv.NewReader(bytes.NewReader(data))
	in.FieldsPerRecord, in.ReuseRecord = -1, true
	header, err := in.Read()
	if err != nil {
		return
	}
	header = slices.Clone(header)
	session, barcode := slices.Index(header, "session"), slices.Index(header, "barcode")
	if session < 0 {
		session = slices.Index(header, "session_id")
	}
	tubes := map[string]*Session{}
	if session < 0 {
		for _, x := range s.Sessions {
			for _, b := range x.Values["/tubes/*/barcode"] {
				tubes[b] = x
			}
		}
	}
	for line := 1; ; line++ {
		row, err := in.Read()
		if err != nil {
			return
		}
		var x *Session
		switch {
		case session >= 0 && session < len(row):
			x = s.byName[row[session]]
		case barcode >= 0 && barcode < len(row):
			x = tubes[row[barcode]]
		}
		if x == nil {
			continue
		}
		if name == "tubes.csv" && x.BoxPlace == 0 {
			x.BoxPlace = line
		}
		for i, cell := range row {
			if i >= len(header) || i == session || cell == "" {
				continue
			}
			x.First = x.First || header[i] == "analyse" && cell == "first"
			x.cell(fmt.Sprintf("%s:%s", name, header[i]), cell)
		}
	}
}

// cell enters a cell of a table as a value or a time.
func (x *Session) cell(path, text string) {
	if m, ok := parseMoment(text); ok {
		x.Times[path] = append(x.Times[path], m)
	} else if len(x.Values[path]) < maxValues {
		x.Values[path] = append(x.Values[path], text)
	}
}

// settle reads what had to wait for the records. Run calls it.
func (s *Shipment) settle() {
	for _, f := range s.later {
		f(s)
	}
	s.later = nil
}

// treatment returns the treatment of path in words, "" if the plan has none.
func (s *Shipment) treatment(path string) string {
	for _, f := range s.Fields {
		if f.Path == path {
			return f.Treatment
		}
	}
	return ""
}

// treatmentOf returns the first word of the treatment of path.
func (s *Shipment) treatmentOf(path string) string {
	word, _, _ := strings.Cut(s.treatment(path), " ")
	return strings.TrimSuffix(word, ",")
}

// subjects returns the subjects in order, and the sessions of each in order of what
// their starts show.
func (s *Shipment) subjects() (names []string, of map[string][]*Session) {
	of = map[string][]*Session{}
	for _, x := range s.Sessions {
		if of[x.Subject] == nil {
			names = append(names, x.Subject)
		}
		of[x.Subject] = append(of[x.Subject], x)
	}
	slices.Sort(names)
	for _, list := range of {
		slices.SortStableFunc(list, func(a, b *Session) int { return a.Start.compare(b.Start) })
	}
	return names, of
}

func (m Moment) compare(n Moment) int {
	key := func(m Moment) int { return (int(m.Day)+m.Count)*86400 + m.Clock }
	return key(m) - key(n)
}
