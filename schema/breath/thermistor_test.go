package breath

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"outbreath/schema/edf"
)

// The waves of a thermistor at mouth and nose, against a count by eye
// (testdata/README.md), in the two stretches in which breaths can be told apart.
// Every wave that is counted must hold one of the peaks seen, and one of the 42
// may be missed.
func TestThermistor(t *testing.T) {
	seen, err := os.ReadFile("testdata/thermistor.txt")
	if err != nil {
		t.Fatal(err)
	}
	peaks := numbers(t, string(seen))
	if len(peaks) != 42 {
		t.Fatalf("%d peaks were seen, the README says 42", len(peaks))
	}
	data, err := os.ReadFile(external + "edf/edfio/short_psg.edf")
	if err != nil {
		t.Skip("the recordings of other projects (shared/external/edf) are not here")
	}
	samples := channel(t, data, "Resp oro-nasal")
	if len(samples) != 300 {
		t.Fatalf("%d samples", len(samples))
	}
	counted, missed := 0, 0
	for _, part := range [][2]float64{{0, 46}, {80, 153}} {
		w := &waves{floor: 0.4}
		left := slices.DeleteFunc(slices.Clone(peaks), func(p float64) bool { return p < part[0] || p > part[1] })
		for at := part[0]; at <= part[1]; at += 0.1 {
			if !w.add(at, level(samples, at)) {
				continue
			}
			counted++
			within := 0
			for len(left) > 0 && left[0] < at {
				left, within = left[1:], within+1
			}
			if within == 0 {
				t.Errorf("the wave that ends at %.1f s has no peak", at)
			}
			missed += max(0, within-1)
		}
		if w.high { // the last one ends with the stretch
			counted++
			left = left[min(1, len(left)):]
		}
		missed += len(left)
	}
	t.Logf("%d waves, %d peaks missed", counted, missed)
	if missed > 1 || counted+missed != 42 {
		t.Errorf("%d waves, %d peaks missed", counted, missed)
	}
}

// level returns where the curve is at time at between its least and greatest value
// within 1.8 s, 0 to 1. The recorder takes everything slower than 0.03 Hz out of this
// channel, so that it has no baseline of its own, as CO2 has.
func level(samples []float64, at float64) float64 {
	least, most := math.Inf(1), math.Inf(-1)
	for k := -18; k <= 18; k++ {
		v := between(samples, at+float64(k)/10)
		least, most = min(least, v), max(most, v)
	}
	return (between(samples, at) - least) / (most - least)
}

// channel returns the digital values of the signal called label.
func channel(t *testing.T, data []byte, label string) (out []float64) {
	t.Helper()
	h, err := edf.ReadHeader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	at := 0
	for _, s := range h.Signals {
		if strings.TrimSpace(s.Label) == label {
			for r := range h.Records {
				from := int(h.HeaderSize()) + r*h.RecordSize() + at
				for i := range s.Samples {
					out = append(out, float64(int16(binary.LittleEndian.Uint16(data[from+2*i:]))))
				}
			}
			return out
		}
		at += 2 * s.Samples
	}
	t.Fatalf("no signal %q", label)
	return nil
}

// between returns the value at time at of samples one second apart: the filter
// of the recorder (to 0.9 Hz) leaves little that is faster than half their rate, so
// the sampling theorem gives the curve between them, here in a window of 25 samples.
func between(samples []float64, at float64) (sum float64) {
	for k := max(0, int(at)-12); k < min(len(samples), int(at)+13); k++ {
		if d := at - float64(k); math.Abs(d) < 1e-9 {
			sum += samples[k]
		} else {
			sum += samples[k] * (0.5 + 0.5*math.Cos(math.Pi*d/13)) * math.Sin(math.Pi*d) / (math.Pi * d)
		}
	}
	return sum
}
