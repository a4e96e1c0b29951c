package attack

import (
	"bytes"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// recording reads the head of a recording: the session is that of its name,
// "recordings/SESSION-N.csv".
func (s *Shipment) recording(name string, head []byte) {
	s.names = append(s.names, name)
	stem := strings.TrimPrefix(name, "recordings/")
	at := strings.LastIndexByte(stem, '-')
	if at < 0 {
		return
	}
	s.later = append(s.later, func(s *Shipment) {
		if x := s.byName[stem[:at]]; x != nil && strings.HasSuffix(name, ".edf") {
			x.edf(head)
		} else if x != nil {
			x.csv(head)
		}
	})
	// The head is read once; what waits keeps what it needs only.
	if strings.HasSuffix(name, ".csv") {
		head = bytes.Clone(head[:min(len(head), 4096)])
	} else {
		head = bytes.Clone(edfTexts(head))
	}
}

// csv takes a time axis that begins later than ten minutes for the time of day, and one
// of more than thirty years for the seconds since 1970.
func (x *Session) csv(head []byte) {
	header, rest, _ := bytes.Cut(head, []byte("\n"))
	row, _, _ := bytes.Cut(rest, []byte("\n"))
	name, _, _ := strings.Cut(string(header), ",")
	cell, _, _ := strings.Cut(string(row), ",")
	t, err := strconv.ParseFloat(strings.TrimSpace(cell), 64)
	switch {
	case err != nil || strings.TrimSpace(name) != "t_s":
	case t >= 946684800 && t < 1e10:
		x.know(Day(t/86400), "recordings: time axis")
		x.clock(int(t) % 86400)
	case t > 600 && t < 86400:
		x.clock(int(t))
	}
}

func (x *Session) clock(seconds int) {
	if x.StartClock < 0 {
		x.StartClock = seconds
	}
}

func (x *Session) know(d Day, from string) {
	if len(x.Known) < 100 {
		x.Known, x.KnownFrom = append(x.Known, d), append(x.KnownFrom, from)
	}
}

// The fields of an EDF header, in bytes from its start, and those of each signal.
//
// Source: EDF (1992) and EDF+ (2003), table of the header record.
const (
	edfHeader    = 256
	edfPatient   = 8   // 80 characters
	edfRecording = 88  // 80
	edfDate      = 168 // 8, dd.mm.yy
	edfClock     = 176 // 8, hh.mm.ss
	edfReserved  = 192 // 44
	edfSignals   = 252 // 4
)

// edfTexts returns the header and, below it, every run of eight or more printable
// characters, one a line: the annotations are among them.
func edfTexts(data []byte) []byte {
	if len(data) < edfHeader {
		return data
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(data[edfSignals:edfHeader])))
	if err != nil || n < 0 || n > 1000 || len(data) < edfHeader*(n+1) {
		return data[:edfHeader]
	}
	out := bytes.Clone(data[:edfHeader*(n+1)])
	run := []byte{}
	for _, b := range data[edfHeader*(n+1):] {
		if b >= 32 && b < 127 {
			run = append(run, b)
			continue
		}
		if len(run) >= 8 && len(out) < 1<<20 {
			out = append(append(out, '\n'), run...)
		}
		run = run[:0]
	}
	return out
}

// edf reads what edfTexts returned.
func (x *Session) edf(data []byte) {
	if len(data) < edfHeader {
		return
	}
	text := func(from, n int) string { return strings.TrimSpace(string(data[from : from+n])) }
	x.header("patient", text(edfPatient, 80))
	x.header("recording", text(edfRecording, 80))
	x.header("reserved", text(edfReserved, 44))
	if d, err := time.Parse("02.01.06", text(edfDate, 8)); err == nil && d.Year() != 1985 {
		// 1985 is the first year of the format's two digits, and stands for no date
		x.know(DayOf(d), "EDF: start date")
	}
	if t, err := time.Parse("15.04.05", text(edfClock, 8)); err == nil && text(edfClock, 8) != "00.00.00" {
		x.clock(t.Hour()*3600 + t.Minute()*60 + t.Second())
	}
	n, err := strconv.Atoi(text(edfSignals, 4))
	if err != nil || n < 1 || n > 1000 || len(data) < edfHeader*(n+1) {
		return
	}
	at := edfHeader
	for _, f := range []struct {
		name  string
		width int
	}{{"label", 16}, {"transducer", 80}, {"dimension", 8}, {"physical minimum", 8}, {"physical maximum", 8},
		{"digital minimum", 8}, {"digital maximum", 8}, {"prefiltering", 80}, {"samples", 8}, {"reserved", 32}} {
		for i := range n {
			x.header(f.name, text(at+i*f.width, f.width))
		}
		at += n * f.width
	}
	for _, line := range strings.Split(string(data[edfHeader*(n+1):]), "\n") {
		x.dates(line, "EDF: annotations")
	}
}

func (x *Session) header(name, value string) {
	if value == "" || value == "X" {
		return
	}
	if x.Headers == nil {
		x.Headers = map[string][]string{}
	}
	x.Headers[name] = append(x.Headers[name], value)
	if name != "patient" && name != "recording" { // those two begin with pseudonyms of ours
		x.Values["EDF: "+name] = append(x.Values["EDF: "+name], value)
	}
	x.dates(value, "EDF: "+name)
}

// datesInText are the forms in which a date is looked for within a text.
var datesInText = []struct {
	form   *regexp.Regexp
	layout string
}{
	{regexp.MustCompile(`\b(?:19|20)\d\d-\d\d-\d\d`), time.DateOnly},
	{regexp.MustCompile(`\b\d\d\.\d\d\.(?:19|20)\d\d\b`), "02.01.2006"},
	{regexp.MustCompile(`\b\d\d-[A-Z]{3}-(?:19|20)\d\d\b`), "02-Jan-2006"},
	{regexp.MustCompile(`\b\d\d/\d\d/(?:19|20)\d\d\b`), "02/01/2006"},
}

// dates enters the days that a text names.
func (x *Session) dates(text, from string) {
	if len(text) < 10 || len(text) > 1<<20 {
		return
	}
	for _, f := range datesInText {
		for _, found := range f.form.FindAllString(text, 10) {
			if f.layout == "02-Jan-2006" {
				found = found[:3] + found[3:4] + strings.ToLower(found[4:6]) + found[6:]
			}
			if d, err := time.Parse(f.layout, found); err == nil {
				x.know(DayOf(d), from)
			}
		}
	}
}
