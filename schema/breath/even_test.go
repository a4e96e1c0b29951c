package breath

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// Samples taken together give the figures that they give one by one.
func TestAddEven(t *testing.T) {
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		one, together := NewMeter(), NewMeter()
		step := rapid.SampledFrom([]float64{0.001, 0.002, 0.005, 0.01, 0.02, 0.039, 0.04, 0.05, 0.1, 0.25,
			1}).Draw(t, "step")
		per := rapid.IntRange(1, 400).Draw(t, "samples a record")
		rate := rapid.Float64Range(6, 40).Draw(t, "breaths/min") / 60
		at := rapid.Float64Range(0, 1000).Draw(t, "start")
		for range rapid.IntRange(1, 40).Draw(t, "records") {
			if rapid.IntRange(0, 9).Draw(t, "odd") == 0 {
				at += rapid.Float64Range(-1, 8).Draw(t, "gap")
			}
			value := func(i int) float64 { // in the eighths that sums hold exactly
				return math.Round(8*(2.5-2.5*math.Cos(2*math.Pi*rate*(at+step*float64(i))))) / 8
			}
			for i := range per {
				one.Add(at+step*float64(i), value(i))
			}
			together.AddEven(at, step, per, func(i, j int) (sum float64) {
				for ; i < j; i++ {
					sum += value(i)
				}
				return sum
			})
			at += step * float64(per)
		}
		a, b := one.Figures(), together.Figures()
		// Where a step cannot be told from its rounding, the gap is that of the one or the other.
		if math.Abs(a.LongestGap-b.LongestGap) > 0.001 {
			t.Fatalf("gap %v, %v", a.LongestGap, b.LongestGap)
		}
		b.LongestGap = a.LongestGap
		if d := cmp.Diff(a, b, cmpopts.EquateNaNs()); d != "" {
			t.Fatalf("one by one and together:\n%s", d)
		}
		compared++
	})
	if compared == 0 {
		t.Fatal("nothing was compared")
	}
}
