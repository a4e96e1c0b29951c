package breath

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"outbreath/schema/demo"
)

// The truth of the invented collections is made by another program than the
// curves in this package's own tests.
func TestInventedCollections(t *testing.T) {
	for _, hz := range []int{10, 20, 100} {
		dir := filepath.Join(t.TempDir(), "collection")
		truth, err := demo.Write(dir, demo.Options{Seed: uint64(hz), Sessions: 20, SampleHz: hz, NoEDF: true})
		if err != nil {
			t.Fatal(err)
		}
		read, coughs, off := 0, 0, 0
		for _, s := range truth.Sessions {
			for _, r := range s.Recordings {
				f := measureCSV(t, filepath.Join(dir, filepath.FromSlash(r.File)))
				read++
				coughs += r.Coughs
				if off := f.OffShare * f.Seconds; r.MaskOff != (off > 0) || r.MaskOff && math.Abs(off-25) > 5 {
					t.Errorf("%d Hz %s: mask off for %g s, truth %t", hz, r.File, off, r.MaskOff)
				}
				if r.MaskOff {
					off++
				}
				if d := math.Abs(float64(f.Breaths - r.Breaths)); d > max(1, 0.02*float64(r.Breaths)) {
					t.Errorf("%d Hz %s: %d breaths, truth %d, %d coughs", hz, r.File, f.Breaths, r.Breaths, r.Coughs)
				}
				if math.Abs(f.EndTidal-r.EndTidal) > 0.1 {
					t.Errorf("%d Hz %s: end-tidal %g, truth %g", hz, r.File, f.EndTidal, r.EndTidal)
				}
				if f.Seconds < float64(r.Seconds)-1 || f.Samples != r.Seconds*hz || f.Dropped != 0 || f.Flat ||
					f.Hint != "" {
					t.Errorf("%d Hz %s: %+v", hz, r.File, f)
				}
			}
		}
		if read < 20 || coughs == 0 || off == 0 {
			t.Errorf("%d recordings, %d coughs, %d with the mask off: too few to show anything", read, coughs, off)
		}
	}
}

func measureCSV(t *testing.T, path string) Figures {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	m := NewMeter()
	for _, row := range rows[1:] {
		at, err1 := strconv.ParseFloat(row[0], 64)
		co2, err2 := strconv.ParseFloat(row[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		m.Add(at, co2)
	}
	return m.Figures()
}
