package audit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"outbreath/schema"
)

// A WhatIf is the effect of treating fields more coarsely.
type WhatIf struct {
	Change        []string `json:"change"` // in words, one for each changed field; empty: no change
	K             int      `json:"k"`
	Unique        int      `json:"unique"`
	BelowFive     int      `json:"below_five"` // subjects in classes of fewer than five
	ProsecutorMax float64  `json:"prosecutor_max"`
	Mean          float64  `json:"prosecutor_mean"`
	Loss          float64  `json:"loss_bits"` // detail lost: bits of entropy per subject, summed over fields
}

// A Choice lists the effects that [Consider] computed.
type Choice struct {
	Now    WhatIf   `json:"now"`
	Single []WhatIf `json:"single"` // one field changed, ordered by loss
	// Suggestions are ordered by loss. Each has a greater k, or clearly fewer unique
	// subjects, than all that lose less.
	Suggestions []WhatIf `json:"suggestions"`
	Tried       int      `json:"tried"` // combinations, the present treatment included
}

// A level is one way to treat a field: its description, and the value of each row.
type level struct {
	say   string
	codes []uint32 // by row; equal values have equal codes
	bits  float64  // entropy of the values
}

// maxCombinations bounds the search. With more combinations, at most two fields are
// changed at a time.
const maxCombinations = 4000

// Consider computes the effect of wider bands, coarser regions, coarser rounding and
// of dropping a field, of each alone and of their combinations.
func Consider(t *Table) *Choice {
	c := &Choice{Single: []WhatIf{}, Suggestions: []WhatIf{}}
	if len(t.Rows) == 0 || len(t.Quasi) == 0 {
		return c
	}
	fields := make([][]level, len(t.Quasi))
	combinations := 1
	for i, f := range t.Quasi {
		fields[i] = t.levels(i, f)
		combinations *= len(fields[i])
		if combinations > maxCombinations {
			combinations = maxCombinations + 1
		}
	}
	most := len(fields)
	if combinations > maxCombinations {
		most = 2
	}
	var all []WhatIf
	picked := make([]int, len(fields))
	var walk func(i, changed int)
	walk = func(i, changed int) {
		if i == len(fields) {
			all = append(all, effect(fields, picked, len(t.Rows)))
			return
		}
		for l := range fields[i] {
			if l > 0 && changed == most {
				break
			}
			picked[i] = l
			walk(i+1, changed+min(l, 1))
		}
		picked[i] = 0
	}
	walk(0, 0)
	c.Now, c.Tried = all[0], len(all)
	slices.SortStableFunc(all, func(a, b WhatIf) int {
		return cmp.Or(cmp.Compare(a.Loss, b.Loss), cmp.Compare(len(a.Change), len(b.Change)))
	})
	bestK, fewest := c.Now.K, c.Now.Unique
	for _, w := range all {
		if len(w.Change) == 1 {
			c.Single = append(c.Single, w)
		}
		// Suggest a step only if k rises, or a quarter fewer subjects are unique.
		if w.K > bestK || w.K >= bestK && w.Unique < fewest-fewest/4 {
			bestK, fewest = w.K, w.Unique
			c.Suggestions = append(c.Suggestions, w)
		}
	}
	return c
}

// effect measures one combination.
func effect(fields [][]level, picked []int, n int) WhatIf {
	w := WhatIf{Change: []string{}}
	keys := make([]uint64, n)
	for i, l := range picked {
		if l > 0 {
			w.Change = append(w.Change, fields[i][l].say)
			w.Loss += fields[i][0].bits - fields[i][l].bits
		}
		for r, code := range fields[i][l].codes {
			keys[r] = (keys[r]^uint64(code))*0x9E3779B97F4A7C15 + uint64(i) // equal codes give equal keys
			keys[r] ^= keys[r] >> 29
		}
	}
	w.Loss = max(0, math.Round(w.Loss*1000)/1000)
	sizes := map[uint64]int{}
	for _, k := range keys {
		sizes[k]++
	}
	w.K = n
	for _, s := range sizes {
		w.K = min(w.K, s)
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

// levels returns the ways to treat field i: the present one first, then coarser ones,
// last its removal.
func (t *Table) levels(i int, f Field) []level {
	name := strings.ReplaceAll(f.Path[strings.LastIndexByte(f.Path, '/')+1:], "_", " ")
	list := []level{t.level(i, "", func(s string) string { return s })}
	add := func(say string, coarser func(string) string) {
		l := t.level(i, say, func(s string) string {
			parts := strings.Split(s, valueSep)
			for i := range parts {
				if parts[i] != "" {
					parts[i] = coarser(parts[i])
				}
			}
			slices.Sort(parts)
			return strings.Join(slices.Compact(parts), valueSep)
		})
		if l.bits < list[len(list)-1].bits { // otherwise it changes nothing
			list = append(list, l)
		}
	}
	treatment := f.treatment()
	width := treatment.Width
	switch treatment.Kind {
	case schema.AgeBand:
		for _, m := range []int{2, 4} {
			add(fmt.Sprintf("age in bands of %d years", width*m), func(s string) string { return wider(s, width*m) })
		}
	case schema.Round:
		for _, m := range []int{2, 4} {
			add(fmt.Sprintf("%s to the nearest %d", name, width*m),
				func(s string) string { return coarser(s, width*m) })
		}
	case schema.Region:
		for _, n := range []int{2, 1} {
			add(fmt.Sprintf("region of %s", map[int]string{1: "1 character", 2: "2 characters"}[n]),
				func(s string) string {
					return string([]rune(s)[:min(n, len([]rune(s)))])
				})
		}
	}
	add("without "+name, func(string) string { return "" })
	return list
}

// level returns the level that applies f to the values of field i.
func (t *Table) level(i int, say string, f func(string) string) level {
	l := level{say: say, codes: make([]uint32, len(t.Rows))}
	codes, counts := map[string]uint32{}, []int{}
	for r, row := range t.Rows {
		v := f(row.Quasi[i])
		code, ok := codes[v]
		if !ok {
			code = uint32(len(counts))
			codes[v] = code
			counts = append(counts, 0)
		}
		counts[code]++
		l.codes[r] = code
	}
	for _, c := range counts {
		p := float64(c) / float64(len(t.Rows))
		l.bits -= p * math.Log2(p)
	}
	return l
}

// wider returns the band of width years that contains the start of band ("45-49"). It
// returns "90+" unchanged, and no band extends beyond 89.
func wider(band string, width int) string {
	low, _, ok := strings.Cut(band, "-")
	n, err := strconv.Atoi(low)
	if !ok || err != nil {
		return band
	}
	n -= n % width
	return fmt.Sprintf("%d-%d", n, min(n+width-1, 89))
}

// coarser rounds number to the nearest multiple of width.
func coarser(number string, width int) string {
	x, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return number
	}
	w := float64(width)
	return strconv.FormatFloat(math.Round(x/w)*w, 'f', -1, 64)
}
