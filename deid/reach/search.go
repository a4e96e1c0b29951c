package reach

import (
	"slices"
	"strings"
)

// A Table holds the quasi-identifiers and sensitive fields of n subjects.
type Table struct {
	Axes      []Axis
	Sensitive [][]string // by field, then by subject; the items of a list are joined by Separator

	Work int // rows that a search may look at; 0: as many as take some seconds
}

// A Result is one way to treat every field.
type Result struct {
	Reached bool
	Levels  []int   // by axis, the index of its level
	Left    []int   // subjects who are left out, by row
	Loss    float64 // bits of a subject, in the mean over all, those left out included
	K, L    int     // of the subjects who are not left out; L is 0 without sensitive fields
	Tried   int     // combinations counted
	Cut     bool    // the search took too long: a better result may exist
}

// usualWork bounds a search: so many rows take some seconds.
const usualWork = 500_000_000

// epsilon is the least difference of losses that counts: sums of logarithms are not exact.
const epsilon = 1e-9

// A searcher is one run of Search. Classes are numbered from 0; the class of a row in a partial
// choice is in classes[depth].
type searcher struct {
	axes      []Axis
	n         int
	want      Target
	leave     int
	sensitive []secrets
	levels    []int // -1: not chosen yet
	best      Result
	work      int // rows that may be looked at
	rows      int // looked at

	pairs pairs // scratch for refine and diversity
	// of each class, set by judge
	size  []int
	fails []bool

	scratch []uint32
}

// Search returns the choice of levels with the least loss with which t reaches want, when at most
// leaveOut subjects are left out. If none does, the result is that of the coarsest levels, and
// not Reached.
func Search(t *Table, want Target, leaveOut int) *Result {
	s := newSearcher(t)
	s.want, s.leave = want, leaveOut
	s.levels = make([]int, len(s.axes))
	alive := make([][]int, len(s.axes))
	for i, a := range s.axes {
		s.levels[i] = -1
		for l := range a.Levels {
			alive[i] = append(alive[i], l)
		}
	}
	if one := make([]uint32, s.n); s.n > 0 && s.misses(one, 1) <= leaveOut {
		s.walk(one, 1, 0, alive)
	}
	if !s.best.Reached {
		s.best.Levels = nil
		for _, a := range s.axes {
			s.best.Levels = append(s.best.Levels, coarsest(a))
		}
		s.best.Loss = s.loss(s.best.Levels, nil)
	}
	s.finish()
	return &s.best
}

func newSearcher(t *Table) *searcher {
	s := &searcher{axes: t.Axes, work: t.Work}
	if s.work == 0 {
		s.work = usualWork
	}
	if len(t.Axes) > 0 {
		s.n = len(t.Axes[0].rows)
	}
	for _, values := range t.Sensitive {
		s.sensitive = append(s.sensitive, secretsOf(values))
	}
	s.scratch = make([]uint32, s.n)
	return s
}

// Sizes returns the sizes of the classes under one choice of levels with nobody left out, and its
// loss.
func (t *Table) Sizes(levels []int) (sizes []int, loss float64) {
	s := newSearcher(t)
	s.judge(s.classes(levels))
	return s.size, s.loss(levels, nil)
}

// coarsest returns the level of a with the fewest bits.
func coarsest(a Axis) int {
	best := 0
	for i, l := range a.Levels {
		if l.Bits < a.Levels[best].Bits {
			best = i
		}
	}
	return best
}

// secrets are the values of a sensitive field, numbered from 0.
type secrets struct {
	values []uint32   // by row
	items  [][]uint32 // by row, the distinct items of its list that are not empty; nil without lists
	count  int        // of items
}

func secretsOf(values []string) secrets {
	of := secrets{values: make([]uint32, len(values)), items: make([][]uint32, len(values))}
	value, item, lists := map[string]uint32{}, map[string]uint32{}, false
	for r, v := range values {
		of.values[r] = number(value, v)
		list := strings.Split(v, Separator)
		lists = lists || len(list) > 1
		slices.Sort(list)
		for _, i := range slices.Compact(list) {
			if i != "" {
				of.items[r] = append(of.items[r], number(item, i))
			}
		}
	}
	if of.count = len(item); !lists {
		of.items = nil
	}
	return of
}

// number returns the number of s, a new one if it has none.
func number(codes map[string]uint32, s string) uint32 {
	c, ok := codes[s]
	if !ok {
		c = uint32(len(codes))
		codes[s] = c
	}
	return c
}

// walk extends a partial choice with these classes, whose levels lose loss in the mean. alive
// holds the levels of each axis with which it may still succeed, ordered by loss.
func (s *searcher) walk(classes []uint32, count int, loss float64, alive [][]int) {
	if s.rows > s.work {
		s.best.Cut = true
		return
	}
	next, left, lower := -1, make([][]int, len(alive)), loss
	for i, a := range s.axes {
		if s.levels[i] >= 0 {
			continue
		}
		for _, l := range alive[i] {
			if finer, n := s.refine(s.scratch, classes, count, i, l); s.misses(finer, n) <= s.leave {
				left[i] = append(left[i], l)
			}
		}
		if len(left[i]) == 0 {
			return
		}
		lower += a.Levels[left[i][0]].loss
		if next < 0 || len(left[i]) < len(left[next]) {
			next = i
		}
		if s.best.Reached && lower >= s.best.Loss-epsilon {
			return
		}
	}
	if next < 0 {
		s.take(classes, count)
		return
	}
	rest := lower - s.axes[next].Levels[left[next][0]].loss
	for _, l := range left[next] {
		if s.best.Reached && rest+s.axes[next].Levels[l].loss >= s.best.Loss-epsilon {
			break
		}
		s.levels[next] = l
		finer, n := s.refine(make([]uint32, s.n), classes, count, next, l)
		s.walk(finer, n, loss+s.axes[next].Levels[l].loss, left)
		s.levels[next] = -1
	}
}

