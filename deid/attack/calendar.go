package attack

import (
	"slices"
	"time"
)

// A span is the set of days on which the first session of a group may have been: day
// from+i is possible if ok[i].
type span struct {
	from   Day
	ok     []bool
	lo, hi int // the least and greatest possible i; lo > hi: none
}

func newSpan(from, to Day) *span {
	if to < from {
		return &span{lo: 1}
	}
	s := &span{from: from, ok: make([]bool, to-from+1), hi: int(to - from)}
	for i := range s.ok {
		s.ok[i] = true
	}
	return s
}

func (s *span) clone() *span {
	c := *s
	c.ok = slices.Clone(s.ok)
	return &c
}

func (s *span) empty() bool { return s.lo > s.hi }
func (s *span) min() Day    { return s.from + Day(s.lo) }
func (s *span) max() Day    { return s.from + Day(s.hi) }

// keep removes the days that possible rejects, and reports whether it removed any.
func (s *span) keep(possible func(Day) bool) (changed bool) {
	for i := s.lo; i <= s.hi; i++ {
		if s.ok[i] && !possible(s.from+Day(i)) {
			s.ok[i], changed = false, true
		}
	}
	s.trim()
	return changed
}

// atLeast and atMost remove days before and after d.
func (s *span) atLeast(d Day) bool {
	if s.empty() || s.min() >= d {
		return false
	}
	s.lo = int(d - s.from)
	s.trim()
	return true
}

func (s *span) atMost(d Day) bool {
	if s.empty() || s.max() <= d {
		return false
	}
	s.hi = int(d - s.from)
	s.trim()
	return true
}

func (s *span) trim() {
	for s.lo <= s.hi && (s.lo >= len(s.ok) || !s.ok[s.lo]) {
		s.lo++
	}
	for s.hi >= s.lo && !s.ok[s.hi] {
		s.hi--
	}
}

func (s *span) has(d Day) bool {
	i := int(d - s.from)
	return i >= s.lo && i <= s.hi && s.ok[i]
}

// size returns how many days are possible.
func (s *span) size() (n int) {
	for i := s.lo; i <= s.hi; i++ {
		if s.ok[i] {
			n++
		}
	}
	return n
}

// A visit is a session in the calendar: its true day is that of its group plus after.
type visit struct {
	*Session
	group int
	after int
	place int // of its record in the archive
}

// A calendar is a system of constraints on the true days of the sessions. Sessions whose
// distance in days leaves are one group. All constraints are bounds on differences of two
// days, or sets of days for one group: if propagation ends with no span empty, taking
// all least days solves the system, and so does taking all greatest days. So the ends of
// each span are exact.
//
// Source: arc consistency decides such systems, because a minimum and a maximum of
// solutions are solutions (Jeavons and Cooper, "Tractable constraints on ordered
// domains", 1995; from memory).
type calendar struct {
	visits []visit
	groups []*span
	of     [][]int // group to its visits
	rules  []func(*calendar) bool
	kits   map[int][]string // what is printed on the kits, where the attacker has the box
}

// calendar makes the groups with what the data alone say of each: a shift moves by 1 to
// 364 days, a year is a year, a kept date is true, and a count of days says nothing.
// Groups of which nothing is known have the span of all days from first to last.
func (s *Shipment) calendar(first, last Day) *calendar {
	c := &calendar{}
	names, of := s.subjects()
	moved := s.treatmentOf("/started_at") != "keep"
	place := map[*Session]int{}
	for i, x := range s.Sessions {
		place[x] = i
	}
	for _, name := range names {
		list := of[name]
		open := map[string]int{} // kind of moment to group
		for _, x := range list {
			kind, at := "", 0
			var sp *span
			switch m := x.Start; {
			case m.HasDay && moved:
				kind, at, sp = "day", int(m.Day), newSpan(m.Day+1, m.Day+364)
			case m.HasDay:
				kind, at, sp = "day", int(m.Day), newSpan(m.Day, m.Day)
			case m.HasCount:
				kind, at, sp = "count", m.Count, newSpan(first, last)
			case m.HasYear:
				year := func(y int) Day { return DayOf(time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC)) }
				sp = newSpan(max(first, year(m.Year)), min(last, year(m.Year+1)-1))
			default:
				sp = newSpan(first, last)
			}
			g, known := open[kind]
			if !known || kind == "" {
				g = len(c.groups)
				open[kind] = g
				c.groups, c.of = append(c.groups, sp), append(c.of, nil)
				c.visits = append(c.visits, visit{x, g, 0, place[x]})
			} else {
				base := c.visits[c.of[g][0]]
				b := int(base.Start.Day)
				if kind == "count" {
					b = base.Start.Count
				}
				c.visits = append(c.visits, visit{x, g, at - b, place[x]})
			}
			c.of[g] = append(c.of[g], len(c.visits)-1)
		}
	}
	return c
}

// clone returns a copy with spans of its own.
func (c *calendar) clone() *calendar {
	n := &calendar{visits: c.visits, of: c.of, rules: slices.Clone(c.rules), kits: c.kits,
		groups: make([]*span, len(c.groups))}
	for i, g := range c.groups {
		n.groups[i] = g.clone()
	}
	return n
}

func (c *calendar) min(v int) Day { return c.groups[c.visits[v].group].min() + Day(c.visits[v].after) }
func (c *calendar) max(v int) Day { return c.groups[c.visits[v].group].max() + Day(c.visits[v].after) }

