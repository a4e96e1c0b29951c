package sessionlog

import (
	"fmt"
	"strings"
	"time"

	"outbreath/schema"
)

// A sessionClock is what a session says about the times of its log.
type sessionClock struct {
	id    string
	day   day // of the session; zero if not known
	known bool
	start clock // when it began, local time
	begun bool
	bad   bool // the day is in doubt, which was said already
}

// clockOf finds the session's day, and the time at which it began.
func (r *reader) clockOf(s *session) sessionClock {
	t := sessionClock{id: s.ID, bad: s.own[DateField].bad || s.own["/started_at"].bad}
	if date := s.own[DateField]; date.hasDay {
		t.day, t.known = date.day, true
	}
	start := s.own["/started_at"]
	if start.exact != "" {
		if at, err := time.Parse(time.RFC3339, start.exact); err == nil {
			t.day, t.known = day{at.Year(), int(at.Month()), at.Day()}, true
			t.start, t.begun = clock{hour: at.Hour(), minute: at.Minute(), second: at.Second()}, true
		}
		return t
	}
	if start.hasDay {
		t.day, t.known = start.day, true
	}
	t.start, t.begun = start.clock, start.hasHm
	return t
}

// Times without a day belong to the session's day. A time that lies so far before its
// beginning is one of the next day, after midnight; one that lies so far behind it is
// one of the day before (common practice, no source).
const (
	farBefore = 12 * time.Hour
	farBehind = 18 * time.Hour
)

// moment makes an RFC 3339 time of a value; "" with a doubt or problem if it cannot.
func (r *reader) moment(pointer string, leaf *schema.Leaf, v value, t sessionClock, own value) string {
	field := fieldOf(pointer)
	if v.exact != "" {
		return v.exact
	}
	if !v.hasHm {
		r.problem(v.at, field, "the time of day is missing: write it behind the date, such as 2026-03-02 09:10")
		return ""
	}
	d := v.day
	switch {
	case v.hasDay:
	case own.hasDay:
		d = own.day
	case own.bad, !t.known && t.bad:
		return "" // said already
	case !t.known || !ofSession(field):
		r.problem(v.at, field, "the day of this time is missing: write the date before it, such as 2026-03-02 09:10")
		return ""
	default:
		d = r.near(field, v, t)
	}
	if leaf.Format == "time" {
		if o := r.offset(v, d, t, pointer); o != "" {
			return v.clock.String() + o
		}
		return ""
	}
	if o := r.offset(v, d, t, pointer); o != "" {
		return stamp(d, v.clock, o)
	}
	return ""
}

// ofSession reports whether a time without a day is one of the session's day. A tube is
// conditioned on another.
func ofSession(field string) bool { return !strings.HasSuffix(field, "/conditioned_at") }

// near returns the day of a time that has none: the session's, or the one beside it where
// midnight lies between.
func (r *reader) near(field string, v value, t sessionClock) day {
	if !t.begun || field == "/started_at" || v.clock.offset != "" {
		return t.day
	}
	apart := v.clock.sinceMidnight() - t.start.sinceMidnight()
	next := 0
	switch {
	case apart < -farBefore:
		next = 1
	case apart > farBehind:
		next = -1
	default:
		return t.day
	}
	r.out.Understood = append(r.out.Understood, Understood{Where: v.at, Field: field,
		How: map[int]string{1: "taken as after midnight, on the day after the session began",
			-1: "taken as before midnight, on the day before the session began"}[next]})
	return t.day.add(next)
}

// offset returns the distance from UTC of a local time. An hour that the clocks go
// through twice is asked about; one that they leave out is a problem.
func (r *reader) offset(v value, d day, t sessionClock, pointer string) string {
	if v.clock.offset != "" {
		return v.clock.offset
	}
	zone := r.location(v.at)
	if zone == nil {
		return ""
	}
	found := offsets(d, v.clock, zone)
	switch len(found) {
	case 1:
		return found[0]
	case 0:
		r.problem(v.at, fieldOf(pointer), fmt.Sprintf("the clocks of %s went forward over this time, so that it "+
			"did not "+
			"exist: correct it, or write it with its distance from UTC, such as 2026-03-29T02:30:00+01:00",
			r.out.Zone))
		return ""
	}
	key := id("twice", t.id, pointer, d.String())
	for _, o := range found {
		if r.set.Answers[key] == o {
			return o
		}
	}
	r.doubt(Doubt{ID: key, Question: fmt.Sprintf("the clocks of %s went back over this time, so that it came twice: "+
		"which one is meant?", r.out.Zone), Choices: []Choice{{found[0], "the first, summer time (" + found[0] + ")"},
		{found[1], "the second, winter time (" + found[1] + ")"}}}, v.at)
	return ""
}
