package attack

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"
)

// guess holds what an attacker on dates works with.
type guess struct {
	s       *Shipment
	c       *calendar
	fields  map[string]bool
	assumes []string
	chance  float64
	broken  bool
	orders  []string
	tries   int // see mostTries
}

// The grounds that are not fields.
const (
	AssumesOrder    = "numbers are given out in order"
	AssumesHolding  = "tubes are held no longer than allowed"
	AssumesWeekends = "the site is closed on weekends"
	AssumesBatch    = "tubes cleaned at the same second were cleaned together"
	AssumesClock    = "the clocks change as where the offset is in use"
	UsesLabel       = "label: sealing date"
	UsesOffset      = "UTC offset"
	UsesGaps        = "days between a subject's sessions"
	UsesClock       = "time of day"
	UsesHandling    = "handling.csv"
	UsesBook        = "appointment book"
	UsesCleaned     = "box: when tubes were cleaned"
	UsesKits        = "box: numbers on the kits"
	UsesPost        = "public post"
	UsesCurve       = "figures of the curve"
)

// date narrows down the days of all sessions with what the attacker holds.
func (s *Shipment) date(who Attacker, k Knowledge) *Attack {
	a := &Attack{Attacker: who, Dates: true}
	switch {
	case len(s.Sessions) == 0:
		a.NotRun = NoSessions
	case who != Data && k.Sealed == 0:
		a.NotRun = NoLabel
	case who == Box && k.Kits == nil && k.Cleaned == nil:
		a.NotRun = NoBox
	}
	if a.NotRun != WasRun {
		return a
	}
	g := &guess{s: s, fields: map[string]bool{}}
	g.c = s.calendar(s.bounds(who, k))
	g.kept()
	if who == Box {
		g.box(k)
	}
	g.pins()
	g.public(who, k)
	g.batches()
	if who == Data {
		s.plain = g.c.clone()
	}
	g.numbers()
	g.c.propagate()
	a.Fields, a.Assumes, a.Chance, a.Broken = sorted(g.fields), g.assumes, g.chance, g.broken
	a.Orders = g.orders
	a.Claims = g.c.claims()
	a.Subjects, a.Sessions = len(a.Claims), len(s.Sessions)
	if s.solved == nil {
		s.solved = map[Attacker]*calendar{}
	}
	s.solved[who] = g.c
	return a
}

// bounds returns the days on which any session may have been.
func (s *Shipment) bounds(who Attacker, k Knowledge) (first, last Day) {
	if who != Data {
		return k.Sealed - 1000, k.Sealed
	}
	for _, x := range s.Sessions {
		switch {
		case x.Start.HasDay && (last == 0 || x.Start.Day+364 > last):
			last = x.Start.Day + 364
		case x.Start.HasYear:
			last = max(last, DayOf(time.Date(x.Start.Year, 12, 31, 0, 0, 0, 0, time.UTC)))
		}
	}
	return last - 1000, last
}

// kept notes that true days or distances leave.
func (g *guess) kept() {
	if g.s.treatmentOf("/started_at") == "keep" && slices.ContainsFunc(g.s.Sessions, func(x *Session) bool {
		return x.Start.HasDay
	}) {
		g.fields["/started_at"] = true
	}
}

// try applies a change to a copy, and takes it over if a solution remains and something
// was gained. It reports both.
func (g *guess) try(change func(*calendar)) (possible, gained bool) {
	next := g.c.clone()
	change(next)
	if !next.propagate() {
		return false, false
	}
	gained = next.size() < g.c.size()
	g.c = next
	return true, gained
}

func (c *calendar) size() (n int) {
	for _, sp := range c.groups {
		n += sp.size()
	}
	return n
}

// pin restricts a visit to one day, if that is possible, and reports whether it told
// anything new. Rules are not applied.
func (c *calendar) pin(v int, d Day) bool {
	sp, at := c.groups[c.visits[v].group], d-Day(c.visits[v].after)
	if sp.empty() || !sp.has(at) || sp.lo == sp.hi {
		return false
	}
	sp.atLeast(at)
	sp.atMost(at)
	return true
}

