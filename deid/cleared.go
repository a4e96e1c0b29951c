package deid

import (
	"fmt"
	"io"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// A FindingsError lists the undecided findings, at least one. To go on, decide on
// each of them, join the lines that [leak.Decision.Format] returns for the decisions,
// pass them to [leak.ParseDecisions], and call [Release] again on the same draft.
type FindingsError struct{ Findings []leak.Finding }

func (e *FindingsError) Error() string {
	if len(e.Findings) == 1 {
		return "a finding of the leak check waits for a decision"
	}
	return fmt.Sprintf("%d findings of the leak check wait for a decision", len(e.Findings))
}

// A File is one payload file of a shipment.
type File struct {
	Name string // slash-separated, below data/, for example "sessions/....json"
	Size int64  // bytes; -1 for the summary of the recordings, which is known once they have been read
	// Open returns the treated bytes, exactly Size of them; with Size -1 at most
	// 16 MiB, computed from the files read before it. The files of one Cleared must
	// be opened and read one after another, not concurrently. Reading checks them
	// once more: a recording that breaks its format's rules, holds an undecided
	// finding, or has changed since the collection was read gives a
	// *schema.QueriesError or *FindingsError instead of its remaining bytes.
	Open func() (io.ReadCloser, error)
}

// Cleared is a treated collection in which the last scan left no open finding.
// Only [Release] makes one.
type Cleared struct {
	study      *schema.Study
	files      []File
	sessions   int
	recordings int
	tubes      []ClearedTube
	subjects   []string

	// For a RosterSearch.
	roster  *schema.Roster
	plan    *schema.Plan
	source  map[string]string // payload file to the file it is made from
	settled map[string][]span // by payload file: texts that were kept, and masks
	ledger  *Ledger
}

// A ClearedTube is one row of data/tubes.csv: treated values, "" for what the plan
// drops. First is the tube's mark in handling.csv; a Draft does not set it.
type ClearedTube struct {
	Barcode, Session, Position, Fraction, VolumeML, Storage string

	First bool // analyse before the others
}

// Study returns the study to which the collection belongs.
func (c *Cleared) Study() *schema.Study { return c.study }

// Files returns the payload, ordered by name.
func (c *Cleared) Files() []File { return c.files }

// Sessions returns how many session records leave.
func (c *Cleared) Sessions() int { return c.sessions }

// Recordings returns how many recordings leave.
func (c *Cleared) Recordings() int { return c.recordings }

// Tubes returns the rows of tubes.csv, ordered by barcode, then by session.
func (c *Cleared) Tubes() []ClearedTube { return c.tubes }
