package attack

import (
	"slices"
	"strings"
)

// post looks for the subject of a public post about one visit: by day and hour, sex and
// decade of age. c is what the data alone say of the days.
func (s *Shipment) post(k Knowledge, c *calendar) *Attack {
	a := &Attack{Attacker: Post, Dates: true, Links: true}
	names, _ := s.subjects()
	switch {
	case len(names) == 0:
		a.NotRun = NoSessions
	case len(k.Posts) == 0:
		a.NotRun = NoBook
	case len(names) > mostSubjects || len(k.Posts) > mostSubjects:
		a.NotRun = TooMany
	}
	if a.NotRun != WasRun {
		return a
	}
	used := map[string]bool{UsesPost: true}
	claims := c.claims()
	at := map[string]int{}
	for i := range claims {
		at[claims[i].Subject] = i
	}
	for _, p := range k.Posts {
		only, group, several := -1, -1, false
		for _, v := range c.visits {
			if !s.fitsPost(v, p, used) || !c.groups[v.group].has(p.Day-Day(v.after)) {
				continue
			}
			several = several || only >= 0 && only != at[v.Subject]
			only, group = at[v.Subject], v.group
		}
		if only < 0 || several {
			continue
		}
		claim := &claims[only]
		claim.Person = p.Person
		fixed := c.fix(group, p)
		for j, visit := range claim.Visits {
			if d, ok := fixed[visit.Session]; ok {
				claim.Visits[j].From, claim.Visits[j].To = d, d
			}
		}
		claim.widen()
	}
	a.Fields, a.Claims, a.Subjects, a.Sessions = sorted(used), claims, len(names), len(s.Sessions)
	return a
}

// fitsPost compares all but the day, and adds to used what was compared.
func (s *Shipment) fitsPost(v visit, p PublicPost, used map[string]bool) bool {
	if clock, _, ok := v.clockOf(); ok {
		used[UsesClock] = true
		if clock/3600 != p.Hour {
			return false
		}
	}
	const sex, birth = "/subject/sex", "/subject/birth_date"
	if list := v.Values[sex]; len(list) > 0 && p.Sex != "" && s.compared(sex) {
		used[sex] = true
		if !strings.EqualFold(list[0], p.Sex) {
			return false
		}
	}
	if p.Decade < 0 {
		return true
	}
	if list := v.Values[birth]; len(list) > 0 {
		if low, high, ok := bandOf(list[0]); ok {
			used[birth] = true
			return low <= p.Decade+9 && high >= p.Decade
		}
	}
	if list := v.Times[birth]; len(list) > 0 && list[0].HasDay {
		used[birth] = true
		age := ageOn(list[0].Day.Time(), p.Day)
		return age >= p.Decade && age <= p.Decade+9
	}
	return true
}

// fix returns the days of the visits of a group, if one of them was on the day of a
// post and no other could be; nil otherwise.
func (c *calendar) fix(group int, p PublicPost) map[string]Day {
	var found []int
	for _, i := range c.of[group] {
		v := c.visits[i]
		clock, _, ok := v.clockOf()
		if c.groups[group].has(p.Day-Day(v.after)) && (!ok || clock/3600 == p.Hour) {
			found = append(found, i)
		}
	}
	if len(found) != 1 {
		return nil
	}
	base := p.Day - Day(c.visits[found[0]].after)
	days := map[string]Day{}
	for _, i := range c.of[group] {
		days[c.visits[i].Name] = base + Day(c.visits[i].after)
	}
	return days
}

// halves parts a shipment as if its key had been changed in between: of a subject with
// several sessions the earlier ones go into the first, of the others every second one.
// It returns the second with other names for the subjects, and those by the names in s.
func (s *Shipment) halves() (first, second *Shipment) {
	first, second = &Shipment{Fields: s.Fields}, &Shipment{Fields: s.Fields}
	names, of := s.subjects()
	for n, name := range names {
		list := of[name]
		cut := (len(list) + 1) / 2
		if len(list) == 1 {
			cut = n % 2
		}
		first.Sessions = append(first.Sessions, list[:cut]...)
		second.Sessions = append(second.Sessions, list[cut:]...)
	}
	slices.SortFunc(second.Sessions, func(a, b *Session) int { return strings.Compare(a.Name, b.Name) })
	return first, second
}
