package sessionlog

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strings"

	"outbreath/pack/durable"
	"outbreath/schema"
)

// FilledFile is the file of a collection that keeps [Filled]. It stays at the site.
const FilledFile = "filled.json"

const maxFilled = 256 << 20 // bytes: the records of a collection are at most 1 GiB, of which most is form

// Filled is what the log said when records were last made of it. By it, a value that a
// person has typed into a record since is told from one that the log has changed.
type Filled struct {
	Logs     []string                     `json:"logs"`     // SHA-256 of the files read last, in hex, sorted
	Sessions map[string]FilledSession     `json:"sessions"` // by canonical session_id
	Roster   map[string]map[string]string `json:"roster"`   // by canonical subject_id: column to value

	// Recordings holds the SHA-256 of every recording that filling has brought into the
	// collection, by its name there.
	Recordings map[string]string `json:"recordings,omitempty"`
}

// A FilledSession is one record as the log gave it.
type FilledSession struct {
	File   string            `json:"file"`   // "sessions/0001.json"
	Values map[string]string `json:"values"` // pointer to JSON text
	Places map[string]string `json:"places"` // pointer to where in the log it was read: "sheet sessions, cell D4"
}

// Place returns where in the log a value of a record was read, or the first of the values
// below a pointer: "sheet sessions, cell D4". file is the record's, "sessions/0001.json".
// It is "" where the log did not say it.
func (f *Filled) Place(file, pointer string) string {
	for _, s := range f.Sessions {
		if s.File != file || pointer == "" {
			continue
		}
		if at := s.place(pointer); at != "" {
			return at
		}
	}
	return ""
}

// place is [Filled.Place] for the values of one record.
func (s FilledSession) place(pointer string) string {
	if at := s.Places[pointer]; at != "" {
		return at
	}
	for _, p := range slices.Sorted(maps.Keys(s.Places)) {
		if strings.HasPrefix(p, pointer+"/") {
			return s.Places[p]
		}
	}
	return ""
}

// ReadFilled reads what the last run left in the collection root; it is empty if there
// was none. The error is a *[schema.ConfigError] if the file cannot be understood.
func ReadFilled(root *os.Root) (*Filled, error) {
	f := &Filled{Sessions: map[string]FilledSession{}, Roster: map[string]map[string]string{}}
	data, err := durable.Read(root, FilledFile, maxFilled)
	if errors.Is(err, fs.ErrNotExist) {
		return f, nil
	}
	if err != nil {
		return nil, err
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(f); err != nil || dec.More() || f.Sessions == nil || f.Roster == nil {
		return nil, &schema.ConfigError{File: FilledFile, Message: "is not in the form in which it was written: put " +
			"back the newest copy of it; without one, move it out of the collection, and every value that differs " +
			"between a record and the log is asked about"}
	}
	return f, nil
}

func (f *Filled) write(root *os.Root) error {
	data, err := json.MarshalIndent(f, "", " ")
	if err != nil {
		return fmt.Errorf("%s: %w", FilledFile, err)
	}
	return durable.Replace(root, FilledFile, append(data, '\n'), 0o600)
}

// merged decides about one value: what the log said last (was), what the record has now
// (is) and what the log says now (log); "" is no value. What only one side has changed
// is taken from there; where both have changed it and differ, clash is true and the
// record's value stays.
func merged(was, is, log string) (value string, clash bool) {
	switch {
	case log == was, log == is:
		return is, false
	case is == was:
		return log, false
	}
	return is, true
}
