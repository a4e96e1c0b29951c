package sessionlog

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"outbreath/schema"
	"outbreath/schema/sampler"
)

// A Visit is a session as recordings are matched with it.
type Visit struct {
	ID             string // session_id
	Where          string // what it is called in messages: "sheet sessions, row 4"
	Started, Ended time.Time
	Serial         string // of the sampler
	Subject        string // subject_id
	BirthDates     []string
	Sexes          []string          // of record and roster
	Person         map[string]string // the subject's row of the roster; nil if there is none
	Files          []string          // recordings that the record names, without folders
	Before         []string          // those that it had when it was last filled
}

// VisitOf returns what of a record, and of the roster's row of its subject, recordings
// are matched by. roster may be nil.
func VisitOf(r *Record, roster *schema.Roster) Visit {
	text := func(pointer string) string {
		if n := r.Values[pointer]; n != nil {
			return n.Text
		}
		return ""
	}
	v := Visit{ID: r.ID, Where: r.Where, Serial: text("/sampler/serial"), Subject: text("/subject/subject_id")}
	v.Started, _ = time.Parse(time.RFC3339Nano, text("/started_at"))
	v.Ended, _ = time.Parse(time.RFC3339Nano, text("/ended_at"))
	v.person(text("/subject/birth_date"), text("/subject/sex"))
	for i := 0; ; i++ {
		file := text(fmt.Sprintf("/recordings/%d/file", i))
		if file == "" {
			break
		}
		v.Files = append(v.Files, base(file))
	}
	if roster == nil {
		return v
	}
	for _, row := range roster.Rows {
		if schema.SameID(row["subject_id"], v.Subject) {
			v.Person = row
			v.person(row["birth_date"], row["sex"])
		}
	}
	return v
}

// person takes a birth date and a sex from record or roster.
func (v *Visit) person(born, sex string) {
	if born != "" && !slices.Contains(v.BirthDates, born) {
		v.BirthDates = append(v.BirthDates, born)
	}
	if sex != "" {
		v.Sexes = append(v.Sexes, sex)
	}
}

