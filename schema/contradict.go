package schema

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Facts of a folder that contradict each other.

// contradictions reports them.
func (c *Collection) contradictions() {
	c.lonelyDuplicates()
	c.smoking()
	c.conditioned()
	c.heated()
}

// lonelyDuplicates reports duplicates in a session without the sample that they repeat.
func (c *Collection) lonelyDuplicates() {
	for _, s := range c.Sessions {
		first, samples := -1, 0
		for i, t := range entries(s.Doc, "tubes") {
			switch t.Member("role").text() {
			case "", "sample":
				samples++
			case "duplicate":
				if first < 0 {
					first = i
				}
			}
		}
		if first >= 0 && samples == 0 {
			c.report(s, fmt.Sprintf("/tubes/%d/role", first), "tube.duplicate", Warning, "this session has a "+
				"duplicate and no sample that it repeats: find out which tube is the sample, and correct its role, "+
				"or the session of the tube")
		}
	}
}

// smoking reports "never" of a subject of whom another session says "former" or "current".
func (c *Collection) smoking() {
	const at = "/subject/smoking_status"
	ever := make(map[string]*Session)
	for _, s := range c.Sessions {
		if text := literal(s.Doc.At(at)); text == "former" || text == "current" {
			if id, err := Canonical(s.Subject); err == nil && ever[id] == nil {
				ever[id] = s
			}
		}
	}
	for _, s := range c.Sessions {
		id, err := Canonical(s.Subject)
		if err != nil || ever[id] == nil || literal(s.Doc.At(at)) != "never" {
			continue
		}
		c.report(s, at, "subject.changed", Warning, fmt.Sprintf("never contradicts %s, of the same subject: find out "+
			"who was sampled and correct subject_id, or correct the value that is wrong", ever[id].at(at)))
	}
}

// By how much the time of a tube since it was cleaned may differ from that of all others
// (common practice, no source).
const (
	sameBatch  = 20 * 24 * time.Hour
	batchRange = 3 // times what all others differ by
)

// conditioned reports tubes that were cleaned long before or after all others.
func (c *Collection) conditioned() {
	type cleaned struct {
		cell
		at time.Time
	}
	var all []cleaned
	for _, v := range c.column("/tubes/*/conditioned_at") {
		if at, ok := parseTime(v.text); ok {
			all = append(all, cleaned{v, at})
		}
	}
	if len(all) < fewMeasures {
		return
	}
	slices.SortStableFunc(all, func(a, b cleaned) int { return a.at.Compare(b.at) })
	told := c.told()
	most := max(1, len(all)/10)
	tell := func(odd []cleaned, gap time.Duration) {
		for _, v := range odd {
			if told[[2]string{v.s.File, v.pointer}] {
				continue
			}
			c.report(v.s, v.pointer, "tube.batch", Warning,
				fmt.Sprintf("this date lies %d days away from those of all "+
					"other tubes: check its year, month and day, because the laboratory judges by it whether the tube "+
					"was clean", int(gap.Hours()/24)))
		}
	}
	for k := 1; k <= most; k++ {
		n := len(all)
		if gap := all[k].at.Sub(all[k-1].at); gap > max(sameBatch, batchRange*all[n-1].at.Sub(all[k].at)) {
			tell(all[:k], gap)
			return
		}
		if gap := all[n-k].at.Sub(all[n-k-1].at); gap > max(sameBatch, batchRange*all[n-k-1].at.Sub(all[0].at)) {
			tell(all[n-k:], gap)
			return
		}
	}
}

// How far the heatings of one tube may lie above those of all others (common practice, no
// source).
const (
	heatedFactor = 5
	heatedFrom   = 100
)

// heated reports a number of heatings far above all others: a digit too much.
func (c *Collection) heated() {
	type count struct {
		cell
		n float64
	}
	var all []count
	for _, v := range c.column("/tubes/*/cycles") {
		if n, ok := figure(v.text); ok {
			all = append(all, count{v, n})
		}
	}
	slices.SortStableFunc(all, func(a, b count) int { return cmp.Compare(a.n, b.n) })
	if len(all) < fewMeasures {
		return
	}
	if last, next := all[len(all)-1], all[len(all)-2]; last.n >= heatedFrom && last.n > heatedFactor*next.n {
		c.report(last.s, last.pointer, "value.odd", Warning, fmt.Sprintf("cycles is more than %d times that of any "+
			"other tube of this folder: check its digits", heatedFactor))
	}
}
