package breath

import "math"

const manyBreaths = 10

// An ends keeps the end-tidal values of all breaths, in steps of 0.01 kPa up to
// 81.92, which is enough for their median.
type ends struct {
	n         int
	counts    [8192]uint32
	usual     float64 // a running mean
	best      float64 // its greatest value
	low       int     // breaths in a row that end below 60 % of best
	collapsed bool
}

const endStep = 0.01 // kPa

func (e *ends) add(v float64) {
	e.n++
	e.counts[int(min(max(v/endStep, 0), float64(len(e.counts)-1)))]++
	if e.n <= manyBreaths {
		e.usual += (v - e.usual) / float64(e.n)
	} else {
		e.usual += (v - e.usual) / 8
	}
	if e.n >= manyBreaths {
		e.best = max(e.best, e.usual)
	}
	if v < float64(0.6*e.best) {
		e.low++
	} else {
		e.low = 0
	}
	e.collapsed = e.collapsed || e.low >= manyBreaths
}

// median returns the middle of the step that half of the breaths do not exceed.
func (e *ends) median() float64 {
	if e.n == 0 {
		return 0
	}
	below := 0
	for i, n := range e.counts {
		if n > 0 && 2*(below+int(n)) >= e.n {
			// Within the step, breaths are taken as evenly spread.
			share := (float64(e.n)/2 - float64(below)) / float64(n)
			return float64(endStep * (float64(i) + math.Max(0, share)))
		}
		below += int(n)
	}
	return 0
}
