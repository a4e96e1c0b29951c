package deid

import (
	"fmt"
	"io"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// A FindingsError says that findings are undecided. It is never empty. To go on, decide
// on each of its Findings, join what [leak.Decision.Format] returns for the decisions, give
// that to [leak.ParseDecisions], and call [Release] again on the same draft.
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
	// Open returns the treated bytes, exactly Size of them; with Size -1 no more
	// than 16 MiB, made out of what the files before it gave. The files of one
	// Cleared are opened and read one after another, not at once. Reading checks them
	// once more: a recording that breaks its format's rules, holds an undecided
	// finding, or has changed since the collection was read gives a
	// *schema.QueriesError or *FindingsError instead of the rest.
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
	settled map[string][]span // where a text stands that was kept, or a mask
	ledger  *Ledger
}

// A ClearedTube is one row of data/tubes.csv: values as they leave, "" for what
// the plan drops. First is what handling.csv says of it; a Draft does not set it.
type ClearedTube struct {
	Barcode, Session, Position, Fraction, VolumeML, Storage string

	First bool // to be analysed before the others
}

func (c *Cleared) Study() *schema.Study { return c.study }

// Files returns the payload, ordered by name.
func (c *Cleared) Files() []File        { return c.files }
func (c *Cleared) Sessions() int        { return c.sessions }
func (c *Cleared) Recordings() int      { return c.recordings }
func (c *Cleared) Tubes() []ClearedTube { return c.tubes }
