package site

import (
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"outbreath/pack/custody"
)

// Commands that add to one log take turns; one that waits for long says so, once.
func TestTurns(t *testing.T) {
	for _, long := range []bool{false, true} {
		w := newWeek(t)
		first, err := OpenToAdd(w.options())
		w.must(err)
		o := w.options()
		told := make(chan struct{}, 100)
		o.Waiting = func() { told <- struct{}{} }
		got := make(chan error)
		var second *Log
		began := time.Now()
		go func() {
			var err error
			second, err = OpenToAdd(o)
			got <- err
		}()
		if long {
			select {
			case <-told:
			case <-time.After(longestWait):
				t.Fatal("nobody is told that another command has the log")
			}
			if waited := time.Since(began); waited < time.Second {
				t.Errorf("told after %v", waited)
			}
		}
		select {
		case err := <-got:
			t.Fatalf("both have it: %v", err)
		case <-time.After(200 * time.Millisecond):
		}
		w.must(first.Append(w.entry("note")))
		first.Release()
		w.must(<-got)
		if waited := time.Since(began); len(told) != 0 && (long || waited < time.Second) {
			t.Errorf("told once more than needed, after %v", waited)
		}
		if len(second.Entries) != 1 {
			t.Errorf("%d entries", len(second.Entries))
		}
		w.must(second.Append(w.entry("note")))
		second.Release()
		if len(w.open().Entries) != 2 {
			t.Error("an entry was lost")
		}
	}
}

// Who looks while others add never sees a contradiction.
func TestOpenMeanwhile(t *testing.T) {
	w := newWeek(t)
	w.note(1)
	o := w.options()
	stop := make(chan struct{})
	var looks sync.WaitGroup
	looks.Go(func() {
		for {
			if _, err := Open(o); err != nil {
				t.Errorf("%v", err)
				return
			}
			select {
			case <-stop:
				return
			default:
			}
		}
	})
	for range 8 {
		w.note(3)
	}
	close(stop)
	looks.Wait()
}

// A folder without records has nobody to wait for.
func TestHoldWithoutRecords(t *testing.T) {
	w := newWeek(t)
	o := w.options()
	w.must(os.RemoveAll(filepath.Join(w.dir, "sessions")))
	for range 2 {
		if _, err := hold(o); err != nil {
			t.Errorf("%v", err)
		}
	}
	w.must(os.WriteFile(filepath.Join(w.dir, "sessions"), nil, 0o600))
	if _, err := hold(o); err == nil {
		t.Error("a file is held like a folder")
	}
}

// What cannot be opened to add leaves the log to others.
func TestReleasedAfterError(t *testing.T) {
	w, two, _ := marked(t)
	w.back(two, logFile, signatureFile)
	for range 2 {
		if _, err := OpenToAdd(w.options()); !errors.As(err, new(*ConflictError)) {
			t.Fatalf("%v", err)
		}
	}
	release, err := hold(w.options())
	w.must(err)
	release()
	// Nor does Restore hold what it could not restore.
	e := w.entry("")
	e.Why = ""
	if _, _, err := Restore(w.options(), e); err == nil {
		t.Error("restored without a reason")
	}
	release, err = hold(w.options())
	w.must(err)
	release()
}

// An entry is refused that another process got in before, and after it was announced the key
// folder takes nothing else for it.
func TestAnnounce(t *testing.T) {
	w := newWeek(t)
	w.note(1)
	l, err := OpenToAdd(w.options())
	w.must(err)
	defer l.Release()
	before := w.save()
	// The key folder knows another log now.
	w.bend(func(s *State) { s.Logs[0].Length = 7 })
	if err := l.Append(w.entry("note")); !errors.As(err, new(*custody.ChangedError)) {
		t.Errorf("another length: %v", err)
	}
	w.back(before, stateFile)
	w.bend(func(s *State) { s.Logs[0].Head = "other" })
	if err := l.Append(w.entry("note")); !errors.As(err, new(*custody.ChangedError)) {
		t.Errorf("another head: %v", err)
	}
	w.back(before, stateFile)
	w.must(l.Append(w.entry("note")))
	// What is noted as written must have been announced.
	w.bend(func(s *State) { s.Logs[0].ID = "other" })
	if err := l.there(); !errors.As(err, new(*custody.ChangedError)) {
		t.Errorf("not known: %v", err)
	}
	w.bend(func(s *State) { s.Logs[0].ID = l.id() })
	if err := l.there(); !errors.As(err, new(*custody.ChangedError)) {
		t.Errorf("not announced: %v", err)
	}
	w.bend(func(s *State) { s.Logs[0].Pending = &Pending{Line: "other", Length: 1} })
	if err := l.there(); !errors.As(err, new(*custody.ChangedError)) {
		t.Errorf("another was announced: %v", err)
	}
}
