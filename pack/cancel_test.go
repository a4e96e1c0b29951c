package pack

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"outbreath/pack/bag"
	"outbreath/schema/costtest"
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
			f.at(t, "data/tubes.csv").data = strings.Join(tubesHeader, ",") + "\n" +
				strings.Repeat("a,"+strings.ReplaceAll(prose(100), ",", "")+",,,,\n", 100_000)
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

// Whatever arrived, after an interruption little is done any more, and nothing is left.
func TestCancelHostile(t *testing.T) {
	b := newBench(t)
	answered := 0
	for name, bend := range slowCases() {
		t.Run(name, func(t *testing.T) {
			f := forge(t, b)
			bend(t, f)
			dir := f.write(t, b)
			for _, after := range []time.Duration{50 * time.Millisecond, 400 * time.Millisecond,
				1500 * time.Millisecond} {
				parent := t.TempDir()
				o := b.verifyOptions()
				o.Into = filepath.Join(parent, "opened")
				ctx, cancel := context.WithCancel(t.Context())
				used := make(chan time.Duration, 1)
				timer := time.AfterFunc(after, func() { used <- costtest.Processor(); cancel() })
				_, err := Verify(ctx, dir, o)
				ended := costtest.Processor()
				if timer.Stop() { // it was quicker
					cancel()
					continue
				}
				switch {
				case errors.Is(err, context.Canceled):
					answered++
				case err != nil: // nil: it came to its end before it looked again
					t.Errorf("cancelled after %v: %v", after, err)
				}
				if units := costtest.InUnits(ended - <-used); units > 50 {
					t.Errorf("cancelled after %v, answered after %.1f units of the processor", after, units)
				}
				if err != nil {
					if _, err := os.Stat(o.Into); err == nil {
						t.Error("unpacked all the same")
					}
				}
			}
		})
	}
	if answered == 0 {
		t.Error("no interruption came before the end: the test shows nothing")
	}
}

// Sizes on a label that are out of all proportion cost nothing: damage is looked
// for over what is there.
func TestLabelSizes(t *testing.T) {
	b := newBench(t)
	for name, size := range map[string]int64{"one part of an exabyte": 1 << 60, "one part of a tebibyte": 1 << 40} {
		t.Run(name, func(t *testing.T) {
			f := forge(t, b)
			f.claimed = size
			dir := f.write(t, b)
			costtest.Within(t, 50, func() { rejectedAt(t, b.mustVerify(t, dir), checkArchive) })
		})
	}
}
