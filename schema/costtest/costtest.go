// Package costtest measures what a test's work costs so that the figure holds on a
// slow machine and on a busy one: in processor time of this process, never by the
// clock, and as a multiple of work that the same process does.
//
// Tests that run at the same time share the process, so a test that measures must not
// be parallel.
package costtest

import (
	"encoding/json"
	"math"
	"strings"
	"sync"
	"testing"
	"time"
)

// Hang is how long a test waits for something that must happen. No slow machine needs that long:
// what takes longer hangs.
const Hang = 5 * time.Minute

// Of returns the processor time that do takes, user and system, of all threads. What
// the garbage collector does meanwhile counts as well.
func Of(do func()) time.Duration {
	before := Processor()
	do()
	return Processor() - before
}

// Least returns the least of what n runs of do take: the one that was disturbed least.
func Least(n int, do func()) time.Duration {
	least := time.Duration(math.MaxInt64)
	for range n {
		least = min(least, Of(do))
	}
	return least
}

// InUnits returns a processor time of this process in units. A unit is what this process
// takes to parse 1 MB of JSON with encoding/json, about 20 ms on a machine of 2020.
func InUnits(took time.Duration) float64 { return float64(took) / float64(unit()) }

// unit is measured once, before the first figure.
var unit = sync.OnceValue(func() time.Duration {
	const entry = `{"at":"2026-03-02T08:24:00-05:00","value":4.25,"note":"a few words"}`
	text := []byte("[" + strings.Repeat(entry+",", 1<<20/len(entry)) + "0]")
	return max(time.Microsecond, Least(5, func() {
		var v any
		if err := json.Unmarshal(text, &v); err != nil {
			panic(err)
		}
	}))
})

// Within fails the test if do takes more than limit units.
func Within(t testing.TB, limit float64, do func()) {
	t.Helper()
	took := Of(do)
	if units := InUnits(took); units > limit {
		t.Errorf("it took %.1f units of the processor (%v), more than %v", units, took, limit)
	} else {
		t.Logf("%.1f units of the processor, %v", units, took)
	}
}

// Ends fails the test if do does not end.
func Ends(t testing.TB, what string, do func()) {
	t.Helper()
	done := make(chan struct{})
	go func() { defer close(done); do() }()
	select {
	case <-done:
	case <-time.After(Hang):
		t.Fatalf("%s does not end", what)
	}
}
