// Package breath counts breaths in a CO2 curve, so that somebody can judge
// whether a sample was collected properly. It gives no medical reading.
//
// In: the samples of one recording, in order. Out: [Figures]. Most callers need
// [NewMeter] and [Sparkline]. A meter keeps about 40 KB, however long the
// recording is, and allocates nothing for a sample.
//
// # What is counted
//
// The words are those of capnography: CO2 lies at the inspired baseline, rises
// steeply, and rises slowly along a plateau whose last value is the end-tidal
// one. A breath begins once CO2 has been 30 % of the way from baseline to plateau,
// or more, for over 0.3 s; it ends after 0.15 to 0.3 s, as breathing is fast or
// slow, below 20 %. Baseline and plateau are the extremes of the last 14 to 16 s
// that lasted as long, so that drift, noise and a cough leave them where they are.
// Waves lower than 0.4 kPa are not breaths, and what is both far shorter and lower
// than the breaths before it is a cough. The limits are ours.
//
// # Limits
//
// The count holds for 6 to 40 breaths a minute and five samples a second or more.
// A cough between breaths that follow each other within 2 s, or that fills most of
// the samples between them, may join two.
//
// Against curves whose truth is known, the count is within 2 % or one breath and
// the end-tidal value within 0.1 kPa, from twenty samples a breath on, with noise
// of up to 0.03 kPa, and with coughs up to 30 breaths a minute. Beyond that the
// count may be a tenth off and the value 0.3 kPa.
//
// The figures do not distinguish a mask laid aside, a blocked line and a held breath, and do not
// identify the unit, beyond a hint from size alone.
package breath

import "math"

// Figures describe one recording, and say nothing about the person. Numbers are rounded to 3
// decimals.
type Figures struct {
	Seconds   float64 `json:"seconds"` // from the first to the last sample
	Samples   int     `json:"samples"`
	Dropped   int     `json:"dropped"` // samples without a value, which are among Samples
	Breaths   int     `json:"breaths"`
	PerMinute float64 `json:"per_minute"`    // over the time with the mask on and samples no more than 3 s apart
	EndTidal  float64 `json:"end_tidal_kpa"` // median over breaths; 0 when none was complete
	// share of Seconds in which CO2 stays below 0.3 kPa for over 12 s, 0 to 1
	OffShare   float64 `json:"mask_off_share"`
	LongestGap float64 `json:"longest_gap_s"` // longest step from one sample to the next
	Flat       bool    `json:"flat"`          // two values or more, all within 0.02 kPa: is the sensor connected?

	// Hint is one of the Hint constants, or empty. CO2 in percent gets none: 1 % of 1 atm is
	// 1.013 kPa, so its plateau cannot be distinguished from one in kPa.
	Hint string `json:"hint,omitempty"`

	// Strip holds at most 60 values: the maximum of CO2 in equal stretches of
	// time, NaN where there is no value.
	Strip []float64 `json:"-"`
}

const (
	HintMmHg = "unit-mmhg" // the plateau is at 20 to 60, as it would be in mmHg, and no kPa can be
	HintLeak = "leak"      // ten breaths or more that end below 2 kPa, or that end far below the ones before them
)

const (
	offBelow, offSeconds = 0.3, 12 // kPa
	flatWithin           = 0.02    // kPa
	longestStep          = 3.0     // seconds; the curve is not followed across a longer one
	blockSeconds         = 0.04    // samples closer than this are averaged
	farthest             = 1e9     // a time or a value beyond this is not real
	roundingError        = 1.0 / (1 << 30)
)

// A Meter takes the samples of one recording. It is not safe for concurrent use.
type Meter struct {
	samples, dropped int
	first, last      float64 // times of samples
	gap              float64

	// Of the block under way.
	blockAt, sum float64
	n            int

	valued   int
	valuedAt float64
	lowest   float64
	highest  float64
	observed float64 // seconds between values no more than longestStep apart

	air   airTime
	waves waves
	ends  ends
	strip strip
}

// NewMeter returns a meter for one recording.
func NewMeter() *Meter {
	m := &Meter{lowest: math.Inf(1), highest: math.Inf(-1), waves: waves{floor: 0.4}}
	m.strip.init()
	return m
}

