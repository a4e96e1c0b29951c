package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/pack/site"
	"outbreath/schema"
	"outbreath/schema/demo"
)

func TestClockGoesOn(t *testing.T) {
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	j := &custody.Journal{}
	e := custody.Entry{When: at, Why: "x"}
	if err := clockGoesOn(j, &e, false); err != nil {
		t.Errorf("no entry yet: %v", err)
	}
	for ahead, ok := range map[time.Duration]bool{-time.Hour: true, 0: true, 9 * time.Minute: true, 11 * time.Minute: false, 24 * 365 * time.Hour: false} {
		j.Entries = []custody.Entry{{When: at.Add(ahead)}}
		err := clockGoesOn(j, &e, false)
		if (err == nil) != ok || err != nil && (exitStatus(err) != exitUsage || toDo(err) == "" || !strings.Contains(err.Error(), "2026-11-25 12:00:00")) {
			t.Errorf("an entry %v ahead: %v", ahead, err)
		}
	}
	if err := clockGoesOn(j, &e, true); err != nil {
		t.Errorf("the operator knows better: %v", err)
	}
}

// A number that the laboratory has acknowledged as complete is at its end; one
// that it rejected may be copied.
func TestAcknowledgedNumber(t *testing.T) {
	sealed := custody.Entry{What: custody.Sealed, Shipment: "WEIR-0003"}
	receipt := func(decision string) custody.Entry {
		return custody.Entry{What: custody.Receipt, Shipment: "WEIR-0003", Facts: map[string]string{custody.FactDecision: decision}}
	}
	for decision, ok := range map[string]bool{"accepted": false, "rejected": true, "discrepancies": true} {
		l := &site.Log{Journal: &custody.Journal{Entries: []custody.Entry{sealed, receipt(decision)}}}
		err := numberOpen(l, &site.Shipment{Number: "WEIR-0003", What: custody.Sealed}, "WEIR-0003")
		switch {
		case ok && err != nil:
			t.Errorf("%s: %v", decision, err)
		case !ok && (exitStatus(err) != exitUsage || !strings.Contains(err.Error(), "acknowledged WEIR-0003")):
			t.Errorf("%s: %v", decision, err)
		}
	}
}

// A second seal on a collection is told so at once.
func TestTwoSeals(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("one process may hold a file twice here")
	}
	j := newJob(t, smallDemo)
	root, err := os.OpenRoot(j.collection)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	release, held, err := custody.Hold(root)
	if err != nil || !held {
		t.Fatal(held, err)
	}
	status, _, errOut := runHere("seal", j.collection, "--to", j.media, "--keys", j.site)
	if status != exitResolve || !strings.Contains(errOut, "another seal is at work") {
		t.Errorf("exit status %d: %s", status, errOut)
	}
	if left, _ := os.ReadDir(j.media); len(left) != 0 {
		t.Errorf("left %v", left)
	}
	release()
	j.seal(t)
}

// Whatever another command, or another program, got in the way of has one status: the
// command was right, nothing was changed, and it is given again.
func TestOvertaken(t *testing.T) {
	for _, err := range []error{&site.BusyError{}, &custody.ChangedError{Path: custodyFile}, &schema.ChangedError{File: "sessions/0001.json"},
		changedMeanwhile("sessions/0001.json", "removed"), &site.NumberError{Number: "WEIR-0001"}, &site.WithdrawnError{Number: "WEIR-0001"}, fmt.Errorf("keys: %w", keys.ErrBusy)} {
		if got := exitStatus(err); got != exitResolve {
			t.Errorf("%v: exit status %d", err, got)
		}
		if toDo(err) == "" && !errors.Is(err, keys.ErrBusy) { // whose text says it
			t.Errorf("%v: nothing to do", err)
		}
	}
}

// midway calls do when a seal has begun to write. It says false when the seal
// ended first.
func (j *job) midway(ended <-chan struct{}, do func()) bool {
	for {
		select {
		case <-ended:
			return false
		default:
		}
		if begun, _ := filepath.Glob(filepath.Join(j.media, ".outbreath-*", "*")); len(begun) > 0 {
			do()
			return true
		}
		time.Sleep(time.Millisecond)
	}
}

