package schema

import (
	"fmt"
	"math"
	"slices"
)

// A measure is a number that is nearly the same in all records of a folder. How far one may
// be from the others is our own limit (common practice, no source).
type measure struct {
	pointer, what string
	apart         float64 // from the median, 0: see factor
	factor        float64
}

var measures = []measure{
	{"/room_c", "room_c", 12, 0},    // degrees: a cold room beside a heated one
	{"/room_kpa", "room_kpa", 6, 0}, // kPa: more than the weather changes it at one place
	{"/tubes/*/gate_kpa", "gate_kpa", 0, 5},
	{"/tubes/*/flow_start_ml_min", "flow_start_ml_min", 0, 5},
	{"/tubes/*/flow_end_ml_min", "flow_end_ml_min", 0, 5},
	{"/tubes/*/volume_ml", "volume_ml", 0, 5},
}

// fewMeasures is how many values show what is usual. One in commonShare may be odd.
const (
	fewMeasures = 5
	commonShare = 5
)

func (m measure) far(v, median float64) bool {
	if m.factor > 0 {
		return v > 0 && (v > median*m.factor || v*m.factor < median)
	}
	return math.Abs(v-median) > m.apart
}

// outliers reports numbers that are far from those of all other records.
func (c *Collection) outliers() {
	type value struct {
		s       *Session
		pointer string
		v       float64
	}
	for _, m := range measures {
		var values []value
		var sorted []float64
		for _, s := range c.Sessions {
			for i, pointer := range s.pointers(m.pointer) {
				if m.pointer == "/tubes/*/volume_ml" && !s.filled(i) {
					continue
				}
				if v, ok := figure(literal(s.Doc.At(pointer))); ok && (v > 0 || m.factor == 0) {
					values, sorted = append(values, value{s, pointer, v}), append(sorted, v)
				}
			}
		}
		if len(values) < fewMeasures {
			continue
		}
		slices.Sort(sorted)
		median := sorted[len(sorted)/2]
		values = slices.DeleteFunc(values, func(v value) bool { return !m.far(v.v, median) })
		if len(values)*commonShare > len(sorted) {
			continue // there is no usual value
		}
		for _, v := range values[:min(len(values), mostOdd)] {
			how := "far from"
			if m.factor > 0 {
				how = fmt.Sprintf("more than %g times, or less than 1/%g of,", m.factor, m.factor)
			}
			c.report(v.s, v.pointer, "value.odd", Warning, fmt.Sprintf("%s is %s what nearly all others of this "+
				"folder have: check its decimal sign, its digits and its unit", m.what, how))
		}
	}
}

// filled reports whether the volume of the i-th tube should be that of the others, and is
// compared with nothing else.
func (s *Session) filled(i int) bool {
	t := entries(s.Doc, "tubes")[i]
	switch t.Member("role").text() {
	case "", "sample", "duplicate":
		return t.Member("nominal_ml") == nil && (s.Outcome == "complete" || s.Outcome == "")
	}
	return false
}
