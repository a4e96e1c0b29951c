package deid

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

func TestLessFirst(t *testing.T) {
	for _, c := range [][3]string{
		{"34567.25", "34567.25", "0.00"}, {"34567.3", "34567.25", "0.05"}, {"34568", "34567", "1"},
		{"86400", "600.5", "85799.5"}, {"3.4567e4", "34560", "7"}, {"34567.5e0", "3.4567e4", "0.5"},
	} {
		if got := lessFirst(c[0], c[1]); got != c[2] {
			t.Errorf("%s - %s = %s, want %s", c[0], c[1], got, c[2])
		}
	}
}

// An axis that may be the clock time begins at 0 when it leaves, whatever the line ends; the other
// cells leave byte for byte, the size is known beforehand, and treatment.json counts it.
func TestAxisThatIsAClock(t *testing.T) {
	for _, c := range []struct {
		first float64
		moved bool
	}{{0, false}, {600, false}, {600.05, true}, {34567.25, true}} {
		for _, end := range []string{"\n", "\r\n"} {
			dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
			file := truth.Sessions[0].Recordings[0].File
			var in, want strings.Builder
			in.WriteString("t_s,co2_kpa,pressure_pa" + end)
			want.WriteString(in.String())
			for i := range 40 {
				rest := fmt.Sprintf(",%d.50,-0%d.1", i%5, i%7) + end
				at := c.first + float64(i)*0.05
				fmt.Fprintf(&in, "%.2f%s", at, rest)
				if c.moved {
					at = float64(i) * 0.05
				}
				fmt.Fprintf(&want, "%.2f%s", at, rest)
			}
			if err := os.WriteFile(filepath.Join(dir, file), []byte(in.String()), 0o600); err != nil {
				t.Fatal(err)
			}
			d := treat(t, load(t, dir))
			cleared, err := Release(d, nil)
			if err != nil {
				t.Fatal(err)
			}
			var leaves string
			for name, source := range cleared.source {
				if source == file {
					leaves = name
				}
			}
			files := payload(t, cleared) // compares the sizes
			if !bytes.Equal(files[leaves], []byte(want.String())) {
				t.Errorf("from %g: %.80q, want %.80q", c.first, files[leaves], want.String())
			}
			l, err := ParseLedger(files["treatment.json"])
			if err != nil || (l.Recordings.Axes == 1) != c.moved {
				t.Errorf("from %g: %d axes moved, %v", c.first, l.Recordings.Axes, err)
			}
		}
	}
}
