package attack

import (
	"cmp"
	"slices"
)

// book compares each subject with each person of an appointment book: by the distances
// of the visits, by their time of day if hours is who, and by numbers that were given out
// in the order of the visits. c is what the data alone say, with numbers taken to be in
// order; plain is without. A subject whom nobody fits refutes the order.
func (s *Shipment) book(who Attacker, k Knowledge, c, plain *calendar) *Attack {
	a := &Attack{Attacker: who, Dates: true, Links: true}
	names, _ := s.subjects()
	switch {
	case len(names) == 0:
		a.NotRun = NoSessions
	case len(k.Book) == 0:
		a.NotRun = NoBook
	case len(names) > mostSubjects || len(k.Book) > mostSubjects:
		a.NotRun = TooMany
	}
	if a.NotRun != WasRun {
		return a
	}
	b := &diary{c: c, hours: who == BookHours, of: map[string][]int{}}
	for p := range k.Book {
		b.people = append(b.people, p)
	}
	slices.Sort(b.people)
	total := 0
	for _, p := range b.people {
		list := slices.Clone(k.Book[p])
		slices.SortFunc(list, compareAppointments)
		b.visits = append(b.visits, list)
		total += len(list)
	}
	b.whole = total == len(s.Sessions)
	for i, v := range c.visits {
		b.of[v.Subject] = append(b.of[v.Subject], i)
	}
	possible := func(name string, p int) bool { return b.fits(b.of[name], p) != nil }
	fits := fitting(names, len(b.people), possible)
	if slices.ContainsFunc(fits, func(f bitset) bool { return f.count() == 0 }) {
		b.c, c = plain, plain
		fits = fitting(names, len(b.people), possible)
	}
	a.Guess = guessed(fits)
	is := resolve(fits)
	used := map[string]bool{UsesBook: true}
	by, aligned, days := b.align(names)
	if aligned != nil {
		used[by.String()], is = true, aligned
		a.Orders, a.Assumes, a.Chance = []string{by.String()}, []string{AssumesOrder}, 1.0/2000
	}
	claims := c.claims()
	at := map[string]int{}
	for i := range claims {
		at[claims[i].Subject] = i
	}
	for i, name := range names {
		claim := &claims[at[name]]
		if is[i] < 0 {
			continue
		}
		claim.Person = b.people[is[i]]
		for j, v := range b.fits(b.of[name], is[i]) {
			claim.Visits[j].From, claim.Visits[j].To = v.From, v.To
			if d, ok := days[claim.Visits[j].Session]; ok {
				claim.Visits[j].From, claim.Visits[j].To = d, d
			}
		}
		claim.widen()
	}
	b.describe(used)
	a.Fields, a.Claims, a.Subjects, a.Sessions = sorted(used), claims, len(names), len(s.Sessions)
	return a
}

func compareAppointments(x, y Appointment) int {
	return cmp.Or(cmp.Compare(x.Day, y.Day), cmp.Compare(x.Clock, y.Clock))
}

// A diary is an appointment book beside the calendar of a shipment.
type diary struct {
	c      *calendar
	hours  bool
	whole  bool // it has exactly the visits of the shipment
	people []string
	visits [][]Appointment  // by person, in order
	of     map[string][]int // subject to visits of the calendar
}

// agrees reports whether a visit may have been that appointment, its day left aside.
func (b *diary) agrees(v visit, a Appointment) bool {
	clock, grain, ok := v.clockOf()
	return !b.hours || !ok || clock/3600 == a.Clock/3600 || grain < 3600 && max(clock-a.Clock, a.Clock-clock) < 600
}

// fits returns on which days person p may have had the given visits of one subject, nil
// if that cannot be. Visits whose distances leave move together.
func (b *diary) fits(visits []int, p int) []VisitClaim {
	book := b.visits[p]
	if len(visits) > len(book) || b.whole && len(visits) != len(book) {
		return nil
	}
	members := map[int][]int{} // group to indices in visits
	for i, v := range visits {
		members[b.c.visits[v].group] = append(members[b.c.visits[v].group], i)
	}
	ranges := make([]VisitClaim, len(visits))
	for _, list := range members {
		found := false
		base := b.c.visits[visits[list[0]]]
		for _, a := range book {
			at := a.Day - Day(base.after)
			if !b.place(visits, list, book, at) {
				continue
			}
			for _, m := range list {
				d := at + Day(b.c.visits[visits[m]].after)
				if !found {
					ranges[m].From, ranges[m].To = d, d
				}
				ranges[m].From, ranges[m].To = min(ranges[m].From, d), max(ranges[m].To, d)
			}
			found = true
		}
		if !found {
			return nil
		}
	}
	return ranges
}

// place reports whether all members can be on appointments of their own, with their
// group at day at.
func (b *diary) place(visits, members []int, book []Appointment, at Day) bool {
	if !b.c.groups[b.c.visits[visits[members[0]]].group].has(at) {
		return false
	}
	taken := make([]bool, len(book))
	for _, m := range members {
		v := b.c.visits[visits[m]]
		d, ok := at+Day(v.after), false
		for i, a := range book {
			if a.Day == d && !taken[i] && b.agrees(v, a) {
				taken[i], ok = true, true
				break
			}
		}
		if !ok {
			return false
		}
	}
	return true
}

// fewestReturning is how many people must come more than once for an order of visits to
// prove itself, and fewestTimed how many visits must agree in the hour.
const (
	fewestReturning = 3
	fewestTimed     = 10
)

// align puts the visits in the order of a number beside the book in the order of time.
// If each subject then is one person throughout, the order is right. It returns the
// order, the person of each subject, and the day of each session.
func (b *diary) align(names []string) (order, []int, map[string]Day) {
	if !b.whole {
		return order{}, nil, nil
	}
	type entry struct {
		Appointment
		person int
	}
	var book []entry
	returning := 0
	for p, list := range b.visits {
		for _, a := range list {
			book = append(book, entry{a, p})
		}
		if len(list) > 1 {
			returning++
		}
	}
	slices.SortFunc(book, func(x, y entry) int { return compareAppointments(x.Appointment, y.Appointment) })
	at := map[string]int{}
	for i, name := range names {
		at[name] = i
	}
	for _, o := range b.c.orders() {
		if len(o.chains) != 1 || len(o.chains[0]) != len(book) {
			continue
		}
		is := slices.Repeat([]int{-1}, len(names))
		whose, days := map[int]string{}, map[string]Day{}
		timed, ok := 0, true
		for i, link := range o.chains[0] {
			v, e := b.c.visits[link[0]], book[i]
			s, known := whose[e.person]
			i := at[v.Subject]
			if known && s != v.Subject || is[i] >= 0 && is[i] != e.person || !b.agrees(v, e.Appointment) {
				ok = false
				break
			}
			if _, _, has := v.clockOf(); has && b.hours {
				timed++
			}
			days[v.Name] = e.Day
			whose[e.person], is[at[v.Subject]] = v.Subject, e.person
		}
		if ok && (returning >= fewestReturning || timed >= fewestTimed) {
			return o, is, days
		}
	}
	return order{}, nil, nil
}

// describe adds to used which properties of the visits were compared.
func (b *diary) describe(used map[string]bool) {
	for _, v := range b.c.visits {
		if _, _, ok := v.clockOf(); ok && b.hours {
			used[UsesClock] = true
		}
		if v.Start.HasDay || v.Start.HasCount {
			used[UsesGaps] = true
		}
	}
}