// base is a file's name without folders.
func base(file string) string { return file[strings.LastIndexAny(file, `/\`)+1:] }

// A verdict is what one kind of evidence says of a file and a session.
type verdict int8

const (
	against verdict = iota - 1
	silent
	roughly // it may well be
	exactly
)

// Limits of the clock; common practice, no source. Two clocks that nobody compares
// differ by minutes, and a sampler is started before or after the session is.
const (
	clockNear = 2 * time.Minute
	clockFar  = 10 * time.Minute
	longer    = time.Minute // that a recording may be than its session, as check allows
)

// evidence is all that speaks for or against one file being one session's.
type evidence struct {
	name, clock, length, serial, person verdict       // person: the number of the visit as well
	apart                               time.Duration // of the start, by the clocks; for messages
	why                                 []string      // what speaks against, in words
}

// contradicted reports whether something speaks against.
func (e *evidence) contradicted() bool { return len(e.why) > 0 }

// weight orders the sessions that a file without a name may be of: 0 is none.
func (e *evidence) weight() int {
	if e.contradicted() || max(e.name, e.clock, e.person) <= silent {
		return 0
	}
	return 1 + 8*int(max(e.name, silent)) + 4*int(max(e.clock, silent)) + 2*int(max(e.person, silent)) +
		int(max(e.serial, silent))
}

// how says by what a file was matched.
func (e *evidence) how() string {
	var by []string
	for _, v := range []struct {
		verdict
		word string
	}{{e.name, "name"}, {e.clock, "clock"}, {e.length, "length"}, {e.serial, "serial number"},
		{e.person, "the subject or visit in it"}} {
		if v.verdict > silent {
			by = append(by, v.word)
		}
	}
	return strings.Join(by, ", ")
}

// weigh compares a file with all sessions by everything but the clock. A sampler,
// number or name that fits another session speaks against this one; one that fits none
// says nothing.
func weigh(f *RecordingFile, visits []Visit) []evidence {
	out := make([]evidence, len(visits))
	any := func(fit func(*Visit) bool) (list []bool, found bool) {
		list = make([]bool, len(visits))
		for k := range visits {
			list[k] = fit(&visits[k])
			found = found || list[k]
		}
		return list, found
	}
	serials, serial := any(func(v *Visit) bool { return f.About.Serial != "" && holds(f.About.Serial, v.Serial) })
	numbers, number := any(func(v *Visit) bool { return f.About.Visit != "" && schema.SameID(f.About.Visit, v.ID) })
	codes, code := any(func(v *Visit) bool {
		return schema.HasCode(v.Person, f.About.SubjectCode) ||
			schema.SameID(f.About.SubjectCode, v.Subject)
	})
	names, name := any(func(v *Visit) bool { return schema.HasName(v.Person, f.About.Name) })
	for k := range visits {
		v, e := &visits[k], &out[k]
		e.name = byName(f.Name, v)
		if limit := v.Ended.Sub(v.Started); f.About.Length > 0 && limit > 0 {
			if e.length = roughly; f.About.Length > limit+longer {
				e.length = against
				e.why = append(e.why, "it is longer than that session")
			}
		}
		if serials[k] {
			e.serial = roughly
		} else if serial && v.Serial != "" {
			e.serial = against
			e.why = append(e.why, "another sampler of the log wrote it")
		}
		if number {
			e.tell(numbers[k], "the number of the visit in it is another session's")
		}
		e.byBirth(&f.About, v)
		if code {
			e.tell(codes[k], "the subject's number in it is another subject's")
		}
		if name {
			e.tell(names[k], "the name in it is another subject's")
		}
	}
	return out
}

// at returns the evidence with that of the clock, corrected by shift.
func (e evidence) at(a *sampler.About, v *Visit, shift time.Duration) evidence {
	e.why = slices.Clip(e.why)
	e.byClock(a, v, shift)
	return e
}

// byName: the record names the file, or the file's name holds the session_id: exactly.
// It holds the subject_id: roughly.
func byName(name string, v *Visit) verdict {
	name = base(name)
	stem := func(s string) string {
		if i := strings.LastIndexByte(s, '.'); i > 0 {
			s = s[:i]
		}
		return strings.ToLower(s)
	}
	is := func(n string) bool { return stem(n) == stem(name) }
	if slices.ContainsFunc(v.Files, is) || slices.ContainsFunc(v.Before, is) {
		return exactly
	}
	switch {
	case len(v.Files) > 0:
		return silent // it names others
	case holds(stem(name), v.ID):
		return exactly
	case holds(stem(name), v.Subject):
		return roughly
	}
	return silent
}

// holds reports whether a text has an identifier as whole words: V0001 is not in
// V00010. One that is less than four digits, or a single letter, may be anything there:
// it must be the whole text.
func holds(text, id string) bool {
	words := func(s string) string { return "-" + strings.Join(tokens(s), "-") + "-" }
	text, id = words(text), words(id)
	if short := len(id) < 4 || len(id) < 6 && strings.Trim(id, "0123456789-") == ""; short {
		return id != "--" && text == id
	}
	return strings.Contains(text, id)
}

// byClock compares the start by the file's own clock with that of the session.
func (e *evidence) byClock(a *sampler.About, v *Visit, shift time.Duration) {
	if a.Start.IsZero() || v.Started.IsZero() {
		return
	}
	starts := []time.Time{a.Start}
	if !a.Other.IsZero() {
		starts = append(starts, a.Other)
	}
	for i, s := range starts {
		from, to := v.Started, v.Ended
		if a.Local {
			from, to = wall(from), wall(to)
		}
		if a.ClockOnly {
			y, m, d := from.Date()
			s = time.Date(y, m, d, s.Hour(), s.Minute(), s.Second(), s.Nanosecond(), from.Location())
		}
		s = s.Add(shift)
		got := lies(s, a.Length, from, to)
		if i == 0 || got > e.clock {
			e.clock, e.apart = got, s.Sub(from)
		}
	}
	if e.clock == against {
		e.why = append(e.why, "it began "+schema.Apart(e.apart)+" that session by its own clock")
	}
}

func wall(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
}

// lies says whether a recording that began at s lies within a session.
func lies(s time.Time, length time.Duration, from, to time.Time) verdict {
	within := func(margin time.Duration) bool {
		return !s.Before(from.Add(-margin)) && s.Before(to) && !s.Add(length).After(to.Add(margin))
	}
	switch {
	case within(clockNear):
		return exactly
	case within(clockFar):
		return roughly
	}
	return against
}

// byBirth compares birth date and sex.
func (e *evidence) byBirth(a *sampler.About, v *Visit) {
	if a.BirthDate != "" && len(v.BirthDates) > 0 {
		e.tell(slices.Contains(v.BirthDates, a.BirthDate) || slices.Contains(v.BirthDates, a.OtherBirth),
			"the birth date in it is not that of the subject")
	}
	if len(v.Sexes) > 0 && !slices.ContainsFunc(v.Sexes, func(s string) bool { return !schema.SexesDiffer(s, a.Sex) }) {
		e.tell(false, "the sex in it is not that of the subject")
	}
}

// tell takes in whether something about the person agrees.
func (e *evidence) tell(agrees bool, what string) {
	switch {
	case !agrees:
		e.person = against
		e.why = append(e.why, what)
	case e.person != against:
		e.person = exactly
	}
}
