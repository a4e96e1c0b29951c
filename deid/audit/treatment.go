package audit

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/schema"
)

// fewPeople are the first three digits of postal codes whose areas have 20,000 or fewer
// inhabitants. It deliberately repeats the list of package deid, because the audit must
// not share it. Source: HHS guidance of November 2012.
var fewPeople = strings.Fields("036 059 063 102 203 556 692 790 821 823 830 831 878 879 884 890 893")

var (
	bandForm      = regexp.MustCompile(`^(?:(\d{1,2})-(\d{1,2})|90\+)$`)
	nameForm      = regexp.MustCompile(`^recordings/([0-9A-Z-]{21})-\d+\.(csv|edf)$`)
	offsetForm    = regexp.MustCompile(`T.*(?:[Zz]|[+-]\d{2}:\d{2})$`)
	pseudonymForm = regexp.MustCompile(`^(?:[0-9A-HJKMNP-TV-Z]{4}-){4}[0-9A-Z]$`)
)

// stop is what to do about a fault of the treatment.
const stop = "do not seal or use this; keep it as it is and report it, because the treatment did not do what the " +
	"plan requires"

// treatments checks every value that leaves against the promise of its treatment.
// Nothing here calls the code that treats.
func (e *examiner) treatments() {
	byPath := map[string]schema.Treatment{}
	for _, f := range e.in.Fields {
		byPath[f.Path] = f.treatment()
	}
	for _, r := range e.o.Records {
		var dates []time.Time
		for _, l := range r.Leaves {
			t, ok := byPath[l.Path]
			if !ok {
				t, ok = partOf(byPath, l.Path)
			}
			if !ok {
				e.is.add("field.unplanned", true, r.Name+" "+l.Pointer(), "a field that the plan does not name", stop)
				continue
			}
			if l.Text == "" {
				continue
			}
			e.value(r, l, t)
			if t.Kind == schema.Shift && !strings.HasSuffix(l.Path, "/conditioned_at") { // weeks before the session
				if d, err := parseDay(l.Text); err == nil {
					dates = append(dates, d)
				}
			}
		}
		for _, d := range dates {
			if math.Abs(d.Sub(dates[0]).Hours()) > 48 {
				e.is.add("date.apart", true, r.Name, "dates of one session are more than two days apart, so not all "+
					"were moved by the same days", stop)
				break
			}
		}
		if r.Name != "sessions/"+r.Session+".json" {
			e.is.add("name.record", true, r.Name, "the file is not named after the session's pseudonym", stop)
		}
		e.shifts(r)
	}
	for _, t := range e.o.Recordings {
		e.recording(t)
	}
}

// partOf returns the treatment of a time that leaves as an object of which path is a member: the
// seconds since the session began, beside a year, a day count or a moved date. What it returns
// for elapsed_s has no Kind, as there is nothing to check of a number of seconds.
func partOf(byPath map[string]schema.Treatment, path string) (schema.Treatment, bool) {
	at, member := path[:strings.LastIndexByte(path, '/')], path[strings.LastIndexByte(path, '/')+1:]
	t, ok := byPath[at]
	want := map[schema.TreatmentKind]string{schema.Year: "year", schema.DayCount: "day", schema.Shift: "date"}[t.Kind]
	switch {
	case !ok || want == "" || t.Kind == schema.Shift && t.Clock != schema.ClockDrop:
		return schema.Treatment{}, false
	case member == "elapsed_s":
		return schema.Treatment{}, true
	}
	return t, member == want
}

// value checks one value against its treatment.
func (e *examiner) value(r *Record, l Leaf, t schema.Treatment) {
	fault := func(code, what string) { e.is.add(code, true, r.Name+" "+l.Pointer(), what, stop) }
	switch t.Kind {
	case schema.Drop:
		fault("field.dropped", "a field that the plan drops")
	case schema.Pseudonym:
		if !pseudonymForm.MatchString(l.Text) || !checkDigit(l.Text) {
			fault("pseudonym.form", "this is not a pseudonym: its form or its check character is wrong")
		}
	case schema.AgeBand:
		if code, what := bandFault(l.Text, t.Width); code != "" {
			fault(code, what)
		}
	case schema.Region:
		digits := strings.Trim(l.Text, "0123456789") == ""
		switch {
		case digits && len(l.Text) == 3 && slices.Contains(fewPeople, l.Text):
			fault("region.small", "an area of 20,000 people or fewer (Census of 2000)")
		case len([]rune(l.Text)) > 3:
			fault("region.fine", "more of the postal code leaves than the region")
		}
	case schema.Round:
		if x, err := strconv.ParseFloat(l.Text, 64); err == nil && t.Width > 0 && math.Mod(x, float64(t.Width)) != 0 {
			if end := t.Coded && (x == float64(t.From) || x == float64(t.To)); !end {
				fault("round.fine", "the number is finer than the plan allows")
			}
		}
	case schema.Shift:
		if code, what := dateFault(l.Text, t.Clock); code != "" {
			fault(code, what)
		}
	}
}

