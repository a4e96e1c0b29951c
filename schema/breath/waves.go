package breath

import (
	"math"
	"slices"
)

// lasting is the time in seconds, at least, that a peak or a trough lasts; what
// is shorter is a cough or a disturbance.
const lasting = 0.3

// Shares of the way from baseline to plateau at which a wave begins and ends. A
// shallow breath between deep ones may end at less than half of their value.
const riseShare, fallShare = 0.3, 0.2

// A point is one value of the curve.
type point struct{ t, v float64 }

// A waves counts the waves of a curve given at about 25 values a second or fewer:
// stretches above riseShare of the way between the extremes of the last seconds,
// for more than lasting, each followed by a trough below fallShare.
type waves struct {
	floor float64 // the least height of a wave

	raw  [2]point // the latest two values
	nRaw int
	ring [64]point // the curve without spikes of one value, newest at ring[(n-1)%64]
	n    int       // points since the last break
	span extremes

	lastingMax float64 // the greatest value that the curve has not been below for more than lasting

	high    bool
	since   float64 // when the peak under way began, or was last interrupted
	longest float64 // seconds without an interruption, in the peak under way
	below   float64 // seconds in the trough after it
	belows  int     // points in it

	count   int
	end     float64 // value at the end of the latest wave
	seconds float64 // usual duration of a peak
	height  float64 // usual height of a wave
}

// add takes the next value, and reports whether it ended a wave.
func (w *waves) add(t, v float64) (ended bool) {
	if w.nRaw > 0 && t-w.raw[1].t > longestStep {
		if w.high {
			w.count++ // its plateau had begun
		}
		w.nRaw, w.n, w.high = 0, 0, false
	}
	p := point{t, v}
	if w.nRaw >= 2 && t-w.raw[0].t < 0.15 {
		p = point{w.raw[1].t, median(w.raw[0].v, w.raw[1].v, v)}
	}
	w.raw[0], w.raw[1] = w.raw[1], point{t, v}
	w.nRaw++
	if w.n > 0 && p.t <= w.latest(0).t {
		return false // the value was handed on before the rate rose
	}
	w.ring[w.n%len(w.ring)] = p
	w.n++
	return w.follow(p)
}

// latest returns the point i places before the newest.
func (w *waves) latest(i int) point { return w.ring[uint(w.n-1-i)%uint(len(w.ring))] }

// follow updates the state with the newest point p, and reports whether it ended a wave.
func (w *waves) follow(p point) bool {
	lo, hi := p.v, p.v
	from, whole := p.t, false
	// Fast breathing has short troughs; in slow breathing a short one is a disturbance.
	trough := min(lasting, max(lasting/2, float64(w.seconds/4)))
	for i := 1; i < min(w.n, len(w.ring)) && !whole; i++ {
		q := w.latest(i)
		if p.t-from <= trough+roundingError {
			hi = max(hi, q.v)
		}
		from = q.t
		lo = min(lo, q.v)
		whole = p.t-from > lasting+roundingError
	}
	w.lastingMax = lo
	if !whole {
		return false
	}
	w.span.add(p.t, hi, lo)
	bottom, height := w.span.min, w.span.max-w.span.min
	if height < w.floor {
		return false
	}
	if !w.high {
		if lo > bottom+float64(height*riseShare) {
			w.high, w.since, w.longest, w.below, w.belows = true, from, 0, 0, 0
		}
		return false
	}
	step := p.t - w.latest(1).t
	if p.v < bottom+float64(height*fallShare) {
		w.since = p.t // coughs one after the other make one peak with interruptions
		w.below += step
		w.belows++
	} else {
		w.longest = max(w.longest, p.t-w.since)
		// A cough in a trough makes two of it, which still add up to one.
		w.below = max(0, w.below-step/4)
		if w.below == 0 {
			w.belows = 0
		}
	}
	if w.below > trough+roundingError && w.belows >= 2 {
		w.high = false
		return w.endWave(bottom, bottom+float64(height*riseShare))
	}
	return false
}

// endWave ends a peak over the baseline bottom, with a plateau above edge, and
// reports whether it was a wave.
func (w *waves) endWave(bottom, edge float64) bool {
	i := w.plateau(edge)
	end := w.latest(i).t
	seconds := w.longest
	top := w.plateauEnd(i, end-min(0.6, max(0.2, seconds/3)), bottom)
	height := top - bottom
	weight := 1.0 / 8 // of this peak in what is usual
	cough := w.count >= 3 && seconds < 0.35*w.seconds && height < 0.8*w.height
	switch {
	case cough:
		weight = 1.0 / 64 // a minute or two of such peaks, and they are the usual ones
	case w.count == 0:
		weight = 1
	}
	w.seconds += float64((seconds - w.seconds) * weight)
	w.height += float64((height - w.height) * weight)
	if cough {
		return false
	}
	w.count++
	w.end = top
	return true
}

// plateau returns how many places before the newest point the latest stretch at
// edge or above ends that lasts; if none does, the latest that is shorter.
func (w *waves) plateau(edge float64) int {
	shorter, end := -1, -1 // -1: none yet
	for i := range min(w.n, len(w.ring)) {
		switch {
		case w.latest(i).v < edge:
			end = -1
		case end < 0:
			end = i
			if shorter < 0 {
				shorter = i
			}
		case w.latest(end).t-w.latest(i).t > lasting:
			return end
		}
	}
	return max(shorter, 0)
}

// plateauEnd returns the greatest value, or of four or more the second greatest,
// which noise raises less, from the point i places before the newest back to time
// from. If a cough is conspicuous there, it returns the median.
func (w *waves) plateauEnd(i int, from, bottom float64) float64 {
	var values [len(w.ring)]float64
	n := 0
	for ; i < min(w.n, len(w.ring)) && (n == 0 || w.latest(i).t >= from-roundingError); i++ {
		values[n] = w.latest(i).v
		n++
	}
	slices.Sort(values[:n])
	top, middle := values[n-1], values[n/2]
	if n >= 4 {
		top = values[n-2]
	}
	if (top-middle)*10 > top-bottom {
		return middle
	}
	return top
}

func median(a, b, c float64) float64 {
	return max(min(a, b), min(max(a, b), c))
}

// An extremes keeps the greatest and the least value of the last 14 to 16 s,
// longer than one breath at 6 a minute.
type extremes struct {
	max, min float64
	begun    bool
	slot     int // the number of the slot under way
	slots    [8]struct{ max, min float64 }
}

const slotSeconds = 2

// add takes a value at t that may be the least and one that may be the greatest.
func (e *extremes) add(t, least, greatest float64) {
	slot := int(math.Floor(t / slotSeconds))
	if !e.begun {
		e.begun, e.slot = true, slot-len(e.slots)
	}
	if slot != e.slot {
		for k := max(e.slot+1, slot-len(e.slots)+1); k <= slot; k++ {
			s := &e.slots[e.at(k)]
			s.max, s.min = math.Inf(-1), math.Inf(1)
		}
		e.slot = slot
		e.max, e.min = math.Inf(-1), math.Inf(1)
		for i := range e.slots {
			e.max, e.min = max(e.max, e.slots[i].max), min(e.min, e.slots[i].min)
		}
	}
	s := &e.slots[e.at(slot)]
	s.max, s.min = max(s.max, greatest), min(s.min, least)
	e.max, e.min = max(e.max, greatest), min(e.min, least)
}

func (e *extremes) at(slot int) int { return slot & (len(e.slots) - 1) }
