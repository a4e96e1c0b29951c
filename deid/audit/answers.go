package audit

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"

	"outbreath/deid/attack"
	"outbreath/schema"
)

// An Answer is a change of the plan, or of what is done at the site, that takes something
// away from attackers, with its measured effect: the attacks were run once more on what
// would leave then.
type Answer struct {
	Change  string   `json:"change"`
	Paste   []Paste  `json:"paste"` // none: the site must do it, no plan can
	Effects []Effect `json:"effects"`
	// Together is set for several of the other changes made together.
	Together bool `json:"together"`
}

// An Effect compares one attacker before and after a change, in subjects.
type Effect struct {
	Attacker     attack.Attacker `json:"attacker"`
	DaysBefore   int             `json:"days_before"` // whose days are known exactly
	DaysAfter    int             `json:"days_after"`
	LinkedBefore int             `json:"linked_before"`
	LinkedAfter  int             `json:"linked_after"`
}

// less returns how many subjects fewer are dated exactly or linked.
func (a *Answer) less() int {
	n := 0
	for _, e := range a.Effects {
		n += e.DaysBefore - e.DaysAfter + e.LinkedBefore - e.LinkedAfter
	}
	return n
}

// mostAnswered bounds the sessions for which changes are tried: each needs all attacks.
const mostAnswered = 1500

// answers tries changes against the attacks that were found to succeed, and returns those
// that help, the most helpful first. It is nil if there are too many sessions, or if the
// claims were not compared with the truth.
func (e *examiner) answers(before []*attack.Attack) []Answer {
	if len(e.o.leaving.Sessions) > mostAnswered || len(e.in.Source) == 0 {
		return nil
	}
	orders := numbersInOrder(before)
	var shifted []string
	for _, f := range e.in.Fields {
		if f.treatment().Kind == schema.Shift {
			shifted = append(shifted, f.Path)
		}
	}
	list := []Answer{}
	try := func(a Answer, change func(*attack.Session, *attack.Session)) {
		a.Effects = e.effects(before, change)
		if a.less() > 0 {
			list = append(list, a)
		}
	}
	if len(orders) > 0 {
		try(e.unordered(orders), func(x, _ *attack.Session) { unorder(x, orders) })
	}
	if len(shifted) > 0 {
		try(Answer{Change: "no clock: the shifted day, and the seconds since the session's start",
			Paste: pastes(shifted, `"deid": {"shift": {"clock": "drop"}}`)},
			func(x, _ *attack.Session) { dropClock(x, nil) })
		try(Answer{Change: "days since the subject's first session, and the seconds since the session's start",
			Paste: pastes(shifted, `"deid": "day"`)}, dropClock)
		if len(orders) > 0 {
			both := e.unordered(orders)
			both.Change += "; and days since the subject's first session"
			both.Together = true
			both.Paste = append(both.Paste, pastes(shifted, `"deid": "day"`)...)
			try(both, func(x, first *attack.Session) { unorder(x, orders); dropClock(x, first) })
		}
	}
	slices.SortStableFunc(list, func(a, b Answer) int { return cmp.Compare(b.less(), a.less()) })
	return list
}

// unordered returns the answer to numbers that were used in order: pseudonyms, except for
// barcodes, by which the laboratory finds the tubes.
func (e *examiner) unordered(orders []string) Answer {
	a := Answer{Change: "numbers in no order: " + strings.Join(labels(orders), ", ")}
	if slices.ContainsFunc(orders, onBox) {
		a.Change += "; hand out tubes and kits at random, because the laboratory reads their numbers on the box"
	}
	for _, path := range orders {
		if onBox(path) {
			continue
		}
		name := strings.Split(strings.Trim(path, "/"), "/")[0]
		if strings.HasSuffix(path, "/lot") {
			name = "lot"
		}
		a.Paste = append(a.Paste, Paste{path, fmt.Sprintf(`"deid": {"pseudonym": %q}`, name)})
	}
	return a
}

// onBox reports whether a number is one that the laboratory reads on the tubes and kits in
// the box, and not in the data alone.
func onBox(path string) bool {
	return strings.HasSuffix(path, "barcode") || !strings.HasPrefix(path, "/")
}

func pastes(paths []string, line string) []Paste {
	var list []Paste
	for _, p := range paths {
		list = append(list, Paste{p, line})
	}
	return list
}

// effects runs the attacks on a copy of what leaves, in which change was made to every
// session; first is the earliest session of the same subject.
func (e *examiner) effects(before []*attack.Attack, change func(x, first *attack.Session)) []Effect {
	ship := e.o.leaving
	ship.Sessions = nil
	first := map[string]*attack.Session{}
	for _, x := range e.o.leaving.Sessions {
		if f := first[x.Subject]; f == nil || x.Start.Day < f.Start.Day {
			first[x.Subject] = x
		}
	}
	for _, x := range e.o.leaving.Sessions {
		c := *x
		c.Values, c.Times = maps.Clone(x.Values), maps.Clone(x.Times)
		change(&c, first[x.Subject])
		ship.Sessions = append(ship.Sessions, &c)
	}
	var list []Effect
	truth := e.truth()
	for i, a := range attack.Run(&ship, e.knowledge()) {
		attack.Score(a, truth)
		old := before[i]
		list = append(list, Effect{a.Attacker, old.Dating.Exact, a.Dating.Exact, old.Linked, a.Linked})
	}
	return list
}

// unorder replaces numbers by codes that keep nothing but which are equal. With the
// barcodes, what is printed on the kits in the box is lost too: it is found by barcode.
func unorder(x *attack.Session, paths []string) {
	code := func(s string) string {
		sum := sha256.Sum256([]byte(s))
		return hex.EncodeToString(sum[:8])
	}
	box := slices.ContainsFunc(paths, onBox)
	for path, values := range x.Values {
		if !slices.Contains(paths, path) && !(box && onBox(path) && strings.HasSuffix(path, "barcode")) {
			continue
		}
		var codes []string
		for _, v := range values {
			codes = append(codes, code(v))
		}
		x.Values[path] = codes
	}
	if box { // tubes.csv is in the order of the barcodes
		sum := sha256.Sum256([]byte(x.Name))
		x.BoxPlace = 1 + int(sum[0])<<16 + int(sum[1])<<8 + int(sum[2])
	}
}

// dropClock takes the time of day out of a session, as the treatment "shift, no clock" does;
// with first, the day too, as "day" does.
func dropClock(x, first *attack.Session) {
	start := x.Start
	drop := func(m attack.Moment) attack.Moment {
		if m.HasClock && start.HasClock && m.HasDay && start.HasDay && !m.HasElapsed {
			m.Elapsed, m.HasElapsed = m.Clock-start.Clock+86400*int(m.Day-start.Day), true
		}
		m.Clock, m.Grain, m.Offset, m.HasClock, m.HasOffset = 0, 0, 0, false, false
		if first != nil && m.HasDay && first.Start.HasDay {
			m.Count, m.HasCount = int(start.Day-first.Start.Day), true
			m.Day, m.HasDay = 0, false
		} else if m.HasDay {
			m.Day = start.Day
		}
		return m
	}
	for path, list := range x.Times {
		var moved []attack.Moment
		for _, m := range list {
			moved = append(moved, drop(m))
		}
		x.Times[path] = moved
	}
	x.Start, x.StartClock = drop(x.Start), -1
}