// dateFault returns the fault of a moved date or time of which clock says what may leave of the
// time of day; "" for none.
func dateFault(text, clock string) (code, what string) {
	switch day, err := parseDay(text); {
	case err != nil:
		return "date.form", "this is not a date"
	case offsetForm.MatchString(text):
		return "date.offset", "this time leaves with its offset from UTC, which shows the season"
	case clock == schema.ClockHour && (day.Truncate(time.Hour) != day || len(text) > len("2006-01-02T15")),
		clock == schema.ClockDrop && len(text) > len(time.DateOnly):
		return "date.clock", "more of the time of day leaves than the plan allows"
	}
	return "", ""
}

// bandFault returns the fault of an age band that should be width years wide; "" for
// none.
func bandFault(text string, width int) (code, what string) {
	m := bandForm.FindStringSubmatch(text)
	switch {
	case m == nil && over89(text):
		return "age.over-89", "an age over 89 leaves on its own instead of in the band 90+"
	case m == nil:
		return "age.band", "this is not an age band"
	case m[1] == "":
		return "", ""
	}
	low, _ := strconv.Atoi(m[1])
	high, _ := strconv.Atoi(m[2])
	switch {
	case high > 89 || low >= 90:
		return "age.over-89", "an age over 89 leaves in a band of its own"
	case high-low+1 < width && high != 89:
		return "age.band", "the age band is narrower than the plan allows"
	}
	return "", ""
}

// over89 reports whether s is, or begins with, a whole number over 89.
func over89(s string) bool {
	digits, _, _ := strings.Cut(s, "-")
	n, err := strconv.Atoi(digits)
	return err == nil && n > 89
}

// parseDay parses a date, a date-time of RFC 3339, or a local time without an offset, whole or
// only its hour.
func parseDay(s string) (time.Time, error) {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02T15"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, nil
		}
	}
	return time.Parse(time.DateOnly, s)
}

// civil returns the date at the start of a date or date-time, regardless of its offset.
func civil(s string) (time.Time, bool) {
	if len(s) < 10 {
		return time.Time{}, false
	}
	t, err := time.Parse(time.DateOnly, s[:10])
	return t, err == nil
}

// shifts compares the dates of r with the site's record, if that is available: all
// dates of a subject must be moved by the same number of days, 1 to 364.
func (e *examiner) shifts(r *Record) {
	source := e.in.Source[r.Session]
	if source == nil {
		return
	}
	for _, f := range e.in.Fields {
		if f.treatment().Kind != schema.Shift {
			continue
		}
		for _, l := range r.Leaves {
			pointer := l.Pointer()
			if l.Path == f.Path+"/date" && f.treatment().Clock == schema.ClockDrop { // the session's day
				pointer = "/started_at"
			} else if l.Path != f.Path {
				continue
			}
			n := source.Doc.At(pointer)
			if n == nil {
				continue
			}
			before, ok1 := civil(n.Text)
			after, ok2 := civil(l.Text)
			if !ok1 || !ok2 {
				continue
			}
			days := int(before.Sub(after).Hours() / 24)
			first, known := e.shift[r.Subject]
			switch {
			case days == 0:
				e.is.add("date.unshifted", true, r.Name+" "+l.Pointer(), "this date leaves unchanged", stop)
			case days < 1 || days > 364:
				e.is.add("date.shift", true, r.Name+" "+l.Pointer(),
					"this date was moved by fewer than 1 or more than 364 days", stop)
			case !known:
				e.shift[r.Subject] = days
			case first != days:
				e.is.add("date.inconsistent", true, r.Name+" "+l.Pointer(),
					"this date was moved by a different number of days than the subject's other dates", stop)
			}
		}
	}
}

// constant adds an issue if five or more subjects all have the same shift: one known
// date would then undo it for everybody.
func (e *examiner) constant() {
	if len(e.shift) < 5 {
		return
	}
	first := -1
	for _, d := range e.shift {
		if first >= 0 && d != first {
			return
		}
		first = d
	}
	e.is.add("date.same-shift", true, "", "the dates of all subjects were moved by the same number of days", stop)
}

// recording checks the name of a recording, and that it holds no text and names nobody.
func (e *examiner) recording(t *Trace) {
	m := nameForm.FindStringSubmatch(t.Name)
	if m == nil || !checkDigit(m[1]) {
		e.is.add("name.recording", true, t.Name, "the recording is not named after a session's pseudonym", stop)
	}
	if t.Foreign {
		e.is.add("recording.text", true, t.Name, "a CSV recording holds something other than numbers below its "+
			"header row", stop)
	}
	if code, _, _ := strings.Cut(t.Patient, " "); strings.HasSuffix(t.Name, ".edf") && code != "X" &&
		!(pseudonymForm.MatchString(code) && checkDigit(code)) {
		e.is.add("recording.patient", true, t.Name, "the patient field of the header does not begin with a pseudonym "+
			"or X", stop)
	}
}

// checkDigit reports whether the last character of a pseudonym fits, by the recursive
// rule of ISO/IEC 7064 for its hybrid systems, with modulus 36.
func checkDigit(s string) bool {
	const alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	p := 36
	chars := strings.ReplaceAll(s, "-", "")
	for i, c := range chars {
		v := strings.IndexRune(alphabet, c)
		if v < 0 {
			return false
		}
		if i == len(chars)-1 {
			return (p+v)%36 == 1
		}
		if p = (p + v) % 36; p == 0 {
			p = 36
		}
		p = 2 * p % 37
	}
	return false
}
