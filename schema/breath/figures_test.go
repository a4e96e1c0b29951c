package breath

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// 1 atm is 760 mmHg and 101.325 kPa exactly: the 10th General Conference on
// Weights and Measures, 1954, resolution 4, and the definition of the torr.
const (
	kPaOfMmHg = 101.325 / 760
	mmHgOfKPa = 760 / 101.325
)

// The end-tidal values of healthy adults are 35 to 45 mmHg (standards of
// capnography); in every unit they stay where they are, and only mmHg is told.
func TestUnits(t *testing.T) {
	if d := math.Abs(40*kPaOfMmHg - 5.333); d > 0.001 { // published: 40 mmHg is 5.333 kPa
		t.Fatal("the constants are wrong")
	}
	for _, mmHg := range []float64{35, 37.5, 40, 45} {
		kPa := mmHg * kPaOfMmHg
		for unit, u := range map[string]struct {
			scale float64
			hint  string
		}{
			"kPa":              {1, ""},
			"mmHg":             {mmHgOfKPa, HintMmHg},
			"percent":          {100 / 101.325, ""},
			"percent, dry gas": {100 / (101.325 - 47*kPaOfMmHg), ""}, // water vapour at 37 °C: 47 mmHg
		} {
			c := curve{seconds: 120, hz: 20, perMinute: 14, endTidal: kPa, slope: 0.05, noise: 0.02, scale: u.scale,
				seed: 1}
			samples, breaths, endTidal := c.draw()
			f := measure(samples)
			near(t, c, f, breaths, f.EndTidal, 0.02, 0.1)
			if f.Hint != u.hint || math.Abs(f.EndTidal-endTidal*u.scale) > 0.1*u.scale {
				t.Errorf("%g mmHg in %s: hint %q, end-tidal %g of %g", mmHg, unit, f.Hint, f.EndTidal, endTidal*u.scale)
			}
		}
	}
}

func TestLeak(t *testing.T) {
	for _, tc := range []struct {
		name string
		hint string
		endTidal,
		later float64 // kPa, after two minutes
	}{
		{"tight", "", 5, 5},
		{"low, and nobody's business", "", 3, 3},
		{"leaks throughout", HintLeak, 1.2, 1.2},
		{"comes loose", HintLeak, 5, 1.8},
		{"shallower later", "", 5, 4},
	} {
		a := curve{seconds: 120, hz: 20, perMinute: 14, endTidal: tc.endTidal, slope: 0.05, noise: 0.02, seed: 1}
		b := a
		b.endTidal = tc.later
		samples, n, _ := a.draw()
		after, n2, _ := b.draw()
		for _, s := range after {
			samples = append(samples, sample{s.t + 120, s.co2})
		}
		f := measure(samples)
		if f.Hint != tc.hint || f.Breaths < n+n2-2 || f.Breaths > n+n2 {
			t.Errorf("%s: %q, %d breaths of %d", tc.name, f.Hint, f.Breaths, n+n2)
		}
	}
}

// flat returns 100 s of co2, ten samples a second.
func flat(co2 float64) (out []sample) {
	for i := range 1001 {
		out = append(out, sample{float64(i) / 10, co2})
	}
	return out
}

func TestWithoutBreath(t *testing.T) {
	nan := math.NaN()
	for name, tc := range map[string]struct {
		in   []sample
		want Figures
	}{
		"nothing":       {nil, Figures{}},
		"one sample":    {[]sample{{7, 5}}, Figures{Samples: 1}},
		"stuck":         {flat(5), Figures{Seconds: 100, Samples: 1001, LongestGap: 0.1, Flat: true}},
		"stuck at zero": {flat(0), Figures{Seconds: 100, Samples: 1001, LongestGap: 0.1, Flat: true, OffShare: 1}},
		"dropped":       {flat(nan), Figures{Seconds: 100, Samples: 1001, Dropped: 1001, LongestGap: 0.1}},
		"infinite":      {flat(math.Inf(1)), Figures{Seconds: 100, Samples: 1001, Dropped: 1001, LongestGap: 0.1}},
		"times that lie": {[]sample{{1, 5}, {1, 6}, {0, 7}, {nan, 1}, {math.Inf(1), 1}, {3.5, 5}},
			Figures{Seconds: 2.5, Samples: 2, LongestGap: 2.5, Flat: true}},
	} {
		f := measure(tc.in)
		f.Strip = nil
		if !reflect.DeepEqual(f, tc.want) {
			t.Errorf("%s: %+v", name, f)
		}
	}
}

