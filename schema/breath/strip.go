package breath

import (
	"math"
	"strings"
)

// A strip keeps the maximum of equal stretches of time, which double whenever
// there would be more than 60.
type strip struct {
	width float64 // seconds
	n     int
	max   [60]float64
}

func (s *strip) init() {
	s.width = 1
	for i := range s.max {
		s.max[i] = math.NaN()
	}
}

// add takes a value at t seconds from the first sample.
func (s *strip) add(t, v float64) {
	for t >= s.width*float64(len(s.max)) {
		s.halve()
	}
	i := int(t / s.width)
	s.n = max(s.n, i+1)
	if !(s.max[i] >= v) {
		s.max[i] = v
	}
}

func (s *strip) halve() {
	s.width *= 2
	for i := range s.max {
		a, b := math.NaN(), math.NaN()
		if 2*i < len(s.max) {
			a, b = s.max[2*i], s.max[2*i+1]
		}
		if math.IsNaN(a) || b > a {
			a = b
		}
		s.max[i] = a
	}
	s.n = (s.n + 1) / 2
}

func (s *strip) values() []float64 {
	return append([]float64(nil), s.max[:s.n]...)
}

// Sparkline draws a strip in block characters of eight heights, a space where
// there is no value. The lowest block means 0 kPa or less, the highest the greatest value but at
// least 1 kPa, so that noise does not look like breath.
func Sparkline(strip []float64) string {
	top := 1.0
	for _, v := range strip {
		if v > top && !math.IsInf(v, 1) {
			top = v
		}
	}
	var b strings.Builder
	for _, v := range strip {
		if math.IsNaN(v) {
			b.WriteByte(' ')
			continue
		}
		b.WriteRune('▁' + rune(math.Round(7*min(max(v/top, 0), 1))))
	}
	return b.String()
}