// take compares a whole choice with the best so far.
func (s *searcher) take(classes []uint32, count int) {
	bad := s.bad(classes, count)
	if len(bad) == s.n {
		return
	}
	if loss := s.loss(s.levels, bad); !s.best.Reached || loss < s.best.Loss-epsilon {
		s.best = Result{Reached: true, Levels: slices.Clone(s.levels), Left: bad, Loss: loss, Tried: s.best.Tried,
			Cut: s.best.Cut}
	}
}

// refine splits classes by level l of axis i into finer, unless the level has one value only.
func (s *searcher) refine(finer, classes []uint32, count, i, l int) ([]uint32, int) {
	s.rows += s.n
	s.best.Tried++
	a := &s.axes[i]
	level := &a.Levels[l]
	if level.Values == 1 {
		return classes, count
	}
	s.pairs.reset(count, level.Values)
	for r, class := range classes {
		finer[r], _ = s.pairs.number(class, level.of[a.rows[r]])
	}
	return finer, s.pairs.n
}

// judge counts the rows of each of the count classes, and marks the classes that miss the target.
func (s *searcher) judge(classes []uint32, count int) {
	s.size, s.fails = resized(s.size, count), resized(s.fails, count)
	for _, c := range classes {
		s.size[c]++
	}
	for c, n := range s.size {
		s.fails[c] = n < s.want.K
	}
	if s.want.L > 1 {
		for _, values := range s.sensitive {
			for c, n := range s.diversity(classes, values) {
				s.fails[c] = s.fails[c] || n < s.want.L
			}
		}
	}
}

// resized returns n zeros, in the memory of list if it is large enough.
func resized[T any](list []T, n int) []T {
	if cap(list) < n {
		return make([]T, n, 2*n)
	}
	clear(list[:n])
	return list[:n]
}

// misses counts the rows in classes that miss the target.
func (s *searcher) misses(classes []uint32, count int) int {
	s.judge(classes, count)
	rows := 0
	for c, fails := range s.fails {
		if fails {
			rows += s.size[c]
		}
	}
	return rows
}

// bad lists the rows in classes that miss the target.
func (s *searcher) bad(classes []uint32, count int) []int {
	s.judge(classes, count)
	var rows []int
	for r, c := range classes {
		if s.fails[c] {
			rows = append(rows, r)
		}
	}
	return rows
}

// diversity returns for each class of s.size how many distinct values it has, and 1 if all its
// rows share an item of a list: that item is known of each.
func (s *searcher) diversity(classes []uint32, of secrets) []int {
	s.pairs.reset(len(s.size), s.n)
	distinct := make([]int, len(s.size))
	for r, c := range classes {
		if _, again := s.pairs.number(c, of.values[r]); !again {
			distinct[c]++
		}
	}
	if of.items == nil {
		return distinct
	}
	s.pairs.reset(len(s.size), of.count)
	var rows []int // with each pair of a class and an item
	for r, c := range classes {
		for _, item := range of.items[r] {
			n, again := s.pairs.number(c, item)
			if !again {
				rows = append(rows, 0)
			}
			if rows[n]++; rows[n] == s.size[c] {
				distinct[c] = 1
			}
		}
	}
	return distinct
}

// loss returns the loss of a whole choice when the rows in left are left out.
func (s *searcher) loss(levels []int, left []int) float64 {
	sum := 0.0
	for i, l := range levels {
		a := &s.axes[i]
		sum += a.Levels[l].loss
		if len(left) == 0 {
			continue
		}
		lost := a.lost(l)
		for _, r := range left {
			sum += (a.all[a.rows[r]] - lost[a.rows[r]]) / float64(s.n)
		}
	}
	return sum
}

// classes returns the class of every row under a whole choice.
func (s *searcher) classes(levels []int) (classes []uint32, count int) {
	classes, count = make([]uint32, s.n), min(s.n, 1)
	for i, l := range levels {
		classes, count = s.refine(make([]uint32, s.n), classes, count, i, l)
	}
	return classes, count
}

// finish computes the figures of the best choice.
func (s *searcher) finish() {
	tried := s.best.Tried
	classes, count := s.classes(s.best.Levels)
	s.best.Tried = tried
	s.judge(classes, count)
	out := map[uint32]bool{}
	for _, r := range s.best.Left {
		out[classes[r]] = true // a class is left out as a whole
	}
	least := func(counts []int) int {
		n := 0
		for c, count := range counts {
			if !out[uint32(c)] && (n == 0 || count < n) {
				n = count
			}
		}
		return n
	}
	s.best.K = least(s.size)
	for i, values := range s.sensitive {
		if l := least(s.diversity(classes, values)); i == 0 || l < s.best.L {
			s.best.L = l
		}
	}
}
