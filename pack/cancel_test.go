//go:build unix

package pack

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"outbreath/pack/bag"
)

// prose returns n bytes of a text in which the search has much to look at.
func prose(n int) string {
	return strings.Repeat("Met Anna at 10:30 on the 3rd of May, flow 4.5, tube T12 then 0171 55; ", n/70+1)[:n]
}

// slowCases are shipments that a site could make so that they take long: valid or not.
func slowCases() map[string]func(t *testing.T, f *forged) {
	first := pseudonym(0)
	return map[string]func(t *testing.T, f *forged){
		"records of prose": func(t *testing.T, f *forged) {
			for i := range 2 {
				e := f.at(t, "data/sessions/"+pseudonym(i)+".json")
				e.data = strings.Replace(e.data, `"outcome"`, `"notes": "`+prose(15<<20)+`", "outcome"`, 1)
			}
		},
		"treatment of prose": func(t *testing.T, f *forged) {
			f.at(t, "data/treatment.json").data = `{"a": "` + prose(15<<20) + `"}`
		},
		"treatment of many texts": func(t *testing.T, f *forged) {
			f.at(t, "data/treatment.json").data = `["` + strings.Repeat(prose(60)+`","`, 200_000) + `"]`
		},
		"recording of prose": func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data = strings.Repeat(prose(100)+"\n", 400_000)
		},
		"list of tubes of prose": func(t *testing.T, f *forged) {
			f.label.Tubes = 100_000
			f.at(t, "data/tubes.csv").data = strings.Join(tubesHeader, ",") + "\n" + strings.Repeat("a,"+strings.ReplaceAll(prose(100), ",", "")+",,,,\n", 100_000)
		},
		"a manifest of many lines": func(t *testing.T, f *forged) {
			var b strings.Builder
			for i := range 300_000 {
				fmt.Fprintf(&b, "%064x  data/recordings/%07d.csv\n", i, i)
			}
			f.entries = append(f.entries, forgedEntry{name: bag.Manifest, data: b.String()})
		},
	}
}

// cpu returns the time that the processor has spent on this process.
func cpu() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// Whatever arrived, an interruption is answered within a second, and nothing is left.
func TestCancelHostile(t *testing.T) {
	b := newBench(t)
	for name, bend := range slowCases() {
		t.Run(name, func(t *testing.T) {
			f := forge(t, b)
			bend(t, f)
			dir := f.write(t, b)
			for _, after := range []time.Duration{50 * time.Millisecond, 400 * time.Millisecond, 1500 * time.Millisecond} {
				parent := t.TempDir()
				o := b.verifyOptions()
				o.Into = filepath.Join(parent, "opened")
				ctx, cancel := context.WithCancel(t.Context())
				var at time.Time
				var used time.Duration
				time.AfterFunc(after, func() { at, used = time.Now(), cpu(); cancel() })
				begin := time.Now()
				_, err := Verify(ctx, dir, o)
				took := time.Since(begin)
				if ctx.Err() == nil { // it was quicker
					cancel()
					continue
				}
				if !errors.Is(err, context.Canceled) && took < after {
					t.Errorf("cancelled after %v: %v", after, err)
				}
				// On a busy computer the processor's time tells; several cores share it.
				if late, cost := time.Since(at), cpu()-used; late > time.Second && cost > time.Second {
					t.Errorf("cancelled after %v, answered %v later, with %v of the processor", after, late, cost)
				}
				if err != nil {
					if _, err := os.Stat(o.Into); err == nil {
						t.Error("unpacked all the same")
					}
				}
			}
		})
	}
}

// Sizes on a label that are out of all proportion are told at once: damage is looked
// for over what is there.
func TestLabelSizes(t *testing.T) {
	b := newBench(t)
	for name, size := range map[string]int64{"one part of an exabyte": 1 << 60, "one part of a tebibyte": 1 << 40} {
		t.Run(name, func(t *testing.T) {
			f := forge(t, b)
			f.claimed = size
			begin := time.Now()
			v := b.mustVerify(t, f.write(t, b))
			rejectedAt(t, v, checkArchive)
			if took := time.Since(begin); took > 5*time.Second {
				t.Errorf("told after %v", took)
			}
		})
	}
}