// assume tries a change that rests on an assumption and shows in fields.
func (g *guess) assume(what string, change func(*calendar), fields ...string) bool {
	possible, gained := g.try(change)
	if possible && gained {
		if what != "" {
			g.assumes = append(g.assumes, what)
		}
		for _, f := range fields {
			g.fields[f] = true
		}
	}
	return possible
}

// public uses what everybody can know: the label, the holding time of the protocol,
// weekends, and when the clocks change.
func (g *guess) public(who Attacker, k Knowledge) {
	closed := map[Day]bool{}
	for _, d := range k.Holidays {
		closed[d] = true
	}
	if k.Weekends {
		g.assume(AssumesWeekends, func(c *calendar) {
			c.each(func(_ visit, d Day) bool {
				w := d.Time().Weekday()
				return w != time.Saturday && w != time.Sunday && !closed[d]
			})
		})
	}
	hold := k.HoldingDays
	if hold == 0 {
		hold = g.s.HoldingDays
	}
	held := max(hold, k.HeldDays)
	if who != Data {
		g.assume("", func(c *calendar) { c.each(func(_ visit, d Day) bool { return d <= k.Sealed }) }, UsesLabel)
		if hold > 0 {
			g.assume(AssumesHolding, func(c *calendar) {
				c.each(func(_ visit, d Day) bool { return d >= k.Sealed-Day(held) })
			}, UsesLabel)
		}
	}
	if hold > 0 {
		g.assume(AssumesHolding, func(c *calendar) { c.within(held) })
		if g.s.handling {
			g.assume("", func(c *calendar) { c.handling(float64(hold) / 2) }, UsesHandling)
		}
	}
	g.offsets()
	g.assumes = slices.Compact(g.assumes)
}

// near are the last parts of paths whose times are within a session.
var near = []string{"uncapped_at", "capped_at", "ended_at", "started_at", "at"}

// pins uses true days that leave beside moved ones, in records, recordings and texts: a
// shift moves back, so of two days of one session that differ, the later is true.
func (g *guess) pins() {
	pin := func(i int, d Day, from string) {
		if g.c.pin(i, d) {
			g.fields[from], g.broken = true, true
		}
	}
	for i, v := range g.c.visits {
		for path, list := range v.Times {
			if path == "/started_at" || !slices.Contains(near, path[strings.LastIndexByte(path, '/')+1:]) {
				continue
			}
			for _, m := range list {
				if m.HasDay && v.shows(m.Day, !strings.HasPrefix(g.s.treatmentOf(path), "shift")) {
					pin(i, m.Day, path)
				}
			}
		}
		for j, d := range v.Known {
			if v.shows(d, strings.HasPrefix(v.KnownFrom[j], "EDF: start") || strings.Contains(v.KnownFrom[j], "axis")) {
				pin(i, d, v.KnownFrom[j])
			}
		}
	}
}

// shows reports whether a day beside the start may be the true day of the session;
// sure: it is one, if the start shows no day.
func (v visit) shows(d Day, sure bool) bool {
	if v.Start.HasDay {
		return d-v.Start.Day > 2 && d-v.Start.Day <= 364
	}
	return sure
}

// box uses what is printed on the kits, and when the laboratory cleaned each tube: that
// time as it leaves gives the shift, or its distance to the session gives the day.
func (g *guess) box(k Knowledge) {
	g.c.kits = map[int][]string{}
	for i, v := range g.c.visits {
		codes, times := v.Values["/tubes/*/barcode"], v.Times["/tubes/*/conditioned_at"]
		for j, code := range codes {
			if unit := k.Kits[code]; unit != "" {
				g.c.kits[i] = append(g.c.kits[i], unit)
			}
			clean, ok := k.Cleaned[code]
			if !ok || len(times) != len(codes) {
				continue
			}
			var d Day
			switch m := times[j]; {
			case m.HasElapsed:
				d = Day(math.Floor(float64(int(clean.Day)*86400+clean.Clock-m.Elapsed) / 86400))
			case m.HasDay && v.Start.HasDay:
				d = v.Start.Day + clean.Day - m.Day
			case m.HasCount && v.Start.HasCount:
				d = clean.Day + Day(v.Start.Count-m.Count)
			default:
				continue
			}
			if g.c.pin(i, d) {
				g.fields[UsesCleaned], g.fields["/tubes/*/conditioned_at"] = true, true
			}
		}
	}
}

