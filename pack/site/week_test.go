package site

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/schema"
	"outbreath/schema/demo"
)

// A week is the least that a site has: a collection of two subjects and three sessions,
// a key folder that trusts one laboratory, and a folder in place of the medium.
type week struct {
	t           testing.TB
	dir, medium string
	site, lab   *keys.Folder
	now         time.Time
}

func newWeek(t testing.TB) *week {
	t.Helper()
	w := &week{t: t, dir: filepath.Join(t.TempDir(), "week"), medium: t.TempDir(),
		now: time.Date(2026, 3, 6, 12, 0, 0, 0, time.UTC)}
	o := demo.Small()
	o.NoEDF = true
	_, err := demo.Write(w.dir, o)
	w.must(err)
	w.site, err = keys.Create(filepath.Join(t.TempDir(), "site"), keys.NewOptions{Role: keys.Site, Name: demo.Site})
	w.must(err)
	w.lab, err = keys.Create(filepath.Join(t.TempDir(), "lab"), keys.NewOptions{Role: keys.Lab, Name: "harbour-lab",
		Classic: true})
	w.must(err)
	text, err := os.ReadFile(filepath.Join(w.lab.Dir(), "public-keys.txt"))
	w.must(err)
	_, err = w.site.Trust(text, keys.TrustOptions{Day: "2026-03-02", Compared: true})
	w.must(err)
	return w
}

func (w *week) must(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

// load reads the collection; its folder is closed when the test ends.
func (w *week) load() *schema.Collection {
	w.t.Helper()
	c, err := schema.Load(w.dir)
	w.must(err)
	w.t.Cleanup(func() { c.Root.Close() })
	return c
}

func (w *week) options() Options {
	w.t.Helper()
	return Options{Collection: w.load(), Folder: w.site, Who: "W. Weir", Now: func() time.Time { return w.now }}
}

// open looks at the log and holds nothing.
func (w *week) open() *Log {
	w.t.Helper()
	l, err := Open(w.options())
	w.must(err)
	return l
}

// add does something to a log that is open to add, and releases it.
func (w *week) add(do func(*Log)) {
	w.t.Helper()
	l, err := OpenToAdd(w.options())
	w.must(err)
	do(l)
	l.Release()
}

// note appends entries of no meaning of their own.
func (w *week) note(n int) {
	w.t.Helper()
	w.add(func(l *Log) {
		for range n {
			w.must(l.Append(w.entry("note")))
		}
	})
}

func (w *week) entry(what string) custody.Entry {
	return custody.Entry{When: w.now, Who: "W. Weir", What: what, Why: "as the protocol says"}
}

// A sealing is one seal, with what a test has done in between.
type sealing struct {
	*Seal
	gone    []*schema.Session
	settled []Interrupted
	done    *pack.Sealed
}

// begin takes a seal up to the choice of the number.
func (w *week) begin(o Order) (*sealing, error) {
	w.t.Helper()
	o.Who, o.When = "S. Sealer", w.now
	if o.Program == "" {
		o.Program = "outbreath 1.0 go1.25"
	}
	if o.Media == nil {
		o.Media = []string{w.medium}
	}
	held, err := Hold(w.dir)
	w.must(err)
	w.t.Cleanup(held.Release)
	opened := w.options()
	key, err := w.site.PseudonymKey()
	w.must(err)
	s := &sealing{Seal: NewSeal(held, opened.Collection, w.site, key, o)}
	if err := s.OpenKeys(); err != nil {
		return s, err
	}
	l, err := OpenToAdd(opened)
	if err != nil {
		return s, err
	}
	if s.settled, err = s.Begin(l); err != nil {
		return s, err
	}
	if s.gone, err = s.LeaveOut(); err != nil {
		return s, err
	}
	return s, s.Choose(o.Wish)
}

// clear takes a seal from the choice to the last step before it is written.
func (s *sealing) clear() error {
	if err := s.Treat(); err != nil {
		return err
	}
	if err := s.Amendments(s.order.Amended); err != nil {
		return err
	}
	return s.Clear(nil)
}

// write writes what is cleared, and calls named before the shipment gets its name.
func (s *sealing) write(w *week, named func() error) error {
	number, err := s.Number()
	if err != nil {
		return err
	}
	o := Writing{Number: number, Date: w.now}
	if named != nil {
		o.Named = func(*deid.Cleared, *pack.Sealed) error { return named() }
	}
	s.done, err = s.Write(context.Background(), o)
	s.Log.Release()
	s.held.Release()
	return err
}

// seal is a whole seal.
func (w *week) seal(o Order) (*sealing, error) {
	w.t.Helper()
	s, err := w.begin(o)
	if err == nil {
		err = s.clear()
	}
	if err == nil {
		err = s.write(w, nil)
	}
	if s.held != nil {
		s.held.Release()
	}
	return s, err
}

// The files in which a collection and its site remember what was done.
const (
	logFile = iota
	signatureFile
	reviewFile
	stateFile
	savedFiles
)

// saved are those files at one moment, nil for one that is missing.
type saved [savedFiles][]byte

func (w *week) file(n int) string {
	return [savedFiles]string{filepath.Join(w.dir, LogName), filepath.Join(w.dir, LogName+".sig"),
		filepath.Join(w.dir, ReviewName), filepath.Join(w.site.Dir(), "state-"+demo.Study)}[n]
}

func (w *week) save() (s saved) {
	w.t.Helper()
	for n := range s {
		data, err := os.ReadFile(w.file(n))
		if !errors.Is(err, fs.ErrNotExist) {
			w.must(err)
			s[n] = data
		}
	}
	return s
}

// back puts some of the files back as they were.
func (w *week) back(s saved, files ...int) {
	w.t.Helper()
	for _, n := range files {
		w.put(n, s[n])
	}
}

// put writes one of the files; nil removes it.
func (w *week) put(n int, data []byte) {
	w.t.Helper()
	if data == nil {
		if err := os.Remove(w.file(n)); !errors.Is(err, fs.ErrNotExist) {
			w.must(err)
		}
		return
	}
	w.must(os.WriteFile(w.file(n), data, 0o600))
}

// state reads what the key folder knows.
func (w *week) state() *State {
	w.t.Helper()
	body, err := w.site.State(demo.Study)
	w.must(err)
	s, err := parseState(body)
	w.must(err)
	return s
}

// bend changes what the key folder knows, with its key.
func (w *week) bend(do func(*State)) {
	w.t.Helper()
	w.must(w.site.ChangeState(demo.Study, func(old []byte) ([]byte, error) {
		s, err := parseState(old)
		if s == nil {
			s = &State{}
		}
		w.must(err)
		do(s)
		return s.encode()
	}))
}

// unsigned appends entries without the key.
func (w *week) unsigned(n int) {
	w.t.Helper()
	root, err := os.OpenRoot(w.dir)
	w.must(err)
	defer root.Close()
	j, err := custody.Read(root, LogName)
	w.must(err)
	for range n {
		w.must(j.Append(w.entry("note")))
	}
}
