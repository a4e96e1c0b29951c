package edf

import (
	"strings"
	"time"
)

// About is what a header says of the subject and of the recording. Every text is "" where the
// header says nothing, or X for unknown. It holds identifiers: compare it, never print it.
type About struct {
	Code  string // the subject's, in the hospital's administration
	Sex   string // "female", "male" or ""
	Born  string // "2006-01-02"
	Name  string // spaces in place of underscores
	Visit string // the code of the investigation
	By    string // the code of the technician
	With  string // the code of the equipment
}

// About reads the fields that Anonymise empties.
//
// Source: EDF+ 2.1.3, rules 3 and 4, the order of the subfields. EDF of 1992 leaves the fields
// free; a patient field of other form is taken for a name, its first word also for a code.
func (h *Header) About() About {
	var a About
	sub := strings.Fields(h.Patient)
	known := func(at int, list []string) string {
		if at >= len(list) || list[at] == "X" {
			return ""
		}
		return list[at]
	}
	sexes := map[string]string{"F": "female", "M": "male", "X": ""}
	sex, formal := "", false
	if len(sub) >= 3 {
		sex, formal = sexes[sub[1]]
		formal = formal && (sub[2] == "X" || longDate(sub[2]) != "")
	}
	if formal {
		a.Code, a.Born, a.Name = known(0, sub), longDate(sub[2]), spaced(known(3, sub))
		a.Sex = sex
	} else if len(sub) > 0 {
		a.Code, a.Name = known(0, sub), spaced(strings.Join(sub, " "))
	}
	if sub = strings.Fields(h.Recording); len(sub) >= 2 && sub[0] == "Startdate" {
		a.Visit, a.By, a.With = known(2, sub), known(3, sub), known(4, sub)
	}
	return a
}

// Start returns when the recording began by the recorder's own clock, as a time in UTC with the
// hour that the clock showed: EDF knows no time zone. It is false when the header does not know
// the day (see StartDay) or the time.
func (h *Header) Start() (time.Time, bool) {
	day, known := h.StartDay()
	clock, err := time.Parse("15.04.05", h.StartTime)
	if !known || err != nil {
		return time.Time{}, false
	}
	return day.Add(time.Duration(clock.Hour())*time.Hour + time.Duration(clock.Minute())*time.Minute +
		time.Duration(clock.Second())*time.Second), true
}

// longDate turns "02-MAY-1951" into "1951-05-02"; "" for what is no such date.
func longDate(s string) string {
	t, err := time.Parse("02-Jan-2006", s)
	if err != nil || len(s) != len("02-Jan-2006") {
		return ""
	}
	return t.Format(time.DateOnly)
}

func spaced(s string) string { return strings.ReplaceAll(s, "_", " ") }
