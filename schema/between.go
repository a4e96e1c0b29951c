package schema

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// What only shows when sessions are held against each other. Every session is one that
// the rules of a single record have let through.

// between asks what cannot be true, or hardly, of the sessions of a collection together.
func (c *Collection) between() {
	c.overlaps()
	c.farApart()
	c.outOfOrder()
	c.atNight()
	c.elsewhere()
	c.changedSubjects()
	c.allEqual()
	if c.Root != nil { // records that are no files yet have no recordings
		c.misnamed()
		c.whose()
		c.unrecorded()
	}
	c.oddCodes()
	c.outliers()
	c.pounds()
	c.contradictions()
	if len(c.Sessions) <= habitsUpTo {
		c.exchanged()
		c.habits()
	}
}

// report adds a problem at a place of a session's record.
func (c *Collection) report(s *Session, pointer, rule string, weight Severity, message string) {
	q := queries{file: s.File, node: s.Doc}
	q.add(pointer, rule, weight, message)
	c.Problems = append(c.Problems, q.problems...)
}

// at is where pointer stands in the record of s.
func (s *Session) at(pointer string) place {
	q := queries{file: s.File, node: s.Doc}
	p := q.place(pointer)
	if s.Where != nil {
		p.text = s.Where(pointer)
	}
	return p
}

// byStart returns the sessions that have a start and an end in order, the earliest first.
func (c *Collection) byStart() []*Session {
	var out []*Session
	for _, s := range c.Sessions {
		if lasted := s.Ended.Sub(s.Started); !s.Started.IsZero() && lasted >= 0 && lasted <= longestSession {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b *Session) int {
		return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(a.File, b.File))
	})
	return out
}

// sameMinutes is by how much sessions may overlap: two clocks, or times written down
// to the minute.
const sameMinutes = time.Minute

// overlaps reports two sessions of one subject, or with one sampler, in the same minutes:
// a line of the log was copied, or a date, a serial number or a subject is wrong.
func (c *Collection) overlaps() {
	type key struct{ subject, sampler string }
	last := make(map[key]*Session) // the session that ends last of those before
	for _, s := range c.byStart() {
		subject, _ := Canonical(s.Subject)
		keys := []key{{subject: subject}, {sampler: strings.ToLower(literal(s.Doc.At("/sampler/serial")))}}
		told := false
		for _, k := range keys {
			before := last[k]
			if k == (key{}) {
				continue
			}
			if before == nil || s.Ended.After(before.Ended) {
				last[k] = s
			}
			if before == nil || told || min(s.Ended.Sub(s.Started), before.Ended.Sub(s.Started)) <= sameMinutes &&
				!s.Started.Equal(before.Started) {
				continue
			}
			told = true
			if k.subject != "" {
				c.report(s, "/started_at", "session.overlap", Error, fmt.Sprintf("the same subject was in another "+
					"session in these minutes, by started_at in %s: correct the times or the subject_id of the one "+
					"that is wrong", before.at("/started_at")))
			} else {
				c.report(s, "/started_at", "session.overlap", Error, fmt.Sprintf("another subject used the same "+
					"sampler in these minutes, by started_at in %s: correct the times, the sampler's serial or the "+
					"subject_id of the one that is wrong", before.at("/started_at")))
			}
		}
	}
}

// farApart reports the sessions that more than gap_days part from most sessions of the
// folder, or once the folder if that are many.
func (c *Collection) farApart() {
	all, days := c.byStart(), c.Study.GapDays
	away := func(i int) time.Duration { return all[i].Started.Sub(all[i-1].Started) }
	gap := time.Duration(days)*24*time.Hour + 12*time.Hour // at another hour of that day
	from, to, start := 0, 0, 0                             // of those without a gap, the most, the latest of several
	for i := 1; i <= len(all); i++ {
		if i < len(all) && away(i) <= gap {
			continue
		}
		if i-start >= to-from {
			from, to = start, i
		}
		start = i
	}
	if outside := len(all) - (to - from); outside > max(1, len(all)/4) {
		c.Problems = append(c.Problems, Problem{File: sessionsDir, Rule: "session.far", Severity: Warning,
			Message: fmt.Sprintf("%d of the %d sessions lie more than the %d days of gap_days in study.json away from "+
				"the others: check the years, months and days of started_at; if they are right, begin a folder for "+
				"each week, or set gap_days", outside, len(all), days)})
		return
	}
	for i, s := range all {
		if i >= from && i < to {
			continue
		}
		apart := max(all[from].Started.Sub(s.Started), s.Started.Sub(all[to-1].Started))
		c.report(s, "/started_at", "session.far", Warning, fmt.Sprintf("this session lies %d days away from the "+
			"other sessions of this folder: check its year, month and day; if they are right, it belongs into a "+
			"folder of its own", int(apart.Hours()/24)))
	}
}

// By how much the body of an adult does not change from one week to another (common
// practice, no source).
const (
	heightChange = 20 // cm
	weightChange = 30 // kg
)

