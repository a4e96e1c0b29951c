package entry

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strconv"
	"time"

	"outbreath/pack/durable"
	"outbreath/schema"
	"outbreath/schema/sessionlog"
)

// File is the file of a collection that keeps the session being entered. It lasts until
// the record is written, and never leaves the site.
const File = "entry.json"

// Bounds of what is kept.
const (
	maxKept  = 16 << 20 // bytes
	maxSteps = 20_000
)

// Kept is what was confirmed so far, in the order of the answers.
type Kept struct {
	Begun  time.Time `json:"begun"`            // UTC
	Amends string    `json:"amends,omitempty"` // the record that is changed; "" for a new one
	Before string    `json:"before,omitempty"` // SHA-256 of that record, in hex
	Steps  []Step    `json:"steps"`
}

// A Step is one answer: a value, or the end of a list, or an entry that was removed.
type Step struct {
	At    string `json:"at,omitempty"`    // pointer
	Value string `json:"value,omitempty"` // JSON text; "": the value was taken out
	Done  string `json:"done,omitempty"`  // pointer of a list that is complete
	Drop  string `json:"drop,omitempty"`  // pointer of an entry
	With  bool   `json:"with,omitempty"`  // it came with the step before it, and goes with it
}

// ParseKept reads what was kept. The error says only that it is not that.
func ParseKept(data []byte) (*Kept, error) {
	k := &Kept{}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(k); err != nil {
		return nil, err
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, io.ErrUnexpectedEOF
	}
	if len(k.Steps) > maxSteps {
		return nil, errors.New("too many steps")
	}
	return k, nil
}

// Resume returns the session that is kept; nil if there is none.
func (d *Desk) Resume() (*Session, error) {
	data, err := durable.Read(d.root, File, maxKept)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	unusable := &schema.ConfigError{File: File, Message: "the answers kept from an earlier run cannot be read: " +
		"remove this file, and enter the session again"}
	k, err := ParseKept(data)
	if err != nil {
		return nil, unusable
	}
	s := d.New()
	if k.Amends != "" {
		if s, err = d.amend(k.Amends); err != nil {
			return nil, err
		}
		if s.kept.Before != k.Before {
			return nil, &schema.ConfigError{File: File, Message: "holds changes to " + k.Amends + ", which has been " +
				"changed meanwhile: remove " + File + ", and make the changes again"}
		}
	}
	s.kept, s.disk = *k, data
	for _, step := range k.Steps {
		if !s.usable(step) {
			return nil, unusable
		}
	}
	s.replay()
	return s, nil
}

// usable reports whether a step is one that this plan and this program can have made.
func (s *Session) usable(step Step) bool {
	switch {
	case step.Done != "":
		return step == Step{Done: tubesAt}
	case step.Drop != "":
		list, token, _ := cutLast(step.Drop)
		n, err := strconv.Atoi(token)
		return step == Step{Drop: step.Drop} && err == nil && n >= 0 && n < maxEntries && strconv.Itoa(n) == token &&
			list != ""
	}
	if o, _ := s.find(step.At); o == nil {
		return false
	}
	if step.Value == "" {
		return true
	}
	n, err := schema.ParseJSON([]byte(step.Value))
	return err == nil && n.Kind != schema.Object && n.Kind != schema.Array
}

// keep adds steps, on the disk before they count.
func (s *Session) keep(steps ...Step) error {
	n := len(s.kept.Steps)
	if n+len(steps) > maxSteps {
		return errors.New("too many changes: write the record, then amend it")
	}
	s.kept.Steps = append(s.kept.Steps, steps...)
	if err := s.save(); err != nil {
		s.kept.Steps = s.kept.Steps[:n]
		return err
	}
	s.replay()
	return nil
}

// A DiskError says that a file of the collection could not be read or written.
type DiskError struct {
	File string
	Err  error
}

func (e *DiskError) Error() string { return fmt.Sprintf("%s could not be written: %v", e.File, e.Err) }

// Unwrap returns the cause.
func (e *DiskError) Unwrap() error { return e.Err }

// save writes [File], unless another run has written it meanwhile.
func (s *Session) save() error {
	there, err := durable.Read(s.root, File, maxKept)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return &DiskError{File, err}
	}
	if !bytes.Equal(there, s.disk) {
		return &DiskError{File, &schema.ChangedError{File: File}}
	}
	data, err := json.MarshalIndent(s.kept, "", " ")
	if err != nil {
		return &DiskError{File, err}
	}
	data = append(data, '\n')
	if err := durable.Replace(s.root, File, data, 0o600); err != nil {
		return &DiskError{File, err}
	}
	s.disk = data
	return nil
}

// Discard forgets the session.
func (s *Session) Discard() error {
	if s.disk == nil {
		return nil
	}
	if err := durable.Remove(s.root, File); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return &DiskError{File, err}
	}
	s.disk = nil
	if err := durable.SyncFolder(s.root); err != nil {
		return &DiskError{File, err}
	}
	return nil
}

// An InvalidError lists what the plan does not accept.
type InvalidError struct{ Problems []schema.Problem }

func (e *InvalidError) Error() string { return "the record is not as the plan asks" }

// Write writes a new record under the next free number, and removes what was kept. A
// record that an earlier run has written before it was cut off is found.
func (s *Session) Write() (file string, err error) {
	if problems := s.Problems(); len(problems) > 0 {
		return "", &InvalidError{problems}
	}
	record := s.record()
	data := record.Encode()
	key, err := schema.Canonical(s.ID())
	if err != nil {
		return "", err
	}
	if file = s.sessions[key]; file != "" {
		there, err := durable.Read(s.root, file, sessionlog.MaxRecord)
		if err != nil {
			return "", &DiskError{file, err}
		}
		if !bytes.Equal(there, data) {
			return "", fmt.Errorf("%s has this session id already: give the session its own", file)
		}
	} else if file, err = s.writeNew(data); err != nil {
		return "", err
	}
	s.add(file, record, true)
	return file, s.Discard()
}

func (s *Session) writeNew(data []byte) (file string, err error) {
	for range 1000 {
		s.number++
		file = sessionlog.NewRecordFile(s.number)
		err = sessionlog.WriteRecord(s.root, file, data, durable.WriteNew)
		if err == nil {
			return file, nil
		}
		if !errors.Is(err, fs.ErrExist) {
			s.number--
			break // else somebody has taken the number meanwhile
		}
	}
	return "", &DiskError{file, err}
}

func digest(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
