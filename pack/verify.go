package pack

import (
	"context"
	"time"

	"filippo.io/age"

	"outbreath/keys"
)

// VerifyOptions are what the laboratory brings.
type VerifyOptions struct {
	Allowed    *keys.Allowed
	Identities []age.Identity
	Now        time.Time               // for valid-before in allowed_signers
	Into       string                  // not "": unpack the bag there as well, whole or not at all
	Tubes      []string                // barcodes in the box, as scanned; nil: not compared
	Progress   func(done, total int64) // archive bytes; may be nil
}

// A Decision on a shipment.
type Decision string

const (
	Accepted      Decision = "accepted"
	Discrepancies Decision = "discrepancies"
	Rejected      Decision = "rejected"
)

// A Check is one thing that was looked at.
type Check struct {
	Name   string `json:"name"`
	OK     bool   `json:"ok"`
	Detail string `json:"detail"` // what was found, and when not OK what to do
}

// TubeMatch compares the box with the records.
type TubeMatch struct {
	Matched    []string `json:"matched"`
	Missing    []string `json:"missing"`    // in the records, not in the box
	Unexpected []string `json:"unexpected"` // in the box, not in the records
}

// A Verdict is what Verify found. Its JSON form is the contract's.
type Verdict struct {
	Shipment string     `json:"shipment"`
	Decision Decision   `json:"decision"`
	Checks   []Check    `json:"checks"`
	Tubes    *TubeMatch `json:"tubes,omitempty"`

	Study, Site                 string `json:"-"`
	Sessions, Recordings, Count int    `json:"-"` // Count: tubes
}

// Verify reads the shipment folder at dir once. A shipment that must not be
// used is a Verdict with Decision Rejected, not an error; the error is for a
// folder that cannot be read, a cancelled context, or o.Into that cannot be
// written.
func Verify(ctx context.Context, dir string, o VerifyOptions) (*Verdict, error) { panic("todo") }

// MatchTubes compares scanned barcodes with those of the records.
func MatchTubes(scanned, recorded []string) *TubeMatch { panic("todo") }

// ParseTubes reads a file of barcodes, one a line, as a scanner types them.
func ParseTubes(data []byte) ([]string, error) { panic("todo") }