// measured are the values of a subject that stay, or nearly.
var measured = []struct {
	name, unit string
	change     float64
}{{"height_cm", "cm", heightChange}, {"weight_kg", "kg", weightChange}}

// changedSubjects holds the values of a subject against those of its other sessions and,
// where the roster has the columns, against the roster.
func (c *Collection) changedSubjects() {
	rows := make(map[string]map[string]string)
	for _, row := range c.Roster.Rows {
		if id, err := Canonical(row["subject_id"]); err == nil && rows[id] == nil {
			rows[id] = row
		}
	}
	first := make(map[[2]string]*Session) // by subject and field
	const todo = ": find out who was sampled and correct subject_id, or correct the value that is wrong"
	for _, s := range c.Sessions {
		id, err := Canonical(s.Subject)
		if err != nil {
			continue
		}
		const sexAt = "/subject/sex"
		if sex := sexWord(s.Doc.At(sexAt).text()); sex != "" {
			before := first[[2]string{id, sexAt}]
			if before == nil {
				first[[2]string{id, sexAt}] = s
			} else if sexWord(before.Doc.At(sexAt).text()) != sex {
				c.report(s, sexAt, "subject.changed", Warning, fmt.Sprintf("sex differs from that in %s, of the same "+
					"subject"+todo, before.at(sexAt)))
			}
		}
		for _, m := range measured {
			pointer := "/subject/" + m.name
			value, ok := figure(literal(s.Doc.At(pointer)))
			if !ok {
				continue
			}
			if listed, ok := figure(rows[id][m.name]); ok && math.Abs(value-listed) >= m.change {
				c.report(s, pointer, "subject.changed", Warning, fmt.Sprintf("%s differs from that in roster.csv by "+
					"%g %s or more"+todo, m.name, m.change, m.unit))
			}
			before := first[[2]string{id, pointer}]
			if before == nil {
				first[[2]string{id, pointer}] = s
			} else if old, _ := figure(literal(before.Doc.At(pointer))); math.Abs(value-old) >= m.change {
				c.report(s, pointer, "subject.changed", Warning, fmt.Sprintf("%s differs from that in %s, of the same "+
					"subject, by %g %s or more"+todo, m.name, before.at(pointer), m.change, m.unit))
			}
		}
	}
}

func figure(text string) (float64, bool) {
	v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
	return v, err == nil && !math.IsNaN(v)
}

// An equalColumn is a value that differs from one session to another, unless somebody
// filled a column of the log by copying.
type equalColumn struct {
	pointer, what string
	subjects      bool // one value a subject counts, not one a session
	clock         bool // of times: see fewEqual
	value         func(*Session) string
}

var equalColumns = []equalColumn{
	{"/ended_at", "last exactly as long from started_at to ended_at", false, true,
		func(s *Session) string { return span(s.Started, s.Ended) }},
	{"/started_at", "begin at exactly the same time of day", false, true,
		func(s *Session) string { return s.Started.Format("15:04:05.999") }},
	{"/tubes/0/uncapped_at", "have their first tube uncapped exactly as long after started_at", false, true,
		func(s *Session) string {
			if len(s.Tubes) == 0 || s.Tubes[0].Uncapped.IsZero() {
				return ""
			}
			return span(s.Started, s.Tubes[0].Uncapped)
		}},
	{"/subject/height_cm", "have the same height_cm", true, false,
		func(s *Session) string { return literal(s.Doc.At("/subject/height_cm")) }},
	{"/subject/weight_kg", "have the same weight_kg", true, false,
		func(s *Session) string { return literal(s.Doc.At("/subject/weight_kg")) }},
}

func span(from, to time.Time) string {
	if from.IsZero() || to.IsZero() {
		return ""
	}
	return to.Sub(from).String()
}

// fewEqual is how many equal values may be chance; of times that were written down to the
// minute, twice as many.
const fewEqual = 5

// allEqual reports columns all of whose values are equal although they should differ.
func (c *Collection) allEqual() {
	minutes := !slices.ContainsFunc(c.Sessions, func(s *Session) bool {
		return s.Started.Second() != 0 || s.Ended.Second() != 0
	})
	for _, col := range equalColumns {
		seen := make(map[string]bool) // subjects
		value, count, differ := "", 0, false
		for _, s := range c.Sessions {
			v := col.value(s)
			if id, _ := Canonical(s.Subject); col.subjects && seen[id] {
				continue
			} else {
				seen[id] = true
			}
			if differ = v == "" || count > 0 && v != value; differ {
				break
			}
			value, count = v, count+1
		}
		needed := fewEqual
		if col.clock && minutes {
			needed *= 2
		}
		if differ || count < needed {
			continue
		}
		of := "sessions"
		if col.subjects {
			of = "subjects"
		}
		c.report(c.Sessions[0], col.pointer, "record.equal", Warning, fmt.Sprintf("all %d %s of this folder %s: "+
			"perhaps a column of the log was filled by copying; compare some with the notes taken at the time, and "+
			"correct what is not true", count, of, col.what))
	}
}