// offsets uses a kept UTC offset: where two offsets an hour apart occur, the greater is
// that of summer.
func (g *guess) offsets() {
	seen := map[int]bool{}
	for _, x := range g.s.Sessions {
		if x.Start.HasOffset {
			seen[x.Start.Offset] = true
		}
	}
	if len(seen) != 2 {
		return
	}
	var list []int
	for o := range seen {
		list = append(list, o)
	}
	slices.Sort(list)
	if list[1]-list[0] != 60 {
		return
	}
	g.assume(AssumesClock, func(c *calendar) {
		c.each(func(v visit, d Day) bool {
			summer, change := inSummer(d, list[0])
			return change || !v.Start.HasOffset || summer == (v.Start.Offset == list[1])
		})
	}, UsesOffset)
}

// inSummer reports whether a day is in summer time where the offset of winter is
// standard, in minutes, and whether the clocks change on it.
//
// Sources: Directive 2000/84/EC (last Sundays of March and October); Energy Policy Act of
// 2005 (second Sunday of March, first of November); the states of Australia and New
// Zealand from memory (first Sunday of October, last of September; first of April).
func inSummer(d Day, standard int) (summer, change bool) {
	year := d.Time().Year()
	begin, end := sunday(year, time.March, -1), sunday(year, time.October, -1)
	south := false
	switch {
	case standard < -150:
		begin, end = sunday(year, time.March, 2), sunday(year, time.November, 1)
	case standard >= 720:
		begin, end, south = sunday(year, time.April, 1), sunday(year, time.September, -1), true
	case standard >= 540:
		begin, end, south = sunday(year, time.April, 1), sunday(year, time.October, 1), true
	}
	return (d >= begin && d < end) != south, d == begin || d == end
}

// sunday returns the n-th Sunday of a month, the last for -1.
func sunday(year int, month time.Month, n int) Day {
	if n < 0 {
		last := time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC)
		return DayOf(last.AddDate(0, 0, -int(last.Weekday())))
	}
	first := time.Date(year, month, 1, 0, 0, 0, 0, time.UTC)
	return DayOf(first.AddDate(0, 0, (7-int(first.Weekday()))%7+7*(n-1)))
}

// claims returns what remains for each subject.
func (c *calendar) claims() []Claim {
	at := map[string]int{}
	var list []Claim
	for i, v := range c.visits {
		j, ok := at[v.Subject]
		if !ok {
			j = len(list)
			at[v.Subject] = j
			list = append(list, Claim{Subject: v.Subject})
		}
		claim := &list[j]
		from, to := c.min(i), c.max(i)
		claim.Visits = append(claim.Visits, VisitClaim{v.Name, from, to})
	}
	for i := range list {
		list[i].widen()
	}
	return list
}

// widen sets Within from the visits.
func (c *Claim) widen() {
	c.Within = 0
	for _, v := range c.Visits {
		c.Within = max(c.Within, int(v.To-v.From))
	}
	if c.Within >= 365 {
		c.Within = Unknown
	}
}

// sorted returns the keys of a set in order.
func sorted(set map[string]bool) []string {
	list := make([]string, 0, len(set))
	for s := range set {
		list = append(list, s)
	}
	slices.Sort(list)
	return list
}

// median returns the middle of widths; Unknown counts as more than any other.
func median(widths []int) int {
	if len(widths) == 0 {
		return Unknown
	}
	list := slices.Clone(widths)
	for i, w := range list {
		if w == Unknown {
			list[i] = math.MaxInt
		}
	}
	slices.Sort(list)
	if m := list[(len(list)-1)/2]; m < math.MaxInt {
		return m
	}
	return Unknown
}

