package audit

import (
	"math"
	"strings"
)

// itemShares returns for each item of sensitive field i the share of the given rows that
// have it, and whether any of them has more than one: a list, or sessions that differ.
func (t *Table) itemShares(rows []int, i int) (share map[string]float64, several bool) {
	share = map[string]float64{}
	for _, r := range rows {
		items := strings.Split(t.Rows[r].Sensitive[i], valueSep)
		several = several || len(items) > 1
		for _, item := range items {
			share[item] += 1 / float64(len(rows))
		}
	}
	return share, several
}

// diverseItems corrects the figures of a field whose values are lists. Two lists may differ
// and still tell the same: an item that all subjects of a class have is known of each, so
// that class has l = 1. And the share of a class that has an item tells how much more is
// known of it than from the whole table.
//
// The reading of l for sets follows Machanavajjhala et al. 2007, where l = 1 is a class that
// gives its value away; that of t, with each item as an attribute of its own, is ours.
func (t *Table) diverseItems(classes [][]int, i int, d *Diversity) {
	all := make([]int, len(t.Rows))
	for r := range all {
		all[r] = r
	}
	whole, several := t.itemShares(all, i)
	if d.Items = several; !several {
		return
	}
	const rounding = 1e-9
	for _, rows := range classes {
		share, _ := t.itemShares(rows, i)
		for item, p := range whole {
			d.T = max(d.T, math.Abs(share[item]-p))
			if item != "" && share[item] >= 1-rounding {
				d.L, d.EntropyL = 1, 1
			}
		}
	}
}
