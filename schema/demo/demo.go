// Package demo makes invented collections from a seed, for the demonstration
// and for tests of every other package.
//
// In: [Options]. Out: a collection folder as "outbreath help formats" describes it, and a
// [Truth] that says what is in it. Most callers need [Write], and package planting to
// put an identifier where none may be. Every person, place, number and device
// here is invented: telephone numbers come from ranges set aside for fiction,
// national numbers from forms that are never issued, mail addresses from the
// reserved domains of RFC 2606.
package demo

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"
)

// Study and Site are the codes of every collection made here.
const (
	Study = "LARK-2"
	Site  = "WEIR"
)

// Contact is the contact in study.json for the finder of a lost stick.
const Contact = "Weir Infirmary (invented), Breath Collection Unit, telephone +1 646 555 0199"

// Options say what to write. The zero value is the demonstration that ships:
// 14 subjects, 18 sessions in one week, under 4 MB.
type Options struct {
	Seed     uint64
	Subjects int // default 14
	Sessions int // default 18; more sessions than subjects means repeated visits

	// Start is the day of the first session; its clock time and zone are
	// ignored. Default 2026-03-02, a Monday. Saturdays and Sundays are skipped.
	Start time.Time

	// RecordingSeconds is the length of each recording, 1 to 700. By default
	// it varies from 6 to 9 minutes.
	RecordingSeconds int
	SampleHz         int // rows per second, 1 to 1000; default 20

	// NoEDF leaves out the one EDF+ recording.
	NoEDF bool
}

// Small asks for the least collection that still has a repeated visit:
// 2 subjects, 3 sessions, recordings of 5 seconds.
func Small() Options { return Options{Subjects: 2, Sessions: 3, RecordingSeconds: 5} }

// Big asks for at least the given number of bytes of recordings: sessions of
// 700 seconds at 100 rows a second, about 1.2 MB each.
func Big(bytes int64) Options {
	const each = 1_180_000 // a little less than the least that one comes to
	n := int((bytes + each - 1) / each)
	n = max(n, 1)
	return Options{Subjects: max(1, n/3), Sessions: n, RecordingSeconds: 700, SampleHz: 100, NoEDF: true}
}

func (o Options) withDefaults() (Options, error) {
	if o.Subjects == 0 {
		o.Subjects = 14
	}
	if o.Sessions == 0 {
		o.Sessions = 18
	}
	if o.SampleHz == 0 {
		o.SampleHz = 20
	}
	if o.Start.IsZero() {
		o.Start = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	}
	switch {
	case o.Subjects < 1 || o.Subjects > 100_000:
		return o, errors.New("subjects must be 1 to 100000")
	case o.Sessions < 1 || o.Sessions > 100_000:
		return o, errors.New("sessions must be 1 to 100000")
	case o.SampleHz < 1 || o.SampleHz > 1000:
		return o, errors.New("rows a second must be 1 to 1000")
	case o.RecordingSeconds < 0 || o.RecordingSeconds > 700:
		return o, errors.New("a recording must last 1 to 700 seconds")
	}
	return o, nil
}

// Truth says what [Write] wrote.
type Truth struct {
	Columns  []string            // of roster.csv, in its order
	Roster   []map[string]string // one row per subject; empty cells are left out
	Sessions []Session           // in the order of their files
}

// A Session is one record of the collection.
type Session struct {
	File       string // "sessions/0001.json"
	ID         string
	Row        int // of its subject, in Truth.Roster
	Operator   string
	Sampler    string // its serial number
	Started    time.Time
	Tubes      []string // barcodes
	Recordings []Recording
	Notes      string
}

// A Recording is one file and what is true of its curves.
type Recording struct {
	File    string // "recordings/trace-0001.csv"
	Format  string // "csv" or "edf"
	Seconds int
	Hz      int

	// Breaths counts the regular breaths whose plateau began; coughs are
	// not among them. EndTidal is the mean, in kPa, of the CO2 at the end of
	// the regular breaths that were completed, 0 if none was.
	Breaths  int
	EndTidal float64
	Coughs   int
	MaskOff  bool // some 25 seconds of room air

	Annotations []string // EDF only, in time order
}

// Write makes the collection in dir, which must be missing or empty. Equal
// options give equal bytes on every machine. A folder that could not be
// finished is removed again.
func Write(dir string, o Options) (t *Truth, err error) {
	o, err = o.withDefaults()
	if err != nil {
		return nil, fmt.Errorf("invented collection: %w", err)
	}
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return nil, fmt.Errorf("invented collection: the folder %q is not empty; name a new one", filepath.Base(dir))
	}
	defer func() {
		if err != nil {
			os.RemoveAll(dir)
			t = nil
		}
	}()
	for _, sub := range []string{"sessions", "recordings"} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o700); err != nil {
			return nil, err
		}
	}
	t = &Truth{Columns: columns, Roster: people(o)}
	if err := writeStudy(dir); err != nil {
		return nil, err
	}
	if err := writeRoster(dir, t); err != nil {
		return nil, err
	}
	for i := range o.Sessions {
		s, rec := invent(o, t, i)
		if err := writeJSON(filepath.Join(dir, s.File), rec); err != nil {
			return nil, err
		}
		t.Sessions = append(t.Sessions, s)
	}
	return t, writeRecordings(dir, o, t)
}

// rng returns the generator of one part of the collection. Every part has its own, so that one
// more row in one place changes nothing in another.
func rng(seed uint64, part string, i int) *rand.Rand {
	h := seed ^ 0x9E3779B97F4A7C15
	for _, b := range []byte(part) {
		h = (h ^ uint64(b)) * 0x100000001B3
	}
	return rand.New(rand.NewPCG(h, uint64(i)))
}

func writeStudy(dir string) error {
	return writeJSON(filepath.Join(dir, "study.json"), struct {
		Study   string `json:"study"`
		Site    string `json:"site"`
		Contact string `json:"contact"`
		Plan    string `json:"plan"`
	}{Study, Site, Contact, "shifted"})
}

func writeJSON(path string, v any) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return errors.Join(enc.Encode(v), w.Flush(), f.Close())
}
