package reach

import (
	"math"

	"outbreath/schema"
)

// A Level is one way to treat a field.
type Level struct {
	Treatment schema.Treatment
	Values    int     // distinct values among the subjects
	Bits      float64 // entropy of the values, in bits

	of   []uint32 // the value at this level, by value of the field now
	loss float64  // bits of a subject, in the mean
}

// An Axis is a field with the ways to treat it.
type Axis struct {
	Field  schema.Field
	Levels []Level // the present treatment first; then ordered by loss

	rows   []uint32  // the value now, by row
	counts []int     // rows of each value now
	all    []float64 // bits that a row of each value now loses when it is left out
}

// NewAxis returns the axis of field f. now holds the value of every subject as it leaves now.
// value returns that of the subject in a row under a coarser treatment, false if the treatment
// does not apply to it.
//
// A treatment counts as coarser only if equal values stay equal: otherwise two shipments, one
// under each plan, would together tell more than either.
func NewAxis(f schema.Field, now []string, value func(row int, t schema.Treatment) (string, bool)) Axis {
	a := Axis{Field: f, rows: make([]uint32, len(now))}
	code := map[string]uint32{}
	for r, v := range now {
		c := number(code, v)
		if int(c) == len(a.counts) {
			a.counts = append(a.counts, 0)
		}
		a.rows[r] = c
		a.counts[c]++
	}
	n := float64(len(now))
	for _, c := range a.counts {
		a.all = append(a.all, math.Log2(n/float64(c)))
	}
	same := make([]uint32, len(a.counts))
	for i := range same {
		same[i] = uint32(i)
	}
	a.Levels = []Level{a.level(f.Treatment, same, len(same))}
	for _, t := range coarser(f, now) {
		if of, values, ok := a.values(t, value); ok {
			a.add(a.level(t, of, values))
		}
	}
	return a
}

// values returns the value that t makes of every value now, false if t does not apply or
// separates equal values.
func (a *Axis) values(t schema.Treatment, value func(int, schema.Treatment) (string, bool)) ([]uint32, int, bool) {
	of := make([]uint32, len(a.counts))
	if t.Kind == schema.Drop {
		return of, 1, true
	}
	seen := make([]bool, len(a.counts))
	code := map[string]uint32{}
	for r, now := range a.rows {
		v, ok := value(r, t)
		if !ok {
			return nil, 0, false
		}
		c := number(code, v)
		if seen[now] && of[now] != c {
			return nil, 0, false
		}
		of[now], seen[now] = c, true
	}
	return of, len(code), true
}

func (a *Axis) level(t schema.Treatment, of []uint32, values int) Level {
	l := Level{Treatment: t, of: of, Values: values}
	counts := make([]int, values)
	for now, c := range a.counts {
		counts[of[now]] += c
	}
	n := float64(len(a.rows))
	for now, c := range a.counts {
		l.loss += float64(c) / n * math.Log2(float64(counts[of[now]])/float64(c))
	}
	for _, c := range counts {
		l.Bits += float64(c) / n * math.Log2(n/float64(c))
	}
	return l
}

// add adds a level in its place by loss, unless one with the same classes is there already. Where
// all subjects have one value, the removal of the field takes that place: it tells as much of
// them, and nothing of those who come later.
func (a *Axis) add(l Level) {
	at := len(a.Levels)
	for i, o := range a.Levels {
		if o.Values == l.Values && sameClasses(o.of, l.of) {
			if i > 0 && l.Treatment.Kind == schema.Drop {
				a.Levels[i] = l
			}
			return
		}
		if i > 0 && l.loss < o.loss && at == len(a.Levels) {
			at = i
		}
	}
	a.Levels = append(a.Levels[:at], append([]Level{l}, a.Levels[at:]...)...)
}

// sameClasses reports whether two levels with as many values put the same values together.
func sameClasses(a, b []uint32) bool {
	to := map[uint32]uint32{}
	for i, x := range a {
		if y, ok := to[x]; ok && y != b[i] {
			return false
		}
		to[x] = b[i]
	}
	return true
}

// lost returns the bits that a row of each value now loses at level l.
func (a *Axis) lost(l int) []float64 {
	counts := make([]int, a.Levels[l].Values)
	for now, c := range a.counts {
		counts[a.Levels[l].of[now]] += c
	}
	lost := make([]float64, len(a.counts))
	for now, c := range a.counts {
		lost[now] = math.Log2(float64(counts[a.Levels[l].of[now]]) / float64(c))
	}
	return lost
}
