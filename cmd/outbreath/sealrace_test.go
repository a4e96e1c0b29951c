package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/pack/site"
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
			runHere("seal", other, "--to", j.at("second"), "--keys", j.site) // or is overtaken itself
		}, "WEIR-0001 is the number of another shipment", "run seal again, without --shipment; it takes the next number"},
		"withdrawal": {func(t *testing.T, j *job, other string) {
			var out, errOut strings.Builder
			args := []string{"withdraw", other, "--reason", "in writing", "--to", j.at("notice.json"), "--keys", j.site}
			if run(context.Background(), args, strings.NewReader(j.truth.Roster[0]["subject_id"]+"\n"), &out, &errOut) != exitOK {
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
			t.Error("five seals were faster than the other command")
		})
	}
}

// overtaken says false when the seal was faster.
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
	var status int
	var errOut string
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		status, _, errOut = runHere("seal", j.collection, "--to", j.media, "--keys", j.site)
	}()
	j.midway(ended, func() { meanwhile(t, j, other) })
	<-ended
	if status == exitOK {
		return false
	}
	if status != exitResolve || !strings.Contains(errOut, want) || !strings.Contains(errOut, do) {
		t.Errorf("exit status %d: %s", status, errOut)
	}
	if left, _ := os.ReadDir(j.media); len(left) != 0 {
		t.Errorf("left %v", left)
	}
	must(t, "seal", j.collection, "--to", j.media, "--keys", j.site)
	return true
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
