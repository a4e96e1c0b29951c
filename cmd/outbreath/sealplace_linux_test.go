package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestLogNotWritable: a collection in which the log cannot be written is refused
// before anything is sealed, and the medium stays as it is.
func TestLogNotWritable(t *testing.T) {
	j := newJob(t, smallDemo)
	j.seal(t)
	for what, modes := range map[string][2]os.FileMode{"folder": {0o555, 0o600}, "log": {0o755, 0o400}} {
		log := filepath.Join(j.collection, custodyFile)
		if err := errors.Join(os.Chmod(log, modes[1]), os.Chmod(j.collection, modes[0])); err != nil {
			t.Fatal(err)
		}
		out, err := unprivileged("outbreath", "seal", j.collection, "--to", j.media, "--keys", j.site).CombinedOutput()
		exit, _ := errors.AsType[*exec.ExitError](err)
		if exit == nil || exit.ExitCode() != exitIO || strings.Count(string(out), "permission denied") != 1 ||
			!strings.Contains(string(out), "seal keeps its log custody.jsonl there and cannot write it") ||
			!strings.Contains(string(out), "ask for the right to read and write there") {
			t.Errorf("%s: %v: %s", what, err, out)
		}
		if err := errors.Join(os.Chmod(j.collection, 0o755), os.Chmod(log, 0o600)); err != nil {
			t.Fatal(err)
		}
		if left, _ := filepath.Glob(filepath.Join(j.media, "*")); len(left) != 1 {
			t.Errorf("%s: on the medium: %v", what, left)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(j.collection, ".outbreath-*")); len(left) > 0 {
		t.Errorf("left in the collection: %v", left)
	}
}
