// Package custody keeps custody.jsonl: what happened to each shipment, one
// JSON object a line, each chained to the one before by SHA-256.
package custody

import "time"

// An Entry is one line. Seq starts at 1; Prev is the SHA-256 (hex) of the line
// before without its line feed, 64 zeros in the first.
type Entry struct {
	Seq      int               `json:"seq"`
	Prev     string            `json:"prev"`
	When     time.Time         `json:"when"` // UTC
	Who      string            `json:"who"`
	What     string            `json:"what"` // "sealing", "sealed", "abandoned" ...
	Shipment string            `json:"shipment,omitempty"`
	Why      string            `json:"why,omitempty"`
	Facts    map[string]string `json:"facts,omitempty"` // digests, counts; no identifiers
	Sum      string            `json:"sum,omitempty"`   // SHA-256 (hex) of the line before its `,"sum":`; filled in
}

// A Journal is the file as read. Its chain has been checked.
type Journal struct {
	Entries []Entry
	path    string
	last    string
}

// Read reads the journal at path; a missing file is an empty one. A broken
// chain or a damaged line is an error that names the line.
func Read(path string) (*Journal, error) { panic("todo") }

// Append chains e to the end of the file, synced, and keeps it in j.Entries.
// Seq and Prev are filled in.
func (j *Journal) Append(e Entry) error { panic("todo") }

// Next returns the next free shipment number of a site, "07-0012". The error
// is a site that has used up its 9999 numbers.
func (j *Journal) Next(site string) (string, error) { panic("todo") }

// Of returns the last entry called what about shipment.
func (j *Journal) Of(shipment, what string) (Entry, bool) { panic("todo") }

// A BrokenError names the line at which the chain does not hold.
type BrokenError struct {
	Path string
	Line int // from 1
	Msg  string
}

func (e *BrokenError) Error() string { panic("todo") }

// A TornError is a last line without its line feed: the program or the machine
// was stopped while it was written. [Repair] sets it aside.
type TornError struct {
	Path string
	Line int // from 1
}

func (e *TornError) Error() string { panic("todo") }

// A ChangedError says that the file has grown or changed since Read.
type ChangedError struct{ Path string }

func (e *ChangedError) Error() string { panic("todo") }

// Repair moves an unfinished last line out of the journal at path into a file
// beside it, custody.torn-1 (or -2 ...), whose path it returns.
func Repair(path string) (string, error) { panic("todo") }
