package schema

import (
	"io/fs"
	"os"
	"time"
)

// A Collection is a site's folder as read by [Load].
type Collection struct {
	Dir      string
	Study    *Study
	Plan     *Plan
	Roster   *Roster
	Sessions []*Session // accepted records, ordered by file name
	Problems []Problem  // ordered by file, line, column, rule
	Omitted  []Omitted  // files that are no part of the job, and why
	Read     Counts     // what was found, accepted or not
	Root     *os.Root   // the folder; recordings are opened through it
}

// Counts says how much there is.
type Counts struct{ Records, Recordings, Tubes int }

// An Omitted file stays at the site and has no say in the shipment.
type Omitted struct{ File, Why string }

// A Study is study.json.
type Study struct {
	Study, Site   string // codes: letters, digits and hyphens
	Contact       string // an institution's telephone or address
	Plan          string
	HoldingDays   int           // default 30
	UncappedLimit time.Duration // default 120 s
	TimeLimit     time.Duration // default 12 min
}

// A Roster is the site's list of subjects. It never leaves.
type Roster struct {
	Columns []string            // as in the header row
	Rows    []map[string]string // column name to value, values trimmed, empty ones left out
}

// A Session is one accepted record.
type Session struct {
	File       string // "sessions/0012.json"
	Raw        []byte // as read; never modified
	ID         string // session_id
	Subject    string // subject.subject_id
	Operator   string
	BirthDate  string // "2006-01-02", or "" where the plan's schema has none
	Started    time.Time
	Ended      time.Time
	Outcome    string
	Fraction   string
	Tubes      []Tube
	Recordings []RecordingRef
}

// Doc parses Raw again; it cannot fail for an accepted record.
func (s *Session) Doc() *Node { panic("todo") }

// A Tube is one sorbent tube of a session. Values are as written in the record.
type Tube struct {
	Barcode, Position, VolumeML, Storage string
	Uncapped, Capped                     time.Time
}

// A RecordingRef is a recording that a session names.
type RecordingRef struct {
	File    string // "recordings/a.csv", relative to the collection
	Format  string // "csv" or "edf"
	Pointer string // of the record's member, "/recordings/0/file"
	Size    int64  // bytes, when the folder was read
	ModTime time.Time
	Columns []Column // CSV only
}

// Load reads the collection in dir: study.json, plan, roster, every record,
// and the presence and first bytes of every recording (their bodies are read
// by [CheckCSV] and by deid). All problems are collected; the error, a
// *[ConfigError] or an I/O error, is for a folder that cannot be judged at all.
// The caller closes c.Root.
func Load(dir string) (c *Collection, err error) { panic("todo") }

// Errors returns the problems of severity Error.
func (c *Collection) Errors() []Problem { panic("todo") }

// regular says whether a directory entry is a plain file; links, pipes and
// devices are never followed.
func regular(e fs.DirEntry) bool { return e.Type().IsRegular() }
