package sessionlog

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"outbreath/schema/sheet"
)

// swap exchanges day and month; ok is false where that is no other day.
func (d day) swap() (day, bool) {
	s := day{d.year, d.day, d.month}
	return s, d.day != d.month && s.valid()
}

// onlyYearDay reports whether a date can be read as year, day, month alone.
func (w *written) onlyYearDay() bool {
	return len(w.days) == 0 && w.yearDay.valid() && w.yearDay.day > 12
}

// yearDay reads dates such as 2026-31-01. Where a cell of a column can only be such a one, or
// where a person has said so before, all of the column are.
func (r *reader) yearDay(c *column, read []*written, out []value) {
	key := id("year-day", c.key())
	said := r.set.Answers[key] == "year-day"
	if !said && !slices.ContainsFunc(read, func(w *written) bool {
		return w != nil && w.onlyYearDay()
	}) {
		return
	}
	for i, w := range read {
		switch {
		case w == nil || w.yearDay == (day{}):
		case said:
			c.say("year, day, month, as was said")
			w.days = map[string][]day{}
			if w.yearDay.valid() {
				for _, o := range orders {
					w.days[o] = []day{w.yearDay}
				}
			}
		default:
			read[i] = nil
			out[i] = value{at: out[i].at, bad: true}
			r.doubt(Doubt{ID: key,
				Question: fmt.Sprintf("some dates under %q can only be read as year, day, month: are "+
					"all of these cells written so? If not, write them as year-month-day, such as 2026-03-31",
					c.heading),
				Choices: []Choice{{"year-day", "yes: 2026-31-03 is the 31st of March, 2026-04-03 the 4th of March"}}},
				out[i].at)
		}
	}
}

// turned asks about dates in which a spreadsheet may have taken the day for the month. It
// does so with all that it can read its own way, and leaves the others as texts: so
// where one column has both; and where sessions that lie months from the others would lie
// beside them.
func (r *reader) turned(c *column, read []*written, stored []bool, out []value) {
	suspect := map[int]bool{}
	oneOrder := slices.ContainsFunc(read, func(w *written) bool { return w != nil && len(w.days) == 1 })
	for i, v := range out {
		if _, ok := v.day.swap(); ok && v.hasDay && stored[i] && oneOrder {
			suspect[i] = true
		}
	}
	if c.src.sheet == SessionsSheet && (c.column.Field == DateField || c.column.Field == "/started_at") {
		for _, i := range apartButForOrder(out) {
			suspect[i] = true
		}
	}
	if len(suspect) == 0 {
		return
	}
	about := []string{c.key()}
	for i, v := range out {
		if suspect[i] {
			about = append(about, v.day.String())
		}
	}
	slices.Sort(about[1:])
	key := id("turned", slices.Compact(about)...)
	for i := range out {
		v := &out[i]
		if !suspect[i] {
			continue
		}
		switch r.set.Answers[key] {
		case "keep":
		case "turn":
			v.day, _ = v.day.swap()
			c.say("day and month exchanged in some cells, as was said")
		default:
			r.doubt(Doubt{ID: key,
				Question: fmt.Sprintf("dates under %q contradict each other, or lie months apart: has a "+
					"spreadsheet taken the day for the month in these cells? If only in some of them, correct "+
					"these in the "+
					"log", c.heading), Choices: []Choice{{"turn", "yes: exchange day and month in these cells"},
					{"keep", "no: they are right as they are"}}}, v.at)
			*v = value{at: v.at, bad: true}
		}
	}
}

// Limits of a log's days; common practice, no source: the sessions of one log are of a week
// or two, and an exchange of day and month moves a date by a month or more.
const (
	oneLog    = 31  // days from the first to the last that raise no question
	besides   = 10  // days between sessions that belong together
	mostDates = 400 // different days beyond which nothing is compared
)

// apartButForOrder returns those days that lie far from most of the others, and near them
// with day and month exchanged.
func apartButForOrder(out []value) []int {
	var have []int
	var centres []day
	for i, v := range out {
		if !v.hasDay {
			continue
		}
		have = append(have, i)
		if !slices.Contains(centres, v.day) {
			centres = append(centres, v.day)
		}
		if len(centres) > mostDates {
			return nil
		}
	}
	first, last := time.Time{}, time.Time{}
	for n, d := range centres {
		if t := d.time(); n == 0 {
			first, last = t, t
		} else if t.Before(first) {
			first = t
		} else if t.After(last) {
			last = t
		}
	}
	if last.Sub(first) <= oneLog*24*time.Hour {
		return nil
	}
	for _, d := range slices.Clone(centres) {
		if s, ok := d.swap(); ok && !slices.Contains(centres, s) {
			centres = append(centres, s)
		}
	}
	var best []int
	most, mostPlain := 0, 0
	for _, m := range centres {
		near := func(d day) bool { return m.time().Sub(d.time()).Abs() <= besides*24*time.Hour }
		plain, turned := 0, []int(nil)
		for _, i := range have {
			s, ok := out[i].day.swap()
			switch {
			case near(out[i].day):
				plain++
			case ok && near(s):
				turned = append(turned, i)
			}
		}
		if all := plain + len(turned); all > most || all == most && plain > mostPlain {
			best, most, mostPlain = turned, all, plain
		}
	}
	if 4*most < 3*len(have) {
		return nil
	}
	return best
}