// A pause in the samples is neither a breath nor time with the mask off, and
// costs no more than the breath that it cuts.
func TestGap(t *testing.T) {
	c := curve{seconds: 240, hz: 20, perMinute: 15, endTidal: 5, slope: 0.05, seed: 3}
	samples, breaths, _ := c.draw()
	for name, pause := range map[string]func([]sample) []sample{
		"rows missing": func(s []sample) []sample { return append(s[:2000:2000], s[2800:]...) },
		"rows dropped": func(s []sample) []sample {
			s = append([]sample(nil), s...)
			for i := 2000; i < 2800; i++ {
				s[i].co2 = math.NaN()
			}
			return s
		},
	} {
		f := measure(pause(samples))
		if lost := breaths - f.Breaths; lost < 8 || lost > 11 {
			t.Errorf("%s: %d breaths lost in 40 s of 15 a minute", name, lost)
		}
		if f.OffShare != 0 || math.Abs(f.PerMinute-15) > 0.5 || (f.LongestGap > 40) != (f.Dropped == 0) {
			t.Errorf("%s: %+v", name, f)
		}
	}
}

// Figures asks, and changes nothing.
func TestFiguresMidway(t *testing.T) {
	samples, _, _ := curve{seconds: 60, hz: 50, perMinute: 20, endTidal: 5, noise: 0.05, seed: 2}.draw()
	m := NewMeter()
	for _, s := range samples {
		m.Add(s.t, s.co2)
		if int(s.t*50)%100 == 0 {
			m.Figures()
		}
	}
	if !reflect.DeepEqual(m.Figures(), measure(samples)) {
		t.Error("asking midway changes the figures")
	}
}

// Whatever comes in, the figures are possible ones that JSON can hold.
func FuzzMeter(f *testing.F) {
	f.Add([]byte{0, 0, 1, 90, 2, 90, 255, 3})
	f.Fuzz(func(t *testing.T, in []byte) {
		m, at := NewMeter(), 0.0
		for i := 0; i+1 < len(in); i += 2 {
			at += math.Ldexp(1, int(in[i]%48)-10) - 0.001
			v := float64(in[i+1])/8 - 4
			if in[i+1] == 255 {
				v = math.MaxFloat64
			}
			m.Add(at, v)
		}
		g := m.Figures()
		if _, err := json.Marshal(g); err != nil {
			t.Error(err)
		}
		if g.Breaths < 0 || g.Breaths > g.Samples || g.OffShare < 0 || g.OffShare > 1 || g.Dropped > g.Samples ||
			len(g.Strip) > 60 || g.PerMinute < 0 {
			t.Errorf("%+v", g)
		}
		if n := utf8.RuneCountInString(Sparkline(g.Strip)); n != len(g.Strip) {
			t.Errorf("%d characters for %d values", n, len(g.Strip))
		}
	})
}

// The strip holds the maximum of equal stretches, as a reader of the whole
// recording finds them.
func TestStrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gaps := rapid.SliceOfN(rapid.IntRange(1, 400), 1, 200).Draw(t, "gaps")
		var samples []sample
		at := 0
		for i, g := range gaps {
			samples = append(samples, sample{float64(at), float64(i * 37 % 11)})
			at += g
		}
		got := measure(samples).Strip
		last := samples[len(samples)-1].t
		width := 1.0
		for last >= 60*width {
			width *= 2
		}
		want := make([]float64, int(last/width)+1)
		for i := range want {
			want[i] = math.NaN()
		}
		for _, s := range samples {
			if i := int(s.t / width); !(want[i] >= s.co2) {
				want[i] = s.co2
			}
		}
		for i := range max(len(got), len(want)) {
			if len(got) != len(want) || got[i] != want[i] && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) {
				t.Fatalf("%v, want %v", got, want)
			}
		}
	})
}

func TestSparkline(t *testing.T) {
	for _, tc := range []struct {
		strip []float64
		want  string
	}{
		{nil, ""},
		{[]float64{0, 1, 2, 3, 4, 5, 6, 7}, "▁▂▃▄▅▆▇█"},
		{[]float64{5, math.NaN(), -1}, "█ ▁"},
		{[]float64{0.04, 0.06}, "▁▁"}, // room air
	} {
		if got := Sparkline(tc.strip); got != tc.want {
			t.Errorf("%v: %s", tc.strip, got)
		}
	}
	if long := measure(flat(5)); strings.Count(Sparkline(long.Strip), "█") != 51 {
		t.Errorf("%s", Sparkline(long.Strip))
	}
}

func TestAddDoesNotAllocate(t *testing.T) {
	samples, _, _ := curve{seconds: 100, hz: 100, perMinute: 20, endTidal: 5, noise: 0.05, coughs: true, seed: 2}.draw()
	if n := testing.AllocsPerRun(1, func() { measure(samples) }); n > 3 { // the meter and its strip
		t.Errorf("%v allocations for %d samples", n, len(samples))
	}
}

func BenchmarkMeter(b *testing.B) {
	samples, _, _ := curve{seconds: 600, hz: 100, perMinute: 15, endTidal: 5, noise: 0.05, seed: 2}.draw()
	b.SetBytes(int64(len(samples) * 16)) // a time and a value
	b.ReportAllocs()
	for b.Loop() {
		measure(samples)
	}
}
