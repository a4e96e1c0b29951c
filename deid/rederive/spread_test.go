package rederive

import (
	"math"
	"math/rand/v2"
	"testing"
)

// evenly returns n points whose shifts a function makes of random numbers.
func evenly(n int, r *rand.Rand, shift func(p point) float64) []point {
	var list []point
	for i := range n {
		p := point{birth: float64(700_000 + r.IntN(25_000)), order: float64(i), id: float64(r.IntN(n))}
		p.shift = shift(p)
		list = append(list, p)
	}
	return list
}

// compared runs the tests of the shifts on points, and returns the names of those that fail.
func compared(points []point) (failed []string, tested int) {
	r := &Result{}
	judge(r, points)
	for _, s := range r.Spread {
		if s.Tested {
			tested++
			if !s.OK {
				failed = append(failed, s.Name)
			}
		}
	}
	return failed, tested
}

// Even shifts pass at the stated level: of 2,000 collections with seven tests each,
// fewer than 0.14 false alarms are expected, and more than two would be no chance.
func TestEvenShiftsPass(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	alarms := 0
	for range 2000 {
		failed, tested := compared(evenly(20+r.IntN(200), r, func(point) float64 { return float64(1 + r.IntN(364)) }))
		if tested < 6 {
			t.Fatal("too few tests")
		}
		alarms += len(failed)
	}
	if alarms > 2 {
		t.Errorf("%d false alarms", alarms)
	}
}

func TestUnevenShiftsAreFound(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	some := func() float64 { return float64(1 + r.IntN(364)) }
	for name, f := range map[string]func(point) float64{
		"one day":              func(point) float64 { return 1 },
		"a month":              func(point) float64 { return float64(1 + r.IntN(30)) },
		"half a year":          func(point) float64 { return float64(1 + r.IntN(182)) },
		"whole weeks":          func(point) float64 { return float64(7 * (1 + r.IntN(52))) },
		"of the birth date":    func(p point) float64 { return 1 + math.Mod(p.birth/68.7, 364) },
		"of the day of birth":  func(p point) float64 { return 1 + dayInYear(p.birth)/1231*363 },
		"of the identifier":    func(p point) float64 { return 1 + math.Mod(3*p.id, 364) },
		"of the order":         func(p point) float64 { return 1 + math.Mod(3*p.order, 364) },
		"beyond the range":     func(point) float64 { return some() + 200 },
		"none":                 func(point) float64 { return 0 },
		"later instead":        func(point) float64 { return -some() },
		"two years":            func(point) float64 { return 1 + float64(r.IntN(728)) },
		"around half the year": func(point) float64 { return 150 + float64(r.IntN(60)) },
	} {
		if failed, _ := compared(evenly(121, r, f)); len(failed) == 0 {
			t.Errorf("%s: not found", name)
		}
	}
}

// With few subjects nothing is said about their distribution.
func TestFewShiftsAreNotTested(t *testing.T) {
	r := &Result{}
	judge(r, evenly(leastSubjects-1, rand.New(rand.NewPCG(5, 6)), func(point) float64 { return 1 }))
	if len(r.Mismatches) > 0 || len(r.NotTested) != 1 {
		t.Errorf("%v, %v", r.Mismatches, r.NotTested)
	}
	for _, s := range r.Spread {
		if s.Tested != (s.Least == 1) || s.OK && !s.Tested {
			t.Errorf("%+v", s)
		}
	}
}

// Source of the critical values: Abramowitz and Stegun, 26.2.17 and 26.4.6, from memory;
// here by numerical integration of the densities.
func TestCriticalValues(t *testing.T) {
	tail := 0.0
	for x := normal5; x < 12; x += 1e-5 {
		tail += 1e-5 * math.Exp(-x*x/2) / math.Sqrt(2*math.Pi)
	}
	if math.Abs(2*tail/level-1) > 1e-3 {
		t.Errorf("beyond %v lie %v", normal5, 2*tail)
	}
	half := chiSquare6 / 2.0
	if p := math.Exp(-half) * (1 + half + half*half/2); math.Abs(p/level-1) > 1e-4 {
		t.Errorf("beyond %v lie %v", chiSquare6, p)
	}
	if rho := spearman([]point{{shift: 1, id: 1}, {shift: 2, id: 3}, {shift: 3, id: 2}, {shift: 4, id: 4}},
		func(p point) float64 { return p.id }); math.Abs(rho-0.8) > 1e-12 { // 1 - 6*2/(4*15)
		t.Errorf("rank correlation %v", rho)
	}
}
