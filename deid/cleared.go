package deid

import (
	"context"
	"io"

	"outbreath/deid/leak"
	"outbreath/keys"
	"outbreath/schema"
)

// A Draft is a treated collection that has not yet been released.
type Draft struct{ draft }

type draft struct{}

// Treat applies the plan to every record of c. The error is a
// *schema.QueriesError when a value cannot be treated (for example a collision
// of pseudonyms, or an identifier without a letter or digit).
// key may be nil: findings then have no id, and the draft cannot be released.
func Treat(c *schema.Collection, key *keys.PseudonymKey) (*Draft, error) { panic("todo") }

// Findings searches every text, kept field, file name and EDF text of the
// draft, and marks those that decisions settle.
func (d *Draft) Findings(dec *leak.Decisions) ([]leak.Finding, error) { panic("todo") }

// CheckRecordings reads every recording to its end and returns what its
// format's rules object to. progress may be nil.
func (d *Draft) CheckRecordings(ctx context.Context, progress func(done, total int64)) ([]schema.Problem, error) {
	panic("todo")
}

// A FindingsError says that findings are undecided. It is never empty.
type FindingsError struct{ Findings []leak.Finding }

func (e *FindingsError) Error() string { panic("todo") }

// A File is one payload file of a shipment.
type File struct {
	Name string // slash-separated, below data/, for example "sessions/....json"
	Size int64  // bytes
	// Open returns the treated bytes, exactly Size of them. Reading checks them
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
}

// A ClearedTube is one row of data/tubes.csv.
type ClearedTube struct{ Barcode, Session, Position, Fraction, VolumeML, Storage string }

func (c *Cleared) Study() *schema.Study { return c.study }

// Files returns the payload, ordered by name.
func (c *Cleared) Files() []File        { return c.files }
func (c *Cleared) Sessions() int        { return c.sessions }
func (c *Cleared) Recordings() int      { return c.recordings }
func (c *Cleared) Tubes() []ClearedTube { return c.tubes }

// Release searches the draft, applies the decisions, searches again, and
// returns what may leave. Undecided findings are a *[FindingsError].
func Release(d *Draft, dec *leak.Decisions) (*Cleared, error) { panic("todo") }