func (c *calendar) atLeast(v int, d Day) bool {
	return c.groups[c.visits[v].group].atLeast(d - Day(c.visits[v].after))
}

func (c *calendar) atMost(v int, d Day) bool {
	return c.groups[c.visits[v].group].atMost(d - Day(c.visits[v].after))
}

// each removes from every group the days on which one of its visits is not possible.
func (c *calendar) each(possible func(visit, Day) bool) {
	for g, sp := range c.groups {
		sp.keep(func(d Day) bool {
			return !slices.ContainsFunc(c.of[g], func(v int) bool {
				return !possible(c.visits[v], d+Day(c.visits[v].after))
			})
		})
	}
}

func (c *calendar) feasible() bool {
	return !slices.ContainsFunc(c.groups, (*span).empty)
}

// mostRounds bounds propagation; stopping early leaves the spans wider than they are.
const (
	mostRounds = 3000
	mostSteps  = 20_000_000 // of visits, over all rounds
)

// propagate applies the rules until nothing changes, and reports whether a solution
// remains.
func (c *calendar) propagate() bool {
	for range min(mostRounds, 20+mostSteps/(1+len(c.visits))) {
		changed := false
		for _, rule := range c.rules {
			changed = rule(c) || changed
			if !c.feasible() {
				return false
			}
		}
		if !changed {
			break
		}
	}
	return c.feasible()
}

// clockOf returns the time of day at which a visit began, and its grain in seconds;
// false if nothing shows it.
func (v visit) clockOf() (seconds, grain int, ok bool) {
	if v.Start.HasClock {
		return v.Start.Clock, v.Start.Grain, true
	}
	return v.StartClock, 60, v.StartClock >= 0
}

// fell reports whether the clock went back from a to b, so that b is on a later day if
// it came later.
func fell(a, b visit) bool {
	x, _, ok1 := a.clockOf()
	y, grain, ok2 := b.clockOf()
	return ok1 && ok2 && y+grain <= x
}

// inOrder adds the rule that the days of a chain never fall by more than slack, and, with
// no slack, rise where the time of day falls. Visits of one link are in no order.
func (c *calendar) inOrder(chain [][]int, slack Day) {
	step := func(a, b []int) Day {
		if slack == 0 && len(a) == 1 && len(b) == 1 && fell(c.visits[a[0]], c.visits[b[0]]) {
			return 1
		}
		return 0
	}
	c.rules = append(c.rules, func(c *calendar) (changed bool) {
		bound, any := Day(0), false
		for i, link := range chain {
			if i > 0 {
				for _, v := range chain[i-1] {
					if d := c.min(v) + step(chain[i-1], link); !any || d > bound {
						bound, any = d, true
					}
				}
			}
			for _, v := range link {
				if any && c.atLeast(v, bound-slack) {
					changed = true
					if c.groups[c.visits[v].group].empty() {
						return true
					}
				}
			}
		}
		any = false
		for i := len(chain) - 1; i >= 0; i-- {
			if i < len(chain)-1 {
				for _, v := range chain[i+1] {
					if d := c.max(v) - step(chain[i], chain[i+1]); !any || d < bound {
						bound, any = d, true
					}
				}
			}
			for _, v := range chain[i] {
				if any && c.atMost(v, bound+slack) {
					changed = true
					if c.groups[c.visits[v].group].empty() {
						return true
					}
				}
			}
		}
		return changed
	})
}

// within adds the rule that all visits are at most days apart.
func (c *calendar) within(days int) {
	c.rules = append(c.rules, func(c *calendar) (changed bool) {
		latest, earliest := c.min(0), c.max(0)
		for v := range c.visits {
			latest, earliest = max(latest, c.min(v)), min(earliest, c.max(v))
		}
		for v := range c.visits {
			changed = c.atLeast(v, latest-Day(days)) || changed
			changed = c.atMost(v, earliest+Day(days)) || changed
			if c.groups[c.visits[v].group].empty() {
				return true
			}
		}
		return changed
	})
}

// handling adds what handling.csv says: a tube kept cold is put first if its session
// ended more than half days before the newest session, and otherwise is not.
func (c *calendar) handling(half float64) {
	c.rules = append(c.rules, func(c *calendar) (changed bool) {
		latest, newest := c.min(0), c.max(0)
		for v := range c.visits {
			latest, newest = max(latest, c.min(v)), max(newest, c.max(v))
		}
		for i, v := range c.visits {
			switch {
			case v.Ambient:
			case v.First:
				changed = c.atMost(i, newest-Day(half)) || changed
			default:
				changed = c.atLeast(i, latest-Day(half)-1) || changed
			}
			if c.groups[v.group].empty() {
				return true
			}
		}
		return changed
	})
}

// same adds the rule that day x of one visit and day y of another are the same day: the
// days are given relative to the visits'.
func (c *calendar) same(v, x, w, y int) {
	a, b := c.visits[v], c.visits[w]
	// day of group a + a.after + x == day of group b + b.after + y
	shift := Day(a.after + x - b.after - y)
	c.rules = append(c.rules, func(c *calendar) bool {
		ga, gb := c.groups[a.group], c.groups[b.group]
		if ga == gb {
			return false
		}
		changed := ga.keep(func(d Day) bool { return gb.has(d + shift) })
		return gb.keep(func(d Day) bool { return ga.has(d - shift) }) || changed
	})
}
