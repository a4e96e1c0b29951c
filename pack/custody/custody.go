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

// Next returns the next free shipment number of a site, "07-0012".
func (j *Journal) Next(site string) string { panic("todo") }

// Of returns the last entry called what about shipment.
func (j *Journal) Of(shipment, what string) (Entry, bool) { panic("todo") }