// Add takes a sample: its time in seconds and its CO2 in kPa, NaN if it was
// dropped. Times rise; a sample whose time does not, or is not finite, is ignored. A value beyond
// any sensor's range counts as dropped.
func (m *Meter) Add(t, co2 float64) {
	if !(math.Abs(t) <= farthest) || m.samples > 0 && t <= m.last {
		return
	}
	if m.samples == 0 {
		m.first = t
	} else if step := t - m.last; step > m.gap {
		m.gap = step
	}
	m.samples++
	m.last = t
	if !(math.Abs(co2) <= farthest) {
		m.dropped++
		return
	}
	if m.n > 0 && t-m.blockAt >= blockSeconds-roundingError {
		m.endBlock()
	}
	if m.n == 0 {
		m.blockAt = t
	}
	m.n++
	m.sum += co2
}

// AddEven takes n samples that are step seconds apart, the first at time t, and
// does what Add would for each. sum returns the sum in kPa of samples i to j-1;
// none may be dropped or beyond any sensor's range.
func (m *Meter) AddEven(t, step float64, n int, sum func(i, j int) float64) {
	end := t + step*float64(n-1)
	if !(step > 0 && math.Abs(t) <= farthest && math.Abs(end) <= farthest && end-step < end && t+step > t) ||
		m.samples > 0 && t <= m.last {
		for i := range n {
			m.Add(t+step*float64(i), sum(i, i+1))
		}
		return
	}
	for i := 0; i < n; {
		at := t + step*float64(i)
		m.Add(at, sum(i, i+1))
		i++
		// As many of those that follow as fall into the same block.
		more := min(n-i, int(math.Ceil((m.blockAt+blockSeconds-roundingError-at)/step))-1)
		if more <= 0 {
			continue
		}
		m.sum += sum(i, i+more)
		m.n += more
		m.samples += more
		i += more
		m.last = t + step*float64(i-1)
		m.gap = max(m.gap, step)
	}
}

// endBlock processes the mean of the samples since blockAt.
func (m *Meter) endBlock() {
	t, v := m.blockAt, m.sum/float64(m.n)
	m.n, m.sum = 0, 0
	m.lowest, m.highest = min(m.lowest, v), max(m.highest, v)
	m.strip.add(t-m.first, v)
	if m.valued > 0 {
		if step := t - m.valuedAt; step <= longestStep {
			m.observed += step
		} else {
			m.air.cut()
		}
	}
	m.valued++
	m.valuedAt = t
	if m.waves.add(t, v) {
		m.ends.add(m.waves.end)
	}
	m.air.add(t, m.waves.lastingMax)
}

// Figures returns the figures of the samples so far.
func (m *Meter) Figures() Figures {
	c := *m
	values := c.samples - c.dropped
	if c.n > 0 {
		c.endBlock()
	}
	f := Figures{
		Samples: c.samples, Dropped: c.dropped,
		Seconds: round(c.last - c.first), LongestGap: round(c.gap),
		Breaths: c.waves.count, EndTidal: round(c.ends.median()),
		Flat:  values >= 2 && c.highest-c.lowest <= flatWithin,
		Strip: c.strip.values(),
	}
	if c.waves.high {
		f.Breaths++ // its plateau has begun
	}
	off := c.air.total()
	if seconds := c.last - c.first; seconds > 0 {
		f.OffShare = round(min(1, off/seconds))
	}
	if on := c.observed - off; on > 1 {
		f.PerMinute = round(float64(f.Breaths) * 60 / on)
	}
	switch {
	case c.ends.n >= 3 && f.EndTidal >= 20 && f.EndTidal <= 60:
		f.Hint = HintMmHg
	case c.ends.collapsed || c.ends.n >= manyBreaths && f.EndTidal < 2:
		f.Hint = HintLeak
	}
	return f
}

func round(f float64) float64 { return math.Round(f*1000) / 1000 }

// An airTime sums the stretches in which CO2 remains as low as in room air.
type airTime struct {
	in       bool
	from, at float64
	sum      float64
}

// add takes the CO2 that lasted until t.
func (a *airTime) add(t, co2 float64) {
	switch {
	case co2 >= offBelow:
		a.cut()
	case !a.in:
		a.in, a.from = true, t
	}
	a.at = t
}

func (a *airTime) cut() {
	a.sum, a.in = a.total(), false
}

func (a *airTime) total() float64 {
	if a.in && a.at-a.from > offSeconds {
		return a.sum + (a.at - a.from)
	}
	return a.sum
}
