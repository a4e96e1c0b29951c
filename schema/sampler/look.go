package sampler

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"outbreath/schema/edf"
)

// Look reads a recording called file to its end and returns what it says about
// itself: an EDF header, or a text table's lines before its values, its columns of
// time and clock. p is the table's profile; nil to go by what [Propose] settles
// alone. What cannot be read is left zero. The error is a *[Fault] if this is no
// recording at all, an *[edf.FieldError], or of r.
func Look(file string, r io.Reader, p *Profile) (About, error) {
	in := bufio.NewReaderSize(r, HeadSize)
	head, err := in.Peek(HeadSize)
	if err != nil && err != io.EOF && !errors.Is(err, bufio.ErrBufferFull) {
		return About{}, err
	}
	if IsEDF(head) {
		h, err := edf.ReadHeader(in)
		if err != nil {
			return About{}, err
		}
		return FromEDF(h), nil
	}
	proposed, _, err := Propose(file, head)
	if p == nil {
		p = &proposed
	}
	if err != nil {
		return About{}, err
	}
	a, err := preamble(head)
	if err != nil {
		return About{}, err
	}
	timed := Profile{Separator: p.Separator, Decimal: p.Decimal, Skip: p.Skip, Hz: p.Hz}
	for _, c := range p.Columns {
		if c.Is == Time || c.Is == Clock || c.Is == Date {
			timed.Columns = append(timed.Columns, c)
		}
	}
	report, err := Convert(io.Discard, in, timed, GasPressure{}, NativeColumns("t_s")...)
	if _, bad := asFault(err); err != nil && !bad {
		return About{}, err
	}
	if report != nil {
		a.merge(report.About)
	}
	if a.dayOnly {
		a.Start, a.Other, a.Local = time.Time{}, time.Time{}, false
		delete(a.From, "start")
	}
	return a, nil
}

// IsEDF reports whether a file begins as an EDF recording does: its version is 0 and seven
// blanks. Source: Kemp et al., Electroenceph. clin. Neurophysiol. 82 (1992) 391; from memory.
func IsEDF(head []byte) bool { return bytes.HasPrefix(head, []byte("0       ")) }

// merge takes what the columns say. The day comes from the preamble where the clock
// column has none.
func (a *About) merge(c About) {
	a.Length = c.Length
	a.note("length", c.From["length"])
	switch {
	case c.From["start"] == "":
	case c.ClockOnly && a.From["start"] != "" && !a.ClockOnly:
		midnight := time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
		at := func(day time.Time) time.Time {
			y, m, d := day.Date()
			return time.Date(y, m, d, 0, 0, 0, 0, day.Location()).Add(c.Start.Sub(midnight))
		}
		a.Start = at(a.Start)
		if !a.Other.IsZero() {
			a.Other = at(a.Other)
		}
		a.dayOnly = false
		a.note("start", "lines before the values, and clock column of the file")
	default:
		a.dayOnly = false
		a.Start, a.Other, a.Local, a.ClockOnly = c.Start, c.Other, c.Local, c.ClockOnly
		a.note("start", c.From["start"])
	}
}

// preambleWords say what a line before the values is about: parts of its key, and
// parts that say it is about something else. The first that fits holds.
//
// English, German, French and Spanish as recorders use them: common practice, no
// source.
var preambleWords = []struct {
	what, words, never string
}{
	{"birth date", "birth dob geburt naiss nacim geb.", ""},
	{"sex", "sex gender geschlecht genre género", ""},
	{"serial", "serial serien s/n série serie numéro", "patient subject proband lot kit tube"},
	{"", "end stop ende fin export print saved calib kalib cal. firmware version software", "patient gender serial"},
	{"start", "start begin date datum time zeit uhr recorded début debut heure fecha hora inicio aufnahme record",
		"limit zone birth rate interval"},
	{"name", "name nom nombre", "file datei fichier device sampler study operator user site unit"},
	{"code", "patient subject proband participant id mrn sujeto sujet", "device sampler study operator site unit"},
}

// preamble reads the lines before the values: a key, a sign between, a value.
func preamble(head []byte) (About, error) {
	var a About
	lines, err := headLines(head)
	if err != nil {
		return a, err
	}
	var day, clock stamp
	for i, line := range lines {
		if i == MaxHead {
			break
		}
		s := strings.TrimSpace(strings.TrimLeft(text(line), "#%;/ "))
		at := strings.IndexAny(s, ":=;\t,|")
		if at <= 0 || at > 60 {
			continue
		}
		key, value := strings.ToLower(s[:at]), strings.Trim(s[at+1:], "\t ;,|:=\"")
		if value == "" || len(value) > 200 {
			continue
		}
		switch what := about(key); what {
		case "start":
			if st, ok := parseStamp(value); ok && st.days != nil {
				day, clock = st, st
			} else if ok && clock.date == "" {
				clock = st
				clock.date = "-"
			} else if days := parseDay(value); days != nil && day.days == nil {
				day.days = days
			}
		default:
			a.take(what, value)
		}
	}
	if clock.date != "" || day.days != nil {
		a.dayOnly = clock.date == ""
		clock.days = day.days
		a.start(clock, "lines before the values")
	}
	return a, nil
}

// parts reports whether r parts the words of a key.
func parts(r rune) bool { return strings.ContainsRune(" _-.", r) }

// about returns what a key is about, "" for nothing of ours.
func about(key string) string {
	has := func(words string) bool {
		return slices.ContainsFunc(strings.Fields(words), func(w string) bool {
			if len(w) > 3 {
				return strings.Contains(key, w)
			}
			return slices.Contains(strings.FieldsFunc(key, parts), w)
		})
	}
	for _, p := range preambleWords {
		if has(p.words) && !has(p.never) {
			return p.what
		}
	}
	return ""
}

// take keeps a value of the preamble, the first of its kind.
func (a *About) take(what, value string) {
	if what == "" || a.From[what] != "" {
		return
	}
	switch what {
	case "serial":
		a.Serial = value
	case "code":
		a.SubjectCode = value
	case "name":
		a.Name = value
	case "sex":
		if a.Sex = sexes[strings.ToLower(value)]; a.Sex == "" {
			return
		}
	case "birth date":
		readings := parseDay(value)
		if readings == nil {
			return
		}
		a.BirthDate = readings[0].String()
		if len(readings) > 1 {
			a.OtherBirth = readings[1].String()
		}
	}
	a.note(what, "lines before the values")
}

var sexes = map[string]string{
	"f": "female", "female": "female", "w": "female", "weiblich": "female", "femme": "female", "mujer": "female",
	"m": "male", "male": "male", "männlich": "male", "homme": "male", "hombre": "male",
}

func (d days) String() string { return fmt.Sprintf("%04d-%02d-%02d", d[0], d[1], d[2]) }