// TestChangedMeanwhile touches a record while the collection is being sealed.
func TestChangedMeanwhile(t *testing.T) {
	for range 5 {
		j := newJob(t, demo.Options{Seed: 2, Subjects: 3, Sessions: 8, RecordingSeconds: 300, SampleHz: 100})
		records, err := filepath.Glob(filepath.Join(j.collection, "sessions", "*.json"))
		if err != nil || len(records) == 0 {
			t.Fatal(records, err)
		}
		ended := make(chan struct{})
		var status int
		var errOut string
		go func() {
			defer close(ended)
			status, _, errOut = runHere("seal", "--new-number", j.collection, "--to", j.media, "--keys", j.site)
		}()
		j.midway(ended, func() {
			now := time.Now().Add(time.Hour)
			if err := os.Chtimes(records[0], now, now); err != nil {
				t.Error(err)
			}
		})
		<-ended
		if status == exitOK {
			continue // the seal was faster
		}
		if status != exitResolve || !strings.Contains(errOut, filepath.Base(records[0])+" was changed while the collection was being sealed; nothing was sealed") {
			t.Errorf("exit status %d: %s", status, errOut)
		}
		if left, _ := os.ReadDir(j.media); len(left) != 0 {
			t.Errorf("left %v", left)
		}
		return
	}
	t.Error("five seals were faster than a look at the medium")
}

func TestSameState(t *testing.T) {
	dir := t.TempDir()
	for _, sub := range []string{"sessions", "recordings"} {
		if err := os.Mkdir(filepath.Join(dir, sub), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	record := filepath.Join(dir, "sessions", "0001.json")
	write(t, record, []byte("one"))
	write(t, filepath.Join(dir, "study.json"), []byte("{}"))
	before, err := stateOf(dir)
	if err != nil || len(before) != 2 {
		t.Fatal(before, err)
	}
	see := func(word string) {
		t.Helper()
		now, err := stateOf(dir)
		if err != nil {
			t.Fatal(err)
		}
		err = before.same(now)
		if word == "" && err != nil || word != "" && (err == nil || !strings.Contains(err.Error(), word)) {
			t.Errorf("%v, want %q", err, word)
		}
	}
	write(t, filepath.Join(dir, custodyFile), []byte("ours"))
	write(t, filepath.Join(dir, "sessions", ".swap"), []byte("an editor's"))
	see("")
	write(t, filepath.Join(dir, "recordings", "a.csv"), nil)
	see("recordings/a.csv was added")
	write(t, record, []byte("longer"))
	see("sessions/0001.json was changed")
	if err := os.Remove(record); err != nil {
		t.Fatal(err)
	}
	see("sessions/0001.json was removed")
}

// TestInterrupted sends the real program what Ctrl-C sends.
func TestInterrupted(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no such signal here")
	}
	bin := binary(t)
	j := newJob(t, demo.Options{Seed: 2, Subjects: 3, Sessions: 8, RecordingSeconds: 300, SampleHz: 100})
	before := digest(t, j.collection)
	for range 5 {
		cmd := exec.Command(bin, "seal", "--new-number", j.collection, "--to", j.media, "--keys", j.site)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan struct{})
		go func() { _ = cmd.Wait(); close(ended) }()
		j.midway(ended, func() { _ = cmd.Process.Signal(syscall.SIGINT) })
		<-ended
		if cmd.ProcessState.ExitCode() == 0 {
			continue // the seal was faster
		}
		if cmd.ProcessState.ExitCode() != exitInterrupted {
			t.Errorf("%v, want exit status 130", cmd.ProcessState)
		}
		left, _ := filepath.Glob(filepath.Join(j.media, ".outbreath-*"))
		if len(left) != 0 || digest(t, j.collection) != before {
			t.Errorf("left %v, or the collection changed", left)
		}
		must(t, "seal", "--new-number", j.collection, "--to", j.media, "--keys", j.site)
		return
	}
	t.Error("five seals were faster than a look at the medium")
}
