package deid

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/edf"
)

// TestEDFUnits: one curve has the same figures in every unit of CO2, within the
// rounding of the header's numbers. % and ppm need the pressure of the gas; the
// figures rest on that pressure as it leaves, to the nearest kPa in the plan
// "shifted". A signal that cannot be used is said to be not measured.
//
// Factors: NIST SP 811 (2008), B.8: 133.3224 Pa in a mmHg, 98.0665 Pa in a cmH2O
// (from memory); a share times the pressure of the gas is the partial pressure
// (Dalton).
func TestEDFUnits(t *testing.T) {
	dir, truth := invented(t, demo.Options{Subjects: 1, Sessions: 1, RecordingSeconds: 400, SampleHz: 20})
	s := truth.Sessions[0]
	file, record := filepath.Join(dir, filepath.FromSlash(s.Recordings[1].File)), filepath.Join(dir, s.File)
	native, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	written, err := os.ReadFile(record)
	if err != nil {
		t.Fatal(err)
	}
	measure := func(dimension string, perKPa float64, gas string) (*RecordingFigures, []schema.Problem) {
		t.Helper()
		h, err := edf.ReadHeader(bytes.NewReader(native))
		if err != nil {
			t.Fatal(err)
		}
		h.Signals[0].Dimension = dimension
		h.Signals[0].PhysMin = fmt.Sprintf("%.7g", math.Round(-327.68*perKPa*10)/10)
		h.Signals[0].PhysMax = fmt.Sprintf("%.7g", math.Round(327.67*perKPa*10)/10)
		if dimension == "kPa" {
			h.Signals[0].PhysMin, h.Signals[0].PhysMax = "-327.68", "327.67"
		}
		doc := written
		if gas != "" {
			doc = bytes.Replace(doc, []byte(`"format": "edf"`), []byte(`"format": "edf", "source_gas_kpa": `+gas), 1)
		}
		for name, data := range map[string][]byte{file: append(h.Encode(), native[h.HeaderSize():]...), record: doc} {
			if err := os.WriteFile(name, data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		d := treat(t, load(t, dir))
		problems, err := d.CheckRecordings(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range d.Figures() {
			if f.File == s.Recordings[1].File {
				return &f, problems
			}
		}
		return nil, problems
	}
	want, problems := measure("kPa", 1, "")
	if want == nil || want.Breaths < 20 || len(problems) > 0 {
		t.Fatalf("%+v %+v", want, problems)
	}
	for _, c := range []struct {
		dimension, gas string
		perKPa         float64
		factor         float64 // of the end-tidal value; 0: not measured
	}{
		{"mmHg", "", 1 / 0.1333224, 1}, {"Torr", "", 1 / 0.1333224, 1}, {"mbar", "", 10, 1}, {"hPa", "", 10, 1},
		{"Pa", "", 1000, 1}, {"cmH2O", "", 1 / 0.0980665, 1}, {"ppm", "101", 1e6 / 101, 1},
		{"ppm", "95.3", 1e6 / 95, 1},
		{"ppm", "101.325", 1e6 / 101.325, 101 / 101.325}, {"%", "101.0", 100 / 101.0, 1},
		{"ppm", "", 1e6 / 101, 0}, {"%", "", 1, 0}, {"uV", "", 1, 0}, {"", "", 1, 0},
	} {
		got, problems := measure(c.dimension, c.perKPa, c.gas)
		if c.factor == 0 {
			said := len(problems) == 1 && problems[0].Rule == "recording.not-measured" &&
				problems[0].Severity == schema.Warning && strings.Contains(problems[0].Message, "CO2 is not measured")
			if got != nil || !said {
				t.Errorf("%q without pressure: %+v, %+v", c.dimension, got, problems)
			}
			continue
		}
		if got == nil || len(problems) > 0 {
			t.Errorf("%s: %+v", c.dimension, problems)
			continue
		}
		if got.Breaths != want.Breaths || got.Samples != want.Samples || got.Seconds != want.Seconds ||
			math.Abs(got.EndTidal-want.EndTidal*c.factor) > 0.012 {
			t.Errorf("%s: %+v, want %+v", c.dimension, got.Figures, want.Figures)
		}
	}
}
