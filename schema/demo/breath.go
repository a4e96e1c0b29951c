package demo

import "math/rand/v2"

// The curves are integer arithmetic throughout, so that every machine writes
// the same bytes: CO2 in thousandths of a kPa, pressure in tenths of a Pa, time
// within a breath as a fraction of 2^32.
const (
	tableBits = 10
	tableSize = 1 << tableBits
	one       = 1 << 16 // what a table calls 1

	inspiredCO2 = 30 // 0.03 kPa: room air holds about 0.04 % CO2
	ambientCO2  = 45

	coughSecond, coughSeconds = 250, 13
	maskSecond, maskSeconds   = 185, 25
)

// shape is one breath from the start of inspiration to the end of expiration.
type shape struct {
	co2fall, co2rise [tableSize]int32 // weights of the last and of this end-tidal CO2
	pressure         [tableSize]int32 // -one at the deepest, +one at the highest
}

var breathing, coughing = breathShape(), coughShape()

// breathShape follows the phases of a capnogram: the limb that falls as
// inspiration begins, the baseline, dead space (I), the steep rise (II) and the
// plateau whose end is the end-tidal value (III). Standards 10.5.
func breathShape() *shape {
	const (
		fall       = tableSize * 6 / 100
		expiration = tableSize * 40 / 100
		rise       = tableSize * 45 / 100
		plateau    = tableSize * 54 / 100
	)
	s := new(shape)
	for i := range tableSize {
		switch {
		case i < fall:
			s.co2fall[i] = one - smooth(i, fall)
		case i >= rise && i < plateau:
			s.co2rise[i] = smooth(i-rise, plateau-rise) * 87 / 100
		case i >= plateau:
			s.co2rise[i] = int32(one*87/100 + one*13/100*(i-plateau)/(tableSize-1-plateau))
		}
		if i < expiration {
			s.pressure[i] = -bump(i, expiration)
		} else {
			// Expiration is strongest early on and dies away slowly.
			k, n := i-expiration, tableSize-expiration
			s.pressure[i] = min(one, bump(k, n)*int32(n+n-k)/int32(n)*13/20)
		}
	}
	return s
}

// coughShape is a short breath in and a burst.
func coughShape() *shape {
	s := breathShape()
	const burst, width = tableSize * 45 / 100, tableSize * 12 / 100
	for i := range tableSize {
		switch {
		case i >= burst && i < burst+width:
			s.pressure[i] = bump(i-burst, width)
		case i >= burst:
			s.pressure[i] = 0
		}
	}
	return s
}

// smooth goes from 0 to one as i goes from 0 to n, level at both ends.
func smooth(i, n int) int32 {
	x := int64(i) * one / int64(n)
	return int32(x * x / one * (3*one - 2*x) / one)
}

// bump is the arch 4x(1-x) of height one over n steps.
func bump(i, n int) int32 {
	x := int64(i) * one / int64(n)
	return int32(4 * x * (one - x) / one)
}

type kind uint8

const (
	regular kind = iota
	cough
	maskOffAir
)

// curve produces one recording sample by sample.
type curve struct {
	r     *rand.Rand
	noise uint64
	hz    int
	n     int64 // samples given so far

	events []event

	// Of the subject.
	period        int64 // of a breath, ms
	endTidal      int64
	depth, height int64 // of the pressure wave

	// Of the breath under way.
	kind        kind
	shape       *shape
	phase, step uint64 // of 2^32
	last, now   int64  // end-tidal CO2 of the breath before and of this one
	in, out     int64
	offset      int64
	rises       bool // its steep rise lies within the recording

	breaths, completed, coughs int
	sum                        int64
}

type event struct {
	kind       kind
	from, till int // seconds
}

