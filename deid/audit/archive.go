package audit

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"outbreath/deid/attack"
)

// archive examines what the archive reveals apart from the contents of its files.
func (e *examiner) archive() Attack {
	a := Attack{Name: "times and owners in the archive", Unit: "files",
		Knows: "the opened archive: times, owners, permissions and names of its files"}
	if !e.o.Archive {
		a.Verdict, a.Detail, a.Lacks = NotRun, "there is no archive before sealing", LacksArchive
		return a
	}
	bad := func(f Entry, code, what string) {
		e.is.add(code, true, f.Name, what, stop)
		a.Succeeded++
	}
	for _, f := range e.o.Files {
		a.Tried++
		first := e.o.Files[0]
		switch {
		case !f.ModTime.Equal(first.ModTime) || f.ModTime.Year() > 1980: // the oldest year of common file systems
			bad(f, "archive.time", "the archive reveals when this file was written")
		case f.UID != 0 || f.GID != 0 || f.Owner != "" && f.Owner != "root" || f.Group != "" && f.Group != "root":
			bad(f, "archive.owner", "the archive reveals an account of the site's computer")
		case f.Mode != first.Mode:
			bad(f, "archive.mode", "the permissions of this file differ from the others'")
		}
	}
	a.Verdict = Holds
	if a.Succeeded > 0 {
		a.Verdict = Broken
	}
	a.Detail = "every file must have the same time, owner and permissions"
	return a
}

// order tests whether the order of the files reveals the order of the visits, or that
// of the roster.
//
// The order of numbers in the records is another matter: by are the attacks that use it.
func (e *examiner) order(by []*attack.Attack) Attack {
	a := Attack{Name: "order of the files", Unit: "pairs of neighbouring records",
		Knows: "the order of the records"}
	var days []float64
	var rows []float64
	at := map[string]int{}
	if e.in.Roster != nil {
		for i, row := range e.in.Roster.Rows {
			at[identity(row["subject_id"])] = i
		}
	}
	byName := map[string]*Record{}
	for _, r := range e.o.Records {
		byName[r.Name] = r
	}
	for _, f := range e.o.Files {
		r := byName[f.Name]
		if r == nil {
			continue
		}
		t := r.Started
		if s := e.in.Source[r.Session]; s != nil {
			t = s.Started
		}
		days = append(days, float64(t.Unix()))
		if row, ok := at[identity(e.in.SubjectOf[r.Subject])]; ok {
			rows = append(rows, float64(row))
		}
	}
	if len(days) < fewestOrdered {
		a.Verdict, a.Detail = NotRun, "there are too few records to distinguish an order from chance"
		return a
	}
	a.Tried = int64(len(days) - 1)
	a.Chance = float64(len(days)-1) / 2
	var follows []string
	if ordered(days) {
		follows = append(follows, "the visits")
	}
	if len(rows) == len(days) && ordered(rows) {
		follows = append(follows, "the roster")
	}
	for i := 1; i < len(days); i++ {
		if days[i] > days[i-1] {
			a.Succeeded++
		}
	}
	if !slices.IsSortedFunc(e.o.Files, func(x, y Entry) int { return strings.Compare(x.Name, y.Name) }) &&
		!e.o.Archive {
		follows = append(follows, "something other than the names")
	}
	a.Verdict = Holds
	if len(follows) > 0 {
		a.Verdict = Broken
		e.is.add("archive.order", true, "",
			"the order of the records follows that of "+strings.Join(follows, " and "), stop)
	}
	a.Detail = fmt.Sprintf("the records are in the order of their pseudonyms; success is a record that is later than "+
		"the one before it, and %.1f are expected by chance", a.Chance)
	if used := numbersInOrder(by); len(used) > 0 {
		if a.Verdict == Holds {
			a.Verdict = Residual
		}
		a.Detail += "; but numbers that leave are in the order of the visits, by which the records can be sorted: " +
			strings.Join(used, ", ")
	}
	return a
}

// numbersInOrder returns the fields whose numbers an attack found to be in the order of the
// visits. How they were in order, such as "(in stacks of 4)", is left out: the field is the same.
func numbersInOrder(by []*attack.Attack) []string {
	set := map[string]bool{}
	for _, a := range by {
		for _, f := range a.Orders {
			field, _, _ := strings.Cut(f, " (")
			set[field] = true
		}
	}
	return slices.Sorted(maps.Keys(set))
}

// fewestOrdered is the least number of records for which an order can be distinguished
// from chance: nine records are in a given order or its reverse by chance once in
// 180,000 times.
const fewestOrdered = 9

// ordered reports whether x rises or falls with its index, by Kendall's tau: entirely,
// or to a degree that chance reaches less than once in a million. It uses every n-th
// value if there are more than 2,000, because the time grows with the square.
func ordered(x []float64) bool {
	if len(x) > 2000 {
		step := len(x) / 2000
		var some []float64
		for i := 0; i < len(x); i += step + 1 {
			some = append(some, x[i])
		}
		x = some
	}
	n := float64(len(x))
	score, ties := 0.0, 0.0
	for i := range x {
		for j := range i {
			switch {
			case x[i] > x[j]:
				score++
			case x[i] < x[j]:
				score--
			default:
				ties++
			}
		}
	}
	most := n*(n-1)/2 - ties
	if n < fewestOrdered || most < n {
		return false
	}
	// Variance of Kendall's score without ties: n(n-1)(2n+5)/18.
	return math.Abs(score) == most || math.Abs(score)/math.Sqrt(n*(n-1)*(2*n+5)/18) > 5
}
