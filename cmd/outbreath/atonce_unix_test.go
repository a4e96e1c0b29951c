//go:build unix

package main

import (
	"fmt"
	"os/exec"
	"strings"
	"sync"
	"testing"

	"outbreath/schema/demo"
)

// TestAtOnce: withdrawals of eight subjects at once, with a trace among them, several
// times over. All are recorded, and none is told that somebody forged something.
func TestAtOnce(t *testing.T) {
	bin := binary(t)
	for round := range 3 {
		j := newJob(t, demo.Options{Seed: uint64(20 + round), Subjects: 9, Sessions: 9, RecordingSeconds: 5,
			SampleHz: 2, NoEDF: true})
		var wg sync.WaitGroup
		at := func(in string, args ...string) {
			wg.Go(func() {
				cmd := exec.Command(bin, append(args, "--keys", j.site)...)
				cmd.Stdin = strings.NewReader(in)
				if out, err := cmd.CombinedOutput(); err != nil && args[0] != "trace" ||
					strings.Contains(string(out), "key folder is older") {
					t.Errorf("round %d: %s: %v\n%s", round, args[0], err, out)
				}
			})
		}
		for i := range 8 {
			id := j.truth.Roster[i+1]["subject_id"]
			at(id+"\n", "withdraw", j.collection, "--reason", "consent withdrawn", "--to",
				j.at(fmt.Sprintf("notice-%d", i)))
			if i%3 == 0 {
				at("", "trace", j.collection, "0000-0000-0000-0000-9", "--reason", "finding")
				at("", "custody", j.collection)
			}
		}
		wg.Wait()
		withdrawn := map[string]bool{}
		for _, e := range entriesOf(t, j.collection) {
			if e.What == "withdrawn" {
				withdrawn[e.Facts["pseudonyms"]] = true
			}
		}
		if len(withdrawn) != 8 {
			t.Errorf("round %d: %d of 8 withdrawals are in the log", round, len(withdrawn))
		}
		must(t, "custody", j.collection, "--check", "--keys", j.site)
	}
}