// newCurve takes the subject's own figures from the row, so that a second visit
// resembles the first.
func newCurve(seed uint64, row, session, hz int, events []event) *curve {
	own := rng(seed, "breathing", row)
	r := rng(seed, "recording", session)
	c := &curve{
		r: r, noise: r.Uint64() | 1, hz: hz, events: events,
		period:   6_000_000 / (1240 + own.Int64N(500)), // 12.4 to 17.4 a minute
		endTidal: 4850 + own.Int64N(900) + r.Int64N(100) - 50,
		depth:    600 + own.Int64N(200),
		height:   900 + own.Int64N(300),
	}
	c.now = c.endTidal
	c.next()
	c.phase = uint64(r.Uint32()) // recordings start anywhere in a breath
	c.rises = c.phase < half
	return c
}

// half is where the steep rise is halfway up: from here on a breath is visible.
const half = (1 << 32) / 1000 * 495

// next begins a breath; what it is depends on the second it begins in.
func (c *curve) next() {
	c.kind, c.shape = regular, breathing
	second := int(c.n / int64(c.hz))
	for _, e := range c.events {
		if second >= e.from && second < e.till {
			c.kind = e.kind
		}
	}
	c.last = c.now
	vary := func(v, percent int64) int64 { return v + v*(c.r.Int64N(2*percent*10+1)-percent*10)/1000 }
	var period int64
	switch c.kind {
	case regular:
		period = vary(c.period, 8)
		c.now, c.in, c.out = vary(c.endTidal, 2), vary(c.depth, 10), vary(c.height, 10)
	case cough:
		c.shape = coughing
		period = 450 + c.r.Int64N(700)
		c.now, c.in, c.out = c.endTidal*(20+c.r.Int64N(50))/100, 500+c.r.Int64N(700), 2500+c.r.Int64N(1500)
	case maskOffAir:
		period = maskSeconds * 1000
		c.now, c.in, c.out = ambientCO2, 0, 0
	}
	c.offset = c.r.Int64N(31) - 15
	c.phase = 0
	c.rises = true
	c.step = uint64((1 << 32) * 1000 / (period * int64(c.hz)))
}

// end counts the breath that was under way.
func (c *curve) end() {
	switch c.kind {
	case regular:
		if c.rises {
			c.breaths++
		}
		c.completed++
		c.sum += c.now
	case cough:
		c.coughs++
	}
}

// sample returns the next CO2 value in hundredths of a kPa and the next
// pressure in tenths of a Pa.
func (c *curve) sample() (co2, pressure int64) {
	if c.phase >= 1<<32 {
		c.end()
		c.next()
	}
	i := c.phase >> (32 - tableBits)
	c.phase += c.step
	c.n++

	// xorshift64; sums of bytes are near enough to a bell.
	c.noise ^= c.noise << 13
	c.noise ^= c.noise >> 7
	c.noise ^= c.noise << 17
	u := c.noise
	a := int64(u&0xff+u>>8&0xff+u>>16&0xff) - 382 // deviation about 128
	b := int64(u>>24&0xff+u>>32&0xff+u>>40&0xff) - 382

	milli := inspiredCO2 + a>>3
	if c.kind == maskOffAir {
		milli = ambientCO2 + a>>3
	} else {
		milli += ((c.last-inspiredCO2)*int64(c.shape.co2fall[i]) + (c.now-inspiredCO2)*int64(c.shape.co2rise[i])) / one
	}
	p := int64(c.shape.pressure[i])
	if p < 0 {
		p *= c.in
	} else {
		p *= c.out
	}
	return max(0, (milli+5)/10), p/one + c.offset + b>>3
}

// finish puts the counts into r once every sample has been taken.
func (c *curve) finish(r *Recording) {
	if c.phase >= 1<<32 {
		c.end()
	} else if c.kind == regular && c.rises && c.phase >= half {
		c.breaths++
	}
	r.Breaths, r.Coughs = c.breaths, c.coughs
	if c.completed > 0 {
		r.EndTidal = float64(c.sum/int64(c.completed)) / 1000
	}
}
