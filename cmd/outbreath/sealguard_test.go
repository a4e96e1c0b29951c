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
	for _, err := range []error{&site.BusyError{}, &custody.ChangedError{Path: custodyFile},
		&schema.ChangedError{File: "sessions/0001.json"},
		&site.SourceChangedError{File: "sessions/0001.json", How: "removed"},
		&site.SealAtWorkError{Dir: "week"}, &site.NumberError{Reason: site.NumberTaken, Number: "WEIR-0001"},
		&site.WithdrawnError{Number: "WEIR-0001"}, fmt.Errorf("keys: %w", keys.ErrBusy)} {
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
		if status != exitResolve || !strings.Contains(errOut, filepath.Base(records[0])+" was changed while the "+
			"collection was being sealed; nothing was sealed") {
			t.Errorf("exit status %d: %s", status, errOut)
		}
		if left, _ := os.ReadDir(j.media); len(left) != 0 {
			t.Errorf("left %v", left)
		}
		return
	}
	t.Error("five seals were faster than a look at the medium")
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

// TestLastNumberToDo: a site whose highest number was given by a slip of the hand is
// told which it may name.
func TestLastNumberToDo(t *testing.T) {
	for free, want := range map[string]string{"WEIR-0012": "--shipment WEIR-0012", "": "another site code"} {
		err := &site.LastNumberError{Site: "WEIR", Free: free}
		if exitStatus(err) != exitUsage || !strings.Contains(toDo(err), want) {
			t.Errorf("%v: status %d, %s", err, exitStatus(err), toDo(err))
		}
	}
}
