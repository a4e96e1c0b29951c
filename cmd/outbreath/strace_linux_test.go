package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// TestCallsFail lets the kernel answer the n-th call of the real program with
// an error, a lie or a kill: a whole shipment or none, the collection as it
// was, and the next seal succeeds.
func TestCallsFail(t *testing.T) {
	t.Parallel()
	strace := outside(t, "strace")
	if out, err := exec.Command(strace, "-f", "-qq", "-o", "/dev/null", "-e", "trace=fsync", "-e",
		"inject=fsync:error=EIO", "true").CombinedOutput(); err != nil {
		t.Skipf("strace may not trace here: %v: %s", err, out)
	}
	bin := binary(t)
	j := newJob(t, demo.Options{Seed: 5, Subjects: 2, Sessions: 3, RecordingSeconds: 60, SampleHz: 20})
	before := digest(t, j.collection)
	for _, c := range []struct {
		call, what string
		last       int // of the n-th calls tried; strace counts for each thread
	}{
		{"write", "error=ENOSPC", 24}, {"write", "error=EIO", 24}, {"write", "retval=100", 24}, {"write", "signal=KILL",
			24},
		{"fsync", "error=ENOSPC", 24}, {"fsync", "error=EIO", 24}, {"fsync", "signal=KILL", 24},
		{"renameat2", "error=ENOSPC", 2}, {"renameat2", "error=EIO", 2}, {"renameat2", "signal=KILL", 2},
		{"read", "error=EIO", 200}, {"openat", "error=EROFS", 100},
	} {
		points := min(many(4, c.last), c.last)
		none, whole, failed := 0, 0, 0
		for i := range points {
			n := 1 + i*c.last/points
			where := fmt.Sprintf("%s %s at the call number %d", c.call, c.what, n)
			cmd := exec.Command(strace, "-f", "-qq", "-o", "/dev/null", "-e", "trace="+c.call, "-e",
				fmt.Sprintf("inject=%s:%s:when=%d", c.call, c.what, n),
				bin, "seal", "--new-number", j.collection, "--to", j.media, "--keys", j.site, "--part-size", "4000",
				"--quiet")
			if cmd.Run() != nil { // Go's runtime itself may crash when its own pipes fail
				failed++
			}
			if j.judge(t, where) == 0 {
				none++
			} else {
				whole++
			}
			if digest(t, j.collection) != before {
				t.Fatalf("%s: the collection changed", where)
			}
			if status, _, errOut := runHere("seal", "--new-number", j.collection, "--to", j.media, "--keys",
				j.site); status != 0 {
				t.Fatalf("%s: the next seal: exit status %d: %s", where, status, errOut)
			}
			if status, out, errOut := runHere("custody", j.collection, "--check", "--keys", j.site); status != 0 ||
				!strings.Contains(out, "as the key folder knows them") {
				t.Fatalf("%s: then custody --check: exit status %d: %s%s", where, status, out, errOut)
			}
			if j.judge(t, where+", next seal") != 1 {
				t.Fatalf("%s: the next seal left no shipment", where)
			}
		}
		t.Logf("%s %s: %d points, %d runs failed, %d left no shipment, %d a whole one", c.call, c.what, points, failed,
			none, whole)
	}
}

// judge verifies every shipment on the medium, takes it away, and counts.
func (j *job) judge(t *testing.T, where string) (found int) {
	t.Helper()
	entries, err := os.ReadDir(j.media)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".outbreath-") {
			continue // unfinished, under its temporary name
		}
		found++
		path := filepath.Join(j.media, e.Name())
		if status, out, errOut := runHere("verify", path, "--keys", j.lab); status != 0 {
			t.Fatalf("%s: %s is there and is not accepted: %d\n%s%s", where, e.Name(), status, out, errOut)
		}
		if err := os.RemoveAll(path); err != nil {
			t.Fatal(err)
		}
	}
	return found
}

// TestFileTooBig: a limit of the kernel on the size of a file (EFBIG), as FAT32
// has one; smaller parts pass.
func TestFileTooBig(t *testing.T) {
	t.Parallel()
	outside(t, "sh")
	bin := binary(t)
	j := newJob(t, demo.Options{Seed: 2, Subjects: 3, Sessions: 4, RecordingSeconds: 240, SampleHz: 50})
	limited := func(args ...string) (string, error) {
		cmd := exec.Command("sh", append([]string{"-c", `ulimit -f 128; exec "$@"`, "sh", bin}, args...)...) // 64 KiB
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	out, err := limited("seal", j.collection, "--to", j.media, "--keys", j.site)
	if exit, ok := err.(*exec.ExitError); !ok || exit.ExitCode() != exitIO {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, w := range []string{"does not allow a file of that size", "--part-size"} {
		if !strings.Contains(out, w) {
			t.Errorf("%q is not said:\n%s", w, out)
		}
	}
	if left, err := os.ReadDir(j.media); err != nil || len(left) != 0 {
		t.Errorf("left %v, %v", left, err)
	}
	if out, err := limited("seal", j.collection, "--to", j.media, "--keys", j.site, "--part-size",
		"60000"); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	must(t, "verify", j.shipment, "--keys", j.lab)
}
