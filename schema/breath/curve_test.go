package breath

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// A curve says how to draw a CO2 curve whose truth is known. Its phases are
// those of a capnogram (baseline, steep rise, plateau, fall).
type curve struct {
	seconds, hz int
	perMinute   float64
	vary        float64 // share by which the length of a breath varies
	endTidal    float64 // kPa
	slope       float64 // share of endTidal that the plateau gains
	noise       float64 // kPa, standard deviation
	drift       float64 // kPa, over the recording
	coughs      bool    // peaks of up to 0.28 s, one in some 15 s
	offAt, off  float64 // seconds without the mask
	dropped     float64 // share
	scale       float64 // of all values, for another unit; 0 is 1
	seed        uint64
}

type sample struct{ t, co2 float64 }

// draw returns the samples, the number of breaths whose plateau begins and the
// median of the greatest undisturbed sample of each.
func (c curve) draw() (samples []sample, breaths int, endTidal float64) {
	r := rand.New(rand.NewPCG(c.seed, 1))
	var tops []float64
	start, period, top := 0.0, 60/c.perMinute, c.endTidal
	best := math.Inf(-1)
	nextCough, coughEnds, coughTop := 5+20*r.Float64(), 0.0, 0.0
	for i := range c.seconds * c.hz {
		t := float64(i) / float64(c.hz)
		if t >= start+period {
			if !math.IsInf(best, -1) {
				tops = append(tops, best)
			}
			start, best = start+period, math.Inf(-1)
			period = 60 / c.perMinute * (1 + c.vary*(2*r.Float64()-1))
			top = c.endTidal * (1 + 0.03*(2*r.Float64()-1))
		}
		drift := c.drift * t / float64(c.seconds)
		x, v := (t-start)/period, 0.03
		fall, rise := min(0.06, 0.15/period), min(0.08, 0.25/period)
		const up = 0.45
		off := c.off > 0 && start >= c.offAt && start < c.offAt+c.off
		switch {
		case off:
			v = 0.045
		case x < fall && start > 0:
			v = max(v, c.endTidal*(1-x/fall))
		case x > up && x < up+rise:
			v = max(v, top*(1-c.slope)*(x-up)/rise)
		case x >= up+rise:
			v = top * (1 - c.slope + c.slope*(x-up-rise)/(1-up-rise))
			if math.IsInf(best, -1) {
				breaths++
			}
			best = max(best, v+drift)
		}
		if c.coughs && t >= nextCough {
			coughEnds, coughTop = t+0.1+0.18*r.Float64(), 1+6*r.Float64()
			nextCough = t + 10 + 10*r.Float64()
		}
		if t < coughEnds {
			v = max(v, coughTop)
		}
		v += drift + c.noise*r.NormFloat64()
		if r.Float64() < c.dropped {
			v = math.NaN()
		}
		if c.scale != 0 {
			v *= c.scale
		}
		samples = append(samples, sample{t, v})
	}
	if len(tops) > 0 {
		slices.Sort(tops)
		endTidal = (tops[(len(tops)-1)/2] + tops[len(tops)/2]) / 2
	}
	return samples, breaths, endTidal
}

func measure(samples []sample) Figures {
	m := NewMeter()
	for _, s := range samples {
		m.Add(s.t, s.co2)
	}
	return m.Figures()
}

type fataler interface {
	Helper()
	Errorf(string, ...any)
}

// easy reports whether a curve is one for which the package promises its figures to
// 2 % or one breath and 0.1 kPa.
func (c curve) easy() bool {
	return 60*float64(c.hz) >= 20*c.perMinute && c.noise <= 0.03 && c.slope <= 0.06 && c.seconds >= 120 &&
		(!c.coughs || c.perMinute <= 30)
}

// near holds f against the truth: a share of the breaths or one breath, and kPa.
func near(t fataler, c curve, f Figures, breaths int, endTidal, share, within float64) {
	t.Helper()
	if d := math.Abs(float64(f.Breaths - breaths)); d > max(1, share*float64(breaths)) {
		t.Errorf("%d breaths, truth %d: %+v", f.Breaths, breaths, c)
	}
	if math.Abs(f.EndTidal-endTidal) > within {
		t.Errorf("end-tidal %g, truth %g: %+v", f.EndTidal, endTidal, c)
	}
}

// Over every rate of breath and of samples that the package speaks of.
func TestKnownCurves(t *testing.T) {
	cases := 0
	for _, perMinute := range []float64{6, 8, 12, 15, 20, 25, 30, 35, 40} {
		for _, hz := range []int{5, 8, 10, 20, 25, 50, 100} {
			for seed, c := range []curve{
				{},
				{noise: 0.05, vary: 0.1},
				{coughs: true, vary: 0.1, noise: 0.02},
				{drift: 0.6, vary: 0.05},
				{offAt: 100, off: 30, noise: 0.03},
				{noise: 0.05, drift: -0.1, coughs: true, offAt: 60, off: 40, vary: 0.1, dropped: 0.01},
			} {
				c.seconds, c.hz, c.perMinute, c.endTidal, c.slope, c.seed = 240, hz, perMinute, 5.2, 0.06, uint64(seed)
				samples, breaths, endTidal := c.draw()
				f := measure(samples)
				near(t, c, f, breaths, endTidal, 0.02, 0.1)
				if off := f.OffShare * f.Seconds; math.Abs(off-c.off) > 60/perMinute+2 {
					t.Errorf("mask off for %g s: %+v", off, c)
				}
				if f.PerMinute < perMinute*0.9 || f.PerMinute > perMinute*1.1 {
					t.Errorf("%g a minute: %+v", f.PerMinute, c)
				}
				cases++
			}
		}
	}
	if cases != 9*7*6 {
		t.Error(cases)
	}
}

func TestAnyCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := curve{
			seconds:   rapid.IntRange(60, 400).Draw(t, "seconds"),
			hz:        rapid.IntRange(5, 100).Draw(t, "hz"),
			perMinute: rapid.Float64Range(6, 40).Draw(t, "per minute"),
			vary:      rapid.Float64Range(0, 0.1).Draw(t, "vary"),
			endTidal:  rapid.Float64Range(2.5, 8).Draw(t, "end-tidal"),
			slope:     rapid.Float64Range(0, 0.08).Draw(t, "slope"),
			noise:     rapid.Float64Range(0, 0.05).Draw(t, "noise"),
			drift:     rapid.Float64Range(-0.5, 0.5).Draw(t, "drift"),
			coughs:    rapid.Bool().Draw(t, "coughs"),
			dropped:   rapid.Float64Range(0, 0.01).Draw(t, "dropped"),
			seed:      rapid.Uint64().Draw(t, "seed"),
		}
		samples, breaths, endTidal := c.draw()
		// A hard curve, where noise and coughs leave few samples of a plateau, is
		// held to a tenth of the breaths and 0.3 kPa.
		share, within := 0.02, 0.1
		if !c.easy() {
			share, within = 0.1, 0.3
		}
		near(t, c, measure(samples), breaths, endTidal, share, within)
	})
}
