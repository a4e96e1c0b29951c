package audit

import (
	"math"
	"strings"
	"testing"
)

// Lists are sets of items: three subjects with three lists, all of which hold "b", tell
// that each has b. Worked by hand.
func TestListsAreItems(t *testing.T) {
	for _, c := range []struct {
		lines string
		l     int
		t     float64
		items bool
	}{
		{"1 x a+b\n2 x b\n3 x b+c\n4 y d\n5 y e\n6 y f", 1, 0.5, true},       // b: 1 of x, half of all
		{"1 x a+b\n2 x b+c\n3 x c+a\n4 y a\n5 y b\n6 y c", 3, 1.0 / 2, true}, // lists of x do not occur in y
		{"1 x a\n2 x b\n3 y a\n4 y b", 2, 0, false},
		{"1 x a\n2 x a\n3 y a\n4 y b", 1, 0.25, false},
	} {
		tab := table(1, 1, c.lines)
		for i := range tab.Rows {
			v := &tab.Rows[i].Sensitive[0]
			*v = strings.ReplaceAll(*v, "+", valueSep)
		}
		r := Measure(tab, nil)
		d := r.Sensitive[0]
		if r.L != c.l || d.L != c.l || math.Abs(d.T-c.t) > 1e-12 || d.Items != c.items {
			t.Errorf("%q: l %d, t %v, items %v; want %d, %v, %v", c.lines, d.L, d.T, d.Items, c.l, c.t, c.items)
		}
	}
}
