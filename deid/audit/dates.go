package audit

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"outbreath/schema"
)

// visits returns the sessions of each subject as they leave, in order of time.
func (e *examiner) visits() map[string][]*Record {
	by := map[string][]*Record{}
	for _, r := range e.o.Records {
		if !r.Started.IsZero() {
			by[r.Subject] = append(by[r.Subject], r)
		}
	}
	for _, list := range by {
		slices.SortFunc(list, func(a, b *Record) int { return a.Started.Compare(b.Started) })
	}
	return by
}

// appointments returns the content of an appointment book of the site: the true starts of each
// subject's sessions, in order of time.
func (e *examiner) appointments() map[string][]time.Time {
	by := map[string][]time.Time{}
	for _, s := range e.in.Source {
		who := identity(s.Subject)
		by[who] = append(by[who], s.Started)
	}
	for _, list := range by {
		slices.SortFunc(list, time.Time.Compare)
	}
	return by
}

// match runs a with the appointment book: it counts the subjects whose pattern of
// visits fits exactly one subject of the book, if that is the right one. ofVisits
// returns the pattern of visits in order of time; subjects with fewer than least visits
// are not tried.
func (e *examiner) match(a Attack, ofVisits func([]time.Time) string, least int) Attack {
	if len(e.in.Source) == 0 {
		a.Verdict, a.Detail, a.Lacks = NotRun, "only the site knows the true dates of the visits", LacksSource
		return a
	}
	owners := map[string][]string{}
	for subject, days := range e.appointments() {
		key := ofVisits(days)
		owners[key] = append(owners[key], subject)
	}
	for who, list := range e.visits() {
		if len(list) < least {
			continue
		}
		var times []time.Time
		for _, r := range list {
			times = append(times, r.Started)
		}
		a.Tried++
		if like := owners[ofVisits(times)]; len(like) == 1 && like[0] == identity(e.in.SubjectOf[who]) {
			a.Succeeded++
		}
	}
	a.Verdict = grade(a.Succeeded)
	return a
}

// visitDays matches the days between visits.
func (e *examiner) visitDays() Attack {
	a := e.match(Attack{Name: "days between visits", Unit: "subjects with two visits or more",
		Knows: "the days of every visit, as in an appointment book"},
		func(times []time.Time) string {
			var b strings.Builder
			first := dayOf(times[0])
			for _, t := range times {
				fmt.Fprint(&b, int(dayOf(t).Sub(first).Hours()/24), " ")
			}
			return b.String()
		}, 2)
	if a.Verdict != NotRun {
		a.Detail = "a shift keeps the days between a subject's visits, because the analysis needs them: whoever has " +
			"the appointment book can recognise intervals that no other subject has"
	}
	return a
}

// visitClock matches the days between visits and the time of day.
func (e *examiner) visitClock() Attack {
	a := e.match(Attack{Name: "time of day of the visits", Unit: "subjects",
		Knows: "the day and the minute of every visit, as in an appointment book"},
		func(times []time.Time) string {
			var b strings.Builder
			first := dayOf(times[0])
			for _, t := range times {
				fmt.Fprint(&b, int(dayOf(t).Sub(first).Hours()/24), t.Format(" 15:04 "))
			}
			return b.String()
		}, 1)
	if a.Verdict != NotRun {
		a.Detail = "a shift keeps the time of day: keep the appointment book away from whoever gets the data, or " +
			"use a plan under which only years leave"
	}
	return a
}

// dayOf returns the civil date of t as midnight UTC.
func dayOf(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// sealingDate narrows each shift down: the true day of every visit is at most
// holding_days before the sealing date, which is on the label.
func (e *examiner) sealingDate() Attack {
	a := Attack{Name: "sealing date and holding days", Unit: "subjects",
		Knows: "the sealing date on the label, and how many days tubes may be held"}
	shifted := slices.ContainsFunc(e.in.Fields, func(f Field) bool {
		return f.Path == "/started_at" && f.treatment().Kind == schema.Shift
	})
	if !shifted || e.in.Sealed.IsZero() {
		a.Verdict, a.Detail = NotRun, "no shifted date leaves"
		return a
	}
	sealed, held := dayOf(e.in.Sealed), e.in.HoldingDays
	left := 0
	for _, list := range e.visits() {
		first, last := dayOf(list[0].Started), dayOf(list[len(list)-1].Started)
		// s days back: last + s <= sealed, first + s >= sealed - held
		most := min(364, int(sealed.Sub(last).Hours()/24))
		least := max(1, int(sealed.Sub(first).Hours()/24)-held)
		a.Tried++
		candidates := max(0, most-least+1)
		left += candidates
		if candidates == 1 {
			a.Succeeded++
		}
	}
	if a.Tried == 0 {
		a.Verdict, a.Detail = NotRun, "no date leaves"
		return a
	}
	mean := float64(left) / float64(a.Tried)
	a.Verdict = Residual
	if mean > 180 {
		a.Verdict = grade(a.Succeeded)
	}
	a.Detail = fmt.Sprintf("of 364 possible shifts, %.1f remain on average for a subject, with %d holding days: "+
		"whoever sees the label knows the true day of a visit that closely, whatever the shift; success means "+
		"that only one remains. More shifts remain if the box is sealed later or may be held longer", mean, held)
	return a
}
