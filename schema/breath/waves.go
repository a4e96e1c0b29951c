package breath

import "math"

// lasting is the time in seconds, at least, that a peak or a trough lasts; what
// is shorter is a cough or a disturbance.
const lasting = 0.3

// A point is one value of the curve.
type point struct{ t, v float64 }

// A waves counts the waves of a curve given at about 20 values a second or
// fewer: every stretch of more than lasting above half of the way between the
// extremes of the last seconds, followed by as long a one below a third.
type waves struct {
	floor float64 // the least height of a wave

	raw  [2]point // the latest two values
	nRaw int
	ring [64]point // the curve without spikes of one value, newest at ring[(n-1)%64]
	n    int       // points since the last break
	span extremes

	// The least and the greatest value that lasted until now: greater than
	// everything shorter, less than everything shorter.
	lastingMax, lastingMin float64

	high  bool
	since float64 // when the peak under way began

	count   int
	end     float64 // value at the end of the latest wave
	seconds float64 // usual duration of a peak
	height  float64 // usual height of a wave
}

// add takes the next value, and reports whether it ended a wave.
func (w *waves) add(t, v float64) (ended bool) {
	if w.nRaw > 0 && t-w.raw[1].t > longestStep {
		w.nRaw, w.n, w.high = 0, 0, false
	}
	p := point{t, v}
	if w.nRaw >= 2 && t-w.raw[0].t < 0.2 {
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
func (w *waves) latest(i int) point { return w.ring[(w.n-1-i)%len(w.ring)] }

// follow looks at what the newest point p changes.
func (w *waves) follow(p point) bool {
	lo, hi := p.v, p.v
	from, whole := p.t, false
	for i := 1; i < min(w.n, len(w.ring)); i++ {
		q := w.latest(i)
		lo, hi = min(lo, q.v), max(hi, q.v)
		from = q.t
		if p.t-q.t > lasting+roundingError {
			whole = true
			break
		}
	}
	if !whole {
		w.lastingMax, w.lastingMin = lo, hi
		return false
	}
	w.lastingMax, w.lastingMin = lo, hi
	w.span.add(p.t, hi, lo)
	bottom, height := w.span.min, w.span.max-w.span.min
	if height < w.floor {
		return false
	}
	switch {
	case !w.high && lo > bottom+height*0.5:
		w.high, w.since = true, from
	case w.high && hi < bottom+height*0.35:
		w.high = false
		return w.endWave(bottom, bottom+height*0.5)
	}
	return false
}

// endWave ends a peak, which was above the middle.
func (w *waves) endWave(bottom, middle float64) bool {
	n := min(w.n, len(w.ring))
	i := 0
	for i < n-1 && w.latest(i).v < middle {
		i++
	}
	end := w.latest(i).t
	seconds := end - w.since
	span := min(0.6, max(0.2, seconds/3))
	top := math.Inf(-1)
	for ; i < n && w.latest(i).t >= end-span-roundingError; i++ {
		top = max(top, w.latest(i).v)
	}
	height := top - bottom
	weight := 1.0 / 8
	cough := w.count >= 3 && seconds < 0.35*w.seconds && height < 0.8*w.height
	switch {
	case cough:
		weight = 1.0 / 64
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
