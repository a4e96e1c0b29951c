package breath

const manyBreaths = 10

// An ends is a histogram of the end-tidal values of all breaths, in steps of 0.01 kPa up to
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

// median returns the middle value, the mean of the two middle ones if n is even.
func (e *ends) median() float64 {
	if e.n == 0 {
		return 0
	}
	return (e.rank((e.n-1)/2) + e.rank(e.n/2)) / 2
}

// rank returns value k in ascending order from 0, assuming that the values in a step
// are evenly distributed.
func (e *ends) rank(k int) float64 {
	step := 0
	for k >= int(e.counts[step]) {
		k -= int(e.counts[step])
		step++
	}
	return float64(endStep * (float64(step) + (float64(k)+0.5)/float64(e.counts[step])))
}