// nights asks about sessions at night where most are by day: 1:20 is typed for 13:20.
func (r *reader) nights() {
	about, at, all := []string{}, []string{}, 0
	for _, s := range r.sessions {
		v := s.own["/started_at"]
		if !v.hasHm || v.bad {
			continue
		}
		all++
		if v.clock.hour >= 1 && v.clock.hour < 6 && !v.half && v.clock.offset == "" {
			about, at = append(about, s.ID+" "+v.clock.String()), append(at, v.at)
		}
	}
	if len(about) == 0 || all < 2 || 2*len(about) > all {
		return
	}
	key := id("night", about...)
	if r.set.Answers[key] == "night" {
		return
	}
	for _, cell := range at {
		r.doubt(Doubt{ID: key,
			Question: "these sessions began at night, and most others by day: is that right? If not, " +
				"write the hour after noon as 13, here and for the tubes, or add am or pm",
			Choices: []Choice{{"night", "yes: they were at night"}}}, cell)
	}
}

// emptyDates names the cells of dates that are empty where the times of their sessions have
// no day. Where a date is above, it is asked whether that is meant.
func (r *reader) emptyDates() {
	above := map[*source]value{}
	var empty []*session
	days := map[*session]value{}
	about := []string{}
	for _, s := range r.sessions {
		v, start := s.own[DateField], s.own["/started_at"]
		switch {
		case v.hasDay:
			above[s.src] = v
		case v.bad || start.bad || start.hasDay || start.exact != "" || !start.hasHm || !s.src.has(DateField):
		default:
			empty = append(empty, s)
			days[s] = above[s.src]
			about = append(about, s.ID, days[s].day.String())
		}
	}
	key := id("carry", about...)
	for _, s := range empty {
		at := s.src.ref(s.row, s.src.cols[slices.IndexFunc(s.src.cols, func(c *column) bool {
			return c.column.Field == DateField
		})].col)
		switch {
		case !days[s].hasDay:
			r.problem(at, DateField, "the date of this session is missing: write it here, such as 2026-03-02")
		case r.set.Answers[key] == "carry":
			s.own[DateField] = value{at: at, day: days[s].day, hasDay: true}
			continue
		default:
			r.doubt(Doubt{ID: key,
				Question: "the date is empty here: is it that of the session above? If not, write it in " +
					"the log",
				Choices: []Choice{{"carry", "yes: the date above holds for these sessions as well"}}}, at)
		}
		s.own[DateField] = value{at: at, bad: true}
	}
}

// twoDays objects to a session whose date is not the day of the time beside it.
func (r *reader) twoDays(s *session) {
	date, start := s.own[DateField], s.own["/started_at"]
	if !date.hasDay || date.bad || start.bad {
		return
	}
	days := []day{start.day}
	switch {
	case start.exact != "":
		at, err := time.Parse(time.RFC3339, start.exact)
		if err != nil {
			return
		}
		days = []day{dayOf(at)}
		if zone := r.in.Location(r.set); zone != nil {
			days = append(days, dayOf(at.In(zone)))
		}
	case !start.hasDay:
		return
	}
	if !slices.Contains(days, date.day) {
		r.problem(start.at, "/started_at", "the day of this time is not the date of the session ("+date.at+
			"): correct one of the two")
	}
}

func dayOf(t time.Time) day { return day{t.Year(), int(t.Month()), t.Day()} }

// yearAlone reports whether a cell of dates holds nothing but a year.
func yearAlone(kind columnKind, text string) bool {
	return kind == dates && len(text) == 4 && (strings.HasPrefix(text, "19") || strings.HasPrefix(text, "20"))
}

// struck asks about what is crossed out in a workbook: whole rows, and single values. It
// keeps out of the log what a person leaves out.
func (r *reader) struck(s *source) {
	rowsKey, cellsKey := id("struck", "rows", s.sheet, s.Name), id("struck", "cells", s.sheet, s.Name)
	for _, i := range s.rows {
		if r.skipped[rowOf{s, i}] {
			continue
		}
		if s.Rows[i].Struck() {
			switch r.set.Answers[rowsKey] {
			case "read":
			case "leave":
				r.skipped[rowOf{s, i}] = true
			default:
				r.doubt(Doubt{ID: rowsKey,
					Question: "these rows are crossed out: are they part of the log?",
					Choices:  hiddenChoices}, s.ref(i, 0))
				r.skipped[rowOf{s, i}] = true
			}
			continue
		}
		for col, c := range s.Rows[i].Cells {
			if !c.Struck || s.cell(i, col).Kind == sheet.Empty {
				continue
			}
			switch r.set.Answers[cellsKey] {
			case "read":
			case "leave":
				if s.void == nil {
					s.void = map[[2]int]bool{}
				}
				s.void[[2]int{i, col}] = true
			default:
				r.doubt(Doubt{ID: cellsKey,
					Question: "these values are crossed out, as a whole or in part: do they hold?",
					Choices: []Choice{
						{"read", "yes: read them"}, {"leave", "no: read the cells as empty"}}}, s.ref(i, col))
			}
		}
	}
}
