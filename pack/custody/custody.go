// Package custody keeps custody.jsonl: what happened to each shipment, one
// JSON object a line, each chained to the one before by SHA-256.
//
// Callers need [Read], [Journal.Append] and, with a key, [Journal.SignWith] and
// [Journal.Signed].
//
// # What the chain shows, and what it does not
//
// Every line carries a checksum of itself ("sum") and the SHA-256 of the line
// before ("prev"). So a line that was edited, removed, put in or moved is found
// and named, wherever it is, as long as a line of the old chain follows it.
// The chain has no key: whole lines cut off at the end, and lines from some
// place to the end written anew with fresh checksums, cannot be seen by it
// alone. They are seen by the signature over the whole file in
// custody.jsonl.sig, which every entry that is added renews. So without the key
// nobody can take away, change or reorder what was signed.
//
// What no file in the folder can show: journal and signature both put back to
// an earlier state, from a copy, or both removed. For that the last line's
// SHA-256 ([Journal.Head]) must be known elsewhere: package site keeps it in the
// key folder ([Journal.Watch]). Entries added without the key are covered by the
// chain only, until the next one with it, which says how many there were
// ("unsigned_before").
//
// Evidence is never shortened: [Journal.Append] only adds, and [Repair] keeps
// the unfinished line that it moves.
package custody

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"slices"
	"strings"
	"time"
)

// An Entry is one line. Seq starts at 1; Prev is the SHA-256 (hex) of the line
// before without its line feed, 64 zeros in the first. Texts hold no control
// characters but tab and line feed.
type Entry struct {
	Seq      int               `json:"seq"`
	Prev     string            `json:"prev"`
	When     time.Time         `json:"when"` // UTC
	Who      string            `json:"who"`
	What     string            `json:"what"` // [Sealing], [Sealed], [Abandoned] ...
	Shipment string            `json:"shipment,omitempty"`
	Why      string            `json:"why,omitempty"`
	Facts    map[string]string `json:"facts,omitempty"` // digests, counts; no identifiers

	// Sum is the SHA-256 (hex) of the line before its last `,"sum":`; always there in the file.
	Sum string `json:"sum,omitempty"`
}

// A Journal is the file as read. Its chain has been checked. Not safe for
// concurrent use.
type Journal struct {
	Entries []Entry
	root    *os.Root // of the folder; must stay open while entries are added
	name    string   // in root
	path    string   // for messages
	last    string   // SHA-256 (hex) of the last line
	lastLen int64    // of the last line, with its line feed
	size    int64    // of the file
	text    []byte   // of the file: what gets signed is what was checked

	sign     func(text []byte) ([]byte, error) // nil: entries are added without
	before   func(e Entry, digest string) error
	after    func() error
	unsigned int // entries at the end that no signature covers, as far as is known
}

// noLine is the digest of the line before the first, which does not exist.
var noLine = strings.Repeat("0", 2*sha256.Size)

func newJournal(path string) *Journal { return &Journal{path: path, last: noLine} }

// Head returns the SHA-256 (hex) of the last line without its line feed, which
// fixes all lines; 64 zeros for an empty journal. `tail -n1 | tr -d '\n' |
// sha256sum` gives the same.
func (j *Journal) Head() string { return j.last }

// Digest returns the SHA-256 (hex) of line n, from 1, without its line feed; 64
// zeros for n = 0.
func (j *Journal) Digest(n int) string {
	if n == len(j.Entries) {
		return j.last
	}
	return j.Entries[n].Prev
}

// Watch has every later [Journal.Append] call before with the entry that it is about to
// write and the SHA-256 (hex) of its line, and after once entry and signature are
// written. An error of before stops the append, and nothing is written; one of after is
// returned, and the entry is there all the same.
func (j *Journal) Watch(before func(e Entry, digest string) error, after func() error) {
	j.before, j.after = before, after
}

// keep takes an entry and its line, with the line feed, as the new last one.
func (j *Journal) keep(e Entry, line []byte) {
	j.Entries = append(j.Entries, e)
	j.last = hexSum(line[:len(line)-1])
	j.lastLen = int64(len(line))
	j.size += j.lastLen
	j.text = append(j.text, line...)
}

// Of returns the last entry called what about shipment.
func (j *Journal) Of(shipment, what string) (Entry, bool) {
	for i := len(j.Entries) - 1; i >= 0; i-- {
		if e := j.Entries[i]; e.Shipment == shipment && e.What == what {
			return e, true
		}
	}
	return Entry{}, false
}

func hexSum(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// Unfinished returns the entries "sealing" that no later entry about the same
// shipment settles: the program was stopped in between.
func (j *Journal) Unfinished() []Entry {
	var open []Entry
	for i, e := range j.Entries {
		settled := slices.ContainsFunc(j.Entries[i+1:], func(later Entry) bool { return later.Shipment == e.Shipment })
		if e.What == Sealing && !settled {
			open = append(open, e)
		}
	}
	return open
}
