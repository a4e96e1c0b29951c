package site

import (
	"cmp"
	"maps"
	"strconv"
	"strings"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
)

// Names of facts in entries of the log. They are in the logs of running studies and must
// not change. Entries are read and written through the types of this file, and of
// known.go, review.go and restore.go for what only they use.
const (
	factBag        = "bag_sha256"
	factKey        = "key_id"
	factSubjects   = "subjects"
	factShipment   = "shipment" // of an entry "contents"
	factRecordings = "recordings"
	factTubes      = "tubes"
	factCopies     = "copies"
	factProgram    = "program"
	factPlan       = "plan"
	factReaders    = "recipients"
	factStated     = "discrepancies"
	factLogs       = "session_logs"
	insidePrefix   = "inside "
	partPrefix     = "sha256 "
)

// A Reader is a recipient that a shipment was encrypted to.
type Reader struct {
	Name        string // "" for a key that had none
	Fingerprint string // of the public key, as keys.Trusted has it
}

// CopyFacts are what the entries "sealing" and "sealed" keep of one copy of a
// shipment. A count is -1 where the entry has none, as entries of other kinds have.
type CopyFacts struct {
	Bag        string            // SHA-256 (hex) that fixes every byte of the bag: [pack.Sealed.Bag]
	Sessions   int               // in the bag
	Recordings int               // in the bag
	Tubes      int               // in the bag
	Copies     int               // media that were written at once
	Program    string            // that sealed it, as treatment.json names it
	Plan       string            // [PlanName]
	Inside     map[string]string // [pack.Sealed.Inside]
	Parts      map[string]string // file of the archive to its SHA-256 (hex)
	Readers    []Reader
	Logs       []string // SHA-256 (hex) of the session logs that the records were made from, sorted
	Stated     int      // tubes that box and records do not share; 0 where the entry has none
}

// factsOf returns what the log keeps of a shipment that was written.
func factsOf(s *pack.Sealed, program, plan string, readers []keys.Trusted, stated int) CopyFacts {
	f := CopyFacts{Bag: s.Bag, Sessions: s.Sessions, Recordings: s.Recordings, Tubes: s.Tubes, Copies: len(s.Copies),
		Program: program, Plan: plan, Inside: maps.Clone(s.Inside), Parts: map[string]string{}, Stated: stated}
	for _, p := range s.Parts {
		f.Parts[p.Name] = p.SHA256
	}
	for _, t := range readers {
		f.Readers = append(f.Readers, Reader{t.Name, t.Fingerprint})
	}
	return f
}

// CopyFactsOf reads the facts of an entry "sealing" or "sealed".
func CopyFactsOf(e custody.Entry) CopyFacts {
	f := CopyFacts{
		Bag: e.Facts[factBag], Program: e.Facts[factProgram], Plan: e.Facts[factPlan],
		Sessions: countFact(e, factSessions), Recordings: countFact(e, factRecordings), Tubes: countFact(e, factTubes),
		Copies: countFact(e, factCopies), Stated: max(countFact(e, factStated), 0),
		Inside: map[string]string{}, Parts: map[string]string{},
	}
	for name, value := range e.Facts {
		if sort, ok := strings.CutPrefix(name, insidePrefix); ok {
			f.Inside[sort] = value
		} else if part, ok := strings.CutPrefix(name, partPrefix); ok {
			f.Parts[part] = value
		}
	}
	f.Logs = strings.Fields(e.Facts[factLogs])
	if list := e.Facts[factReaders]; list != "" {
		for _, reader := range strings.Split(list, ", ") {
			name, fingerprint, _ := strings.Cut(reader, " ")
			if name == "-" {
				name = ""
			}
			f.Readers = append(f.Readers, Reader{name, fingerprint})
		}
	}
	return f
}

// countFact returns a count, -1 if the entry has none.
func countFact(e custody.Entry, name string) int {
	n, err := strconv.Atoi(e.Facts[name])
	if err != nil || n < 0 {
		return -1
	}
	return n
}

// encode returns the facts as an entry has them.
func (f CopyFacts) encode() map[string]string {
	out := map[string]string{
		factBag: f.Bag, factProgram: f.Program, factPlan: f.Plan, factSessions: strconv.Itoa(f.Sessions),
		factRecordings: strconv.Itoa(f.Recordings), factTubes: strconv.Itoa(f.Tubes),
		factCopies: strconv.Itoa(f.Copies),
	}
	for sort, sum := range f.Inside {
		out[insidePrefix+sort] = sum
	}
	for part, sum := range f.Parts {
		out[partPrefix+part] = sum
	}
	var readers []string
	for _, r := range f.Readers {
		readers = append(readers, cmp.Or(r.Name, "-")+" "+r.Fingerprint)
	}
	out[factReaders] = strings.Join(readers, ", ")
	if len(f.Logs) > 0 {
		out[factLogs] = strings.Join(f.Logs, " ")
	}
	if f.Stated > 0 {
		out[factStated] = strconv.Itoa(f.Stated)
	}
	return out
}
