package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// A log that grew while its signature could not be replaced is no evidence of a
// forgery: the key folder had announced each line. The next command signs them all.
func TestSignatureCouldNotBeReplaced(t *testing.T) {
	j := newJob(t, demo.Options{Seed: 3, Subjects: 2, Sessions: 2, RecordingSeconds: 60, NoEDF: true})
	must(t, "seal", j.collection, "--to", j.media, "--keys", j.site)
	sig := filepath.Join(j.collection, custodyFile+".sig")
	if err := exec.Command("chattr", "+i", sig).Run(); err != nil {
		t.Skip("not tested: files cannot be made immutable here")
	}
	defer exec.Command("chattr", "-i", sig).Run()
	other := filepath.Join(t.TempDir(), "stick")
	if err := os.Mkdir(other, 0o755); err != nil {
		t.Fatal(err)
	}
	if status, _, e := runHere("seal", j.collection, "--to", other, "--new-number", "--keys",
		j.site); status != exitIO || !strings.Contains(e, "could not be signed") {
		t.Fatal(status, e)
	}
	if err := exec.Command("chattr", "-i", sig).Run(); err != nil {
		t.Fatal(err)
	}
	if status, o, e := runHere("custody", j.collection, "--check", "--keys", j.site); status == exitRejected {
		t.Fatal(status, o, e)
	}
	must(t, "seal", j.collection, "--to", other, "--new-number", "--keys", j.site)
	must(t, "custody", j.collection, "--check", "--keys", j.site)
	// ... and what was signed once stays so.
	if err := os.Remove(sig); err != nil {
		t.Fatal(err)
	}
	if status, _, e := runHere("custody", j.collection, "--keys", j.site); status != exitRejected ||
		!strings.Contains(e, "signature of custody.jsonl is missing") {
		t.Fatal(status, e)
	}
}
