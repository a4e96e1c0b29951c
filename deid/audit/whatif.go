package audit

import (
	"cmp"
	"math"
	"slices"

	"outbreath/deid/reach"
	"outbreath/schema"
)

// A WhatIf is the effect of treating fields more coarsely.
type WhatIf struct {
	Change        []string `json:"change"` // in words, one for each changed field; empty: no change
	Paste         []Paste  `json:"paste"`  // the same for the plan
	Lost          []string `json:"lost"`   // the same, with what is lost
	K             int      `json:"k"`
	Unique        int      `json:"unique"`
	BelowFive     int      `json:"below_five"` // subjects in classes of fewer than five
	ProsecutorMax float64  `json:"prosecutor_max"`
	Mean          float64  `json:"prosecutor_mean"`
	Loss          float64  `json:"loss_bits"` // detail lost: bits of entropy per subject, summed over fields
}

// A Paste is the line that gives one field of a plan another treatment.
type Paste struct {
	Field string `json:"field"` // its path
	Line  string `json:"line"`  // for the field's schema: `"deid": {"age-band": 10}`
}

// A Choice lists the effects that [Consider] computed. With Tried 0 nothing was computed.
type Choice struct {
	Now WhatIf `json:"now"`
	// Single holds changes of one field, ordered by loss, and only those after which nobody is
	// alone in a class.
	Single []WhatIf `json:"single"`
	// Suggestions lose the least detail of all changes that reach a k of 2, 3, 5 or 11 (see
	// package reach). They are ordered by k and by loss.
	Suggestions []WhatIf `json:"suggestions"`
	Tried       int      `json:"tried"` // choices of treatments, the present one included
	// Cut: the search for a suggestion took too long, so that one with less loss may exist.
	Cut bool `json:"cut,omitempty"`
}

// suggested are the sizes of the smallest class for which changes are suggested. 11 and 5 are
// those of the thresholds; 2 leaves nobody alone.
var suggested = []int{2, 3, 5, SmallCell}

// considerWork bounds each search: see [reach.Table].
const considerWork = 100_000_000

// Consider computes the effect of wider bands, coarser regions, coarser rounding and of dropping
// a field. It works on the values as they leave, so that it needs no source.
func Consider(t *Table) *Choice {
	c := &Choice{Single: []WhatIf{}, Suggestions: []WhatIf{}}
	if len(t.Rows) == 0 || len(t.Quasi) == 0 {
		return c
	}
	lattice := t.lattice()
	now := make([]int, len(lattice.Axes))
	c.Now, c.Tried = effect(lattice, now), 1
	for i, a := range lattice.Axes {
		widths := map[schema.Treatment]bool{}
		for l := 1; l < len(a.Levels); l++ {
			width := schema.Treatment{Kind: a.Levels[l].Treatment.Kind, Width: a.Levels[l].Treatment.Width}
			if widths[width] {
				continue // the same width with narrower ends
			}
			widths[width] = true
			levels := slices.Clone(now)
			levels[i] = l
			c.Tried++
			if w := effect(lattice, levels); w.K > 1 {
				c.Single = append(c.Single, w)
			}
		}
	}
	slices.SortStableFunc(c.Single, func(a, b WhatIf) int { return cmp.Compare(a.Loss, b.Loss) })
	for _, k := range suggested {
		if len(c.Suggestions) > 0 && c.Suggestions[len(c.Suggestions)-1].K >= k || c.Now.K >= k || len(t.Rows) < k {
			continue
		}
		r := reach.Search(lattice, reach.Target{K: k}, 0)
		c.Tried += r.Tried
		c.Cut = c.Cut || r.Cut
		if r.Reached {
			c.Suggestions = append(c.Suggestions, effect(lattice, r.Levels))
		}
	}
	return c
}

// lattice returns the ways to treat the quasi-identifiers of t more coarsely.
func (t *Table) lattice() *reach.Table {
	lattice := &reach.Table{Work: considerWork}
	for i, f := range t.Quasi {
		values := make([]string, len(t.Rows))
		for r, row := range t.Rows {
			values[r] = row.Quasi[i]
		}
		field := schema.Field{Path: f.Path, Treatment: f.treatment()}
		lattice.Axes = append(lattice.Axes, reach.NewAxis(field, values,
			func(r int, coarser schema.Treatment) (string, bool) {
				return reach.Retreated(values[r], field.Treatment, coarser)
			}))
	}
	return lattice
}

// effect measures one choice of levels.
func effect(lattice *reach.Table, levels []int) WhatIf {
	w := WhatIf{Change: []string{}, Paste: []Paste{}, Lost: []string{}}
	for i, l := range levels {
		if l > 0 {
			a := &lattice.Axes[i]
			then := a.Levels[l].Treatment
			w.Change = append(w.Change, reach.Say(a.Field.Path, then))
			w.Paste = append(w.Paste, Paste{a.Field.Path, reach.Line(then)})
			w.Lost = append(w.Lost, a.Lost(l))
		}
	}
	sizes, loss := lattice.Sizes(levels)
	w.Loss = max(0, math.Round(loss*1000)/1000)
	n := 0
	for i, s := range sizes {
		n += s
		if i == 0 || s < w.K {
			w.K = s
		}
		if s == 1 {
			w.Unique++
		}
		if s < 5 {
			w.BelowFive += s
		}
	}
	w.ProsecutorMax = 1 / float64(w.K)
	w.Mean = float64(len(sizes)) / float64(n)
	return w
}
