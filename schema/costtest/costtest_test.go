package costtest

import (
	"strings"
	"testing"
	"time"
)

// Work counts and waiting does not: that is what the figures are for.
func TestWaitingCostsNothing(t *testing.T) {
	work := func(n int) func() {
		return func() {
			for range n {
				if strings.Count(strings.Repeat("ab ", 1<<16), "b") != 1<<16 {
					t.Error("counted wrong")
				}
			}
		}
	}
	one, eight := Least(3, work(100)), Least(3, work(800))
	if one <= 0 || eight < 3*one || eight > 24*one {
		t.Errorf("%v for some work, %v for eight times as much", one, eight)
	}
	if waited := InUnits(Of(func() { time.Sleep(20 * unit()) })); waited > 10 {
		t.Errorf("waiting counts as %.1f units", waited)
	}
}
