package schema

import (
	"fmt"
	"slices"
	"strings"
)

// Values that stand in the wrong column of their row.

// rowCodes are the columns whose values may be written in each other's place. Those that
// are repeated have values by which they are known; all have a form.
var rowCodes = []struct {
	pointer, what string
	repeated      bool
}{
	{"/kit/lot", "lot", true},
	{"/kit/unit", "unit", false},
	{"/sampler/serial", "serial", true},
	{"/sampler/firmware", "firmware", true},
	{"/operator", "operator", true},
	{"/tubes/0/barcode", "barcode", false},
	{"/tubes/0/position", "position", true},
	{"/tubes/0/sorbent", "sorbent", true},
	{"/tubes/1/barcode", "barcode", false},
	{"/tubes/1/position", "position", true},
	{"/tubes/1/sorbent", "sorbent", true},
}

// A usage is what a column holds: how often each value, and each form.
type usage struct {
	all           int
	values, forms map[string]int
}

func (u *usage) own(text string) bool { // the value has no other like it in its column
	return u.values[strings.ToLower(text)] == 1
}

func formOf(text string) string {
	_, look := runs(text)
	return squeezed(look)
}

// foreign reports two values of one row that stand in each other's column, and one that is
// what another column repeats.
func (c *Collection) foreign() {
	used := make([]usage, len(rowCodes))
	for i, col := range rowCodes {
		used[i] = usage{values: make(map[string]int), forms: make(map[string]int)}
		for _, v := range c.column(col.pointer) {
			used[i].all++
			used[i].values[strings.ToLower(v.text)]++
			used[i].forms[formOf(v.text)]++
		}
	}
	// fits reports whether a value of column i is like those of column j and not of its own.
	fits := func(i, j int, text string) bool {
		if used[i].all < fewSessions || used[j].all < fewSessions || !used[i].own(text) {
			return false
		}
		if rowCodes[j].repeated && used[j].values[strings.ToLower(text)] >= fewSessions-1 {
			return true
		}
		form := formOf(text)
		return used[i].forms[form] == 1 && used[j].forms[form]*2 > used[j].all
	}
	said, done := 0, make(map[*Session]bool)
	for _, s := range c.Sessions {
		for i, a := range rowCodes {
			for j := i + 1; j < len(rowCodes) && said < mostOdd; j++ {
				b := rowCodes[j]
				one, two := literal(s.Doc.At(a.pointer)), literal(s.Doc.At(b.pointer))
				if one == "" || two == "" || a.what == b.what || !fits(i, j, one) || !fits(j, i, two) {
					continue
				}
				said++
				done[s] = true
				c.report(s, a.pointer, "column.exchanged", Warning, fmt.Sprintf("%s and %s of this row are perhaps in "+
					"each other's place: each is like the %s and the %s of the other sessions, so look at the label, "+
					"and exchange the two", a.what, b.what, b.what, a.what))
			}
		}
	}
	c.borrowedCodes(used, done)
}

// borrowedCodes reports a code that is a subject_id of the roster, or what another column
// repeats. What is in done has been said to have two of its codes exchanged.
func (c *Collection) borrowedCodes(used []usage, done map[*Session]bool) {
	told := c.told()
	ids := make(map[string]bool)
	for _, row := range c.Roster.Rows {
		if id, err := Canonical(row["subject_id"]); err == nil {
			ids[id] = true
		}
	}
	for i, col := range rowCodes {
		if col.what == "barcode" || col.what == "position" {
			continue // see borrowedBarcodes
		}
		for _, v := range c.column(col.pointer) {
			id, err := Canonical(v.text)
			what := ""
			for j, other := range rowCodes {
				if other.what != col.what && other.repeated && other.what != "position" && len(v.text) > shortRun &&
					used[i].own(v.text) && used[i].all >= fewSessions &&
					used[j].values[strings.ToLower(v.text)] >= fewSessions-1 {
					what = "the " + other.what + " of other sessions"
				}
			}
			// a mere number may be both
			mere := digitsOnly(v.text) && used[i].forms[formOf(v.text)]*2 > used[i].all
			if err == nil && ids[id] && len(v.text) > shortRun && !mere {
				what = "a subject_id of the roster"
			}
			if what == "" || done[v.s] || told[[2]string{v.s.File, v.pointer}] {
				continue
			}
			c.report(v.s, v.pointer, "code.borrowed", Warning, "this "+col.what+" is "+what+": it was perhaps written "+
				"into the wrong column, so look at the notes taken at the time, and correct it")
		}
	}
}

func digitsOnly(text string) bool {
	return !strings.ContainsFunc(text, func(r rune) bool { return r < '0' || r > '9' })
}

// numberPairs are numbers of one row that may be written in each other's place.
var numberPairs = [][2]string{
	{"/tubes/*/volume_ml", "/tubes/*/flow_start_ml_min"},
	{"/tubes/*/volume_ml", "/tubes/*/flow_end_ml_min"},
	{"/tubes/*/volume_ml", "/tubes/*/cycles"},
	{"/tubes/*/nominal_ml", "/tubes/*/cycles"},
	{"/tubes/*/nominal_ml", "/tubes/*/flow_start_ml_min"},
	{"/tubes/*/flow_start_ml_min", "/tubes/*/cycles"},
	{"/tubes/*/flow_end_ml_min", "/tubes/*/gate_kpa"},
	{"/tubes/*/flow_start_ml_min", "/tubes/*/gate_kpa"},
}

// exchangedNumbers reports two numbers of a row each of which lies among those of the other
// column, while the columns have otherwise nothing in common.
func (c *Collection) exchangedNumbers() {
	type row struct {
		s    *Session
		at   string
		a, b float64
	}
	name := func(p string) string { return p[strings.LastIndexByte(p, '/')+1:] }
	for _, pair := range numberPairs {
		var rows []row
		var as, bs []float64
		for _, s := range c.Sessions {
			first, second := s.pointers(pair[0]), s.pointers(pair[1])
			for i := range first {
				a, ok := figure(literal(s.Doc.At(first[i])))
				b, both := figure(literal(s.Doc.At(second[i])))
				if ok && both {
					rows, as, bs = append(rows, row{s, first[i], a, b}), append(as, a), append(bs, b)
				}
			}
		}
		if len(rows) < fewHabit {
			continue
		}
		slices.Sort(as)
		slices.Sort(bs)
		said := 0
		for _, r := range rows {
			lowA, highA := others(as, r.a)
			lowB, highB := others(bs, r.b)
			if lowA <= highB && lowB <= highA || !near(r.a, lowB, highB) || !near(r.b, lowA, highA) || said == mostOdd {
				continue
			}
			said++
			c.report(r.s, r.at, "column.exchanged", Warning, fmt.Sprintf("%s and %s of this row are perhaps in each "+
				"other's place: each lies among the values of the other column, so look at the notes taken at the "+
				"time, and exchange the two", name(pair[0]), name(pair[1])))
		}
	}
}

// others returns the least and the greatest of sorted numbers without one of them.
func others(sorted []float64, one float64) (low, high float64) {
	low, high = sorted[0], sorted[len(sorted)-1]
	switch one {
	case low:
		low = sorted[1]
	case high:
		high = sorted[len(sorted)-2]
	}
	return low, high
}

// near reports whether v lies between two numbers, or a tenth beside them.
func near(v, low, high float64) bool { return v >= low*0.9 && v <= high*1.1 }