// batches uses the times at which tubes were cleaned: those of one second were cleaned
// together, on one day. It needs many tubes to a batch.
func (g *guess) batches() {
	type tube struct{ visit, day int } // day relative to the visit's
	by := map[int][]tube{}
	sessions := 0
	for i, v := range g.c.visits {
		seen := map[int]bool{}
		for _, m := range v.Times["/tubes/*/conditioned_at"] {
			clock, day, ok := m.Clock, 0, m.HasClock && m.Grain <= 60
			switch {
			case ok && m.HasDay && v.Start.HasDay:
				day = int(m.Day - v.Start.Day)
			case m.HasElapsed && v.Start.HasClock && v.Start.Grain == 1:
				at := v.Start.Clock + m.Elapsed
				day, ok = int(math.Floor(float64(at)/86400)), true
				clock = at - day*86400
			default:
				ok = false
			}
			if ok && !seen[clock] {
				seen[clock] = true
				by[clock] = append(by[clock], tube{i, day})
			}
		}
		sessions += min(1, len(seen))
	}
	if len(by) == 0 || 3*len(by) > sessions {
		return
	}
	g.assume(AssumesBatch, func(c *calendar) {
		for _, clock := range slices.Sorted(maps.Keys(by)) {
			list := by[clock]
			for _, t := range list[1:] {
				c.same(list[0].visit, list[0].day, t.visit, t.day)
			}
		}
	}, "/tubes/*/conditioned_at")
}

// mostOrders is how many orders are tried.
const mostOrders = 60

// mostChance is the greatest probability at which an order is believed that one of those
// tried would look like it where there is none.
const mostChance = 0.01

// byChance returns that probability, for an order whose falls of the clock were counted.
func (o order) byChance(tried int) float64 {
	return min(1, float64(tried)*math.Erfc(o.z/math.Sqrt2)/2)
}

// numbers uses what was given out in the order of the visits: strictly, and if
// no number was, with pieces that were used some days early or late.
func (g *guess) numbers() {
	list := g.c.orders()
	list = list[:min(len(list), mostOrders)]
	used := map[string]bool{}
	for _, slack := range []Day{0, 1, 2, 4} {
		for _, o := range list {
			if used[o.by] || o.tested && o.byChance(len(list)) > mostChance ||
				!o.tested && (slack > 0 || !g.supported(o)) {
				continue
			}
			o.slack = slack
			possible, gained := g.try(o.add)
			if !possible && slack == 0 && o.tested {
				if mended, ok := g.repair(o); ok {
					o = mended
					possible, gained = g.try(o.add)
				}
			}
			if used[o.by] = possible; gained {
				g.used(o, len(list))
			}
		}
		if len(used) > 0 && slices.Contains(slices.Collect(maps.Values(used)), true) {
			return
		}
	}
}

func (g *guess) used(o order, tried int) {
	g.fields[o.String()], g.fields[UsesGaps] = true, true
	g.orders = append(g.orders, o.String())
	if o.tested {
		g.fields[UsesClock] = true
		g.chance = max(g.chance, o.byChance(tried))
	} else {
		g.chance = max(g.chance, 1/float64(shuffles+1))
	}
	if !slices.Contains(g.assumes, AssumesOrder) {
		g.assumes = append(g.assumes, AssumesOrder)
	}
}

func (o order) add(c *calendar) {
	for _, chain := range o.chains {
		c.inOrder(chain, o.slack)
	}
}

// shuffles is how many random orders are compared with one that the time of day does
// not test.
const shuffles = 19

// supported reports whether no random order is possible, so that a possible one means
// something.
func (g *guess) supported(o order) bool {
	if ok, gained := g.possible(o); !ok || !gained {
		return false
	}
	random := rand.New(rand.NewPCG(19, 23))
	for range shuffles {
		mixed := o
		mixed.chains = nil
		for _, chain := range o.chains {
			links := slices.Clone(chain)
			random.Shuffle(len(links), func(i, j int) { links[i], links[j] = links[j], links[i] })
			mixed.chains = append(mixed.chains, links)
		}
		if ok, _ := g.possible(mixed); ok {
			return false
		}
	}
	return true
}

// possible tries an order and forgets it.
func (g *guess) possible(o order) (possible, gained bool) {
	was := g.c
	defer func() { g.c = was }()
	return g.try(o.add)
}
