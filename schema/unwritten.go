package schema

import (
	"cmp"
	"slices"
)

// An Unwritten record is one before it is a file.
type Unwritten struct {
	File  string                      // that it will be, "sessions/0001.json"
	Doc   *Node                       // valid by the plan
	Where func(pointer string) string // where a value was read, "sheet sessions, cell D4"; "" if not known
}

// Compared returns what only shows when records are held against each other, as [Load] says
// it once they are files. What concerns recordings and single records is not looked at. The
// messages name other records' values by Where.
func Compared(study *Study, plan *Plan, roster *Roster, records []Unwritten) []Problem {
	if roster == nil {
		roster = &Roster{}
	}
	c := &Collection{Study: study, Plan: plan, Roster: roster}
	records = slices.SortedFunc(slices.Values(records),
		func(a, b Unwritten) int { return cmp.Compare(a.File, b.File) })
	rules := newRules(study, roster)
	for _, r := range records {
		s := newSession(r.File, r.Doc)
		s.Where = r.Where
		q := &queries{file: r.File, node: r.Doc}
		rules.check(s, q)
		c.Sessions, c.Problems = append(c.Sessions, s), append(c.Problems, trim(q.problems)...)
	}
	alone := make(map[Problem]bool) // what concerns one record; by it, the others know what was said
	for _, p := range c.Problems {
		alone[p] = true
	}
	c.between()
	out := slices.DeleteFunc(c.Problems, func(p Problem) bool { return alone[p] })
	SortProblems(out)
	return out
}
