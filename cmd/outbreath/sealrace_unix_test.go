//go:build unix

package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"outbreath/schema/demo"
)

// TestSealOvertaken: while a collection is being sealed, another one of the study takes
// its number, or a subject of it withdraws there. Nothing is sealed, and running seal
// again is all that it needs.
func TestSealOvertaken(t *testing.T) {
	for name, c := range map[string]struct {
		meanwhile func(t *testing.T, j *job, other string)
		want, do  string
	}{
		"number": {func(t *testing.T, j *job, other string) {
			runHere("seal", other, "--to", j.at("second"), "--keys", j.site)
		}, "WEIR-0001 is the number of another shipment", "run seal again, without --shipment; it takes the " +
			"next number"},
		"withdrawal": {func(t *testing.T, j *job, other string) {
			var out, errOut strings.Builder
			args := []string{"withdraw", other, "--reason", "in writing", "--to", j.at("notice.json"), "--keys", j.site}
			if run(context.Background(), args, strings.NewReader(j.truth.Roster[0]["subject_id"]+"\n"), &out,
				&errOut) != exitOK {
				t.Error(errOut.String())
			}
		}, "WEIR-0001 holds data of a subject who has withdrawn consent", "run seal again; it leaves that subject out"},
	} {
		t.Run(name, func(t *testing.T) {
			for range 5 {
				if overtaken(t, c.meanwhile, c.want, c.do) {
					return
				}
			}
			t.Error("five seals were faster than a look at the medium")
		})
	}
}

// overtaken reports whether the seal was still writing when the other command began.
func overtaken(t *testing.T, meanwhile func(*testing.T, *job, string), want, do string) bool {
	j := newJob(t, demo.Options{Seed: 2, Subjects: 3, Sessions: 12, RecordingSeconds: 600, SampleHz: 100})
	other := j.at("other")
	if _, err := demo.Write(other, smallDemo); err != nil {
		t.Fatal(err)
	}
	records, _ := filepath.Glob(filepath.Join(other, "sessions", "*.json"))
	for _, path := range records {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		text = []byte(strings.Replace(string(text), `"session_id": "`, `"session_id": "N-`, 1))
		write(t, path, []byte(strings.ReplaceAll(string(text), `"barcode": "`, `"barcode": "N`)))
	}
	if err := os.Mkdir(j.at("second"), 0o755); err != nil {
		t.Fatal(err)
	}
	var errOut strings.Builder
	cmd := exec.Command(binary(t), "seal", j.collection, "--to", j.media, "--keys", j.site)
	cmd.Stderr = &errOut
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { _ = cmd.Wait(); close(ended) }()
	j.midway(ended, func() {
		_ = cmd.Process.Signal(syscall.SIGSTOP) // the other command has all the time that it needs
		defer cmd.Process.Signal(syscall.SIGCONT)
		meanwhile(t, j, other)
	})
	<-ended
	status := cmd.ProcessState.ExitCode()
	if status == exitOK {
		return false
	}
	if status != exitResolve || !strings.Contains(errOut.String(), want) || !strings.Contains(errOut.String(), do) {
		t.Errorf("exit status %d: %s", status, errOut.String())
	}
	if left, _ := os.ReadDir(j.media); len(left) != 0 {
		t.Errorf("left %v", left)
	}
	must(t, "seal", j.collection, "--to", j.media, "--keys", j.site)
	return true
}
