package pack

import (
	"context"
	"time"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"

	"outbreath/deid"
)

// SealOptions are the choices of [Seal].
type SealOptions struct {
	Media      string // folder on the medium; the shipment becomes Media/Number
	Number     string // "07-0012": site code, '-', four digits
	Signer     ssh.Signer
	Recipients []age.Recipient         // not empty
	PartSize   int64                   // bytes; 0: what the file system can hold in one file
	Date       time.Time               // sealing date for the public label
	Workers    int                     // compression workers; 0: one a core
	Progress   func(done, total int64) // plain bytes; may be nil

	// BeforeCommit is called when everything has been written and read back,
	// just before the shipment gets its final name. An error stops the sealing.
	BeforeCommit func(*Sealed) error
}

// Sealed is what Seal made. Its JSON form is the contract's.
type Sealed struct {
	OK         bool   `json:"ok"`
	Shipment   string `json:"shipment"`
	Folder     string `json:"folder"`
	Sessions   int    `json:"sessions"`
	Recordings int    `json:"recordings"`
	Tubes      int    `json:"tubes"`
	Parts      []Part `json:"parts"`
	ReadBack   bool   `json:"read_back"`
	Bag        string `json:"bag_sha256"` // of the tar stream inside: equal for equal input, keys and number
}

// A Part is one file of the archive.
type Part struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// An ExistsError says that the medium already holds that shipment number.
type ExistsError struct{ Folder string }

func (e *ExistsError) Error() string { panic("todo") }

// A MediaError is an input or output failure of the medium.
type MediaError struct {
	Path string
	Do   string // what to do
	Err  error
}

func (e *MediaError) Error() string { panic("todo") }
func (e *MediaError) Unwrap() error { return e.Err }

// Seal writes c as shipment o.Number below o.Media: all or nothing.
func Seal(ctx context.Context, c *deid.Cleared, o SealOptions) (*Sealed, error) { panic("todo") }
