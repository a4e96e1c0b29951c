package schema

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"outbreath/schema/edf"
)

// Whose a recording is, by what its header says, before the header is emptied. A recording
// under another subject's session would have that subject's breath analysed as this one's.

// A header is what an EDF recording says of itself, and who names it.
type header struct {
	session  *Session
	pointer  string // of the record's member
	about    edf.About
	start    time.Time // as edf.Header.Start gives it; zero if unknown
	expected time.Time // the beginning by the record, written in the same way
}

// wallClock writes a time as the clock on the wall showed it, in UTC, because EDF knows no zone.
func wallClock(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
}

// headers reads the headers of the EDF recordings. One that cannot be read is left to
// the check of the whole recording.
func (c *Collection) headers() []header {
	var out []header
	for _, s := range c.Sessions {
		for _, ref := range s.Recordings {
			if ref.Format != "edf" {
				continue
			}
			f, _, err := openPlain(c.Root, ref.File)
			if err != nil {
				continue
			}
			h, err := edf.ReadHeader(f)
			f.Close()
			if err != nil {
				continue
			}
			own := header{session: s, pointer: ref.Pointer, about: h.About(), expected: wallClock(s.Started)}
			own.start, _ = h.Start()
			at := strings.TrimSuffix(ref.Pointer, "/file") + "/started_at"
			if begun, ok := parseTime(s.Doc.At(at).text()); ok {
				own.expected = wallClock(begun)
			}
			out = append(out, own)
		}
	}
	return out
}

// whose reports recordings that are another session's by their header.
func (c *Collection) whose() {
	headers := c.headers()
	if len(headers) == 0 {
		return
	}
	people := newPeople(c)
	offsets := clockOffsets(headers)
	off := make(map[*Session]bool) // by the clock, a recording is not the session's
	for i := range headers {
		if h := &headers[i]; h.off(c.Study.ClockDrift, offsets[i]) {
			off[h.session] = true
		}
	}
	for i := range headers {
		h := &headers[i]
		own, other, contradict := people.judge(h)
		switch visit := people.visit(h); {
		case visit != nil && visit != h.session:
			c.report(h.session, h.pointer, "recording.session", Error, fmt.Sprintf("the header of this recording "+
				"names the session in %s: find out whose it is, and name the right file in each record",
				visit.at("/session_id")))
		case contradict && !own:
			c.report(h.session, h.pointer, "recording.subject", Error, "the header of this recording names another "+
				"subject than this session's: "+people.belongs(other))
		case contradict:
			c.report(h.session, h.pointer, "recording.identity", Warning, "the header of this recording names this "+
				"session's subject in one field and another of the roster in the next: find out whose recording it is")
		default:
			c.identity(h, people)
			c.equipment(h)
			c.clock(h, own, offsets[i], off)
		}
	}
}

// identity reports a birth date or a sex in the header that are not those of the record.
func (c *Collection) identity(h *header, p *people) {
	var odd []string
	if born := p.born(h.session); h.about.Born != "" && born != "" && h.about.Born != born {
		odd = append(odd, "the birth date")
	}
	if SexesDiffer(h.about.Sex, h.session.Doc.At("/subject/sex").text()) {
		odd = append(odd, "the sex")
	}
	if odd != nil {
		c.report(h.session, h.pointer, "recording.identity", Warning, fmt.Sprintf("%s in the header of this recording "+
			"is not that of this session's subject: find out whose recording it is, and name the right file; if it is "+
			"the right one, correct the entry on the recorder for the next time", strings.Join(odd, " and ")))
	}
}

// equipment reports a code of the equipment in the header that is not the sampler's of the
// record, although it is written as one is. Other words for the equipment say nothing.
func (c *Collection) equipment(h *header) {
	serial := literal(h.session.Doc.At("/sampler/serial"))
	_, look := runs(serial)
	if _, with := runs(h.about.With); serial == "" || with != look || strings.EqualFold(h.about.With, serial) {
		return
	}
	c.report(h.session, h.pointer, "recording.sampler", Warning, "the header of this recording names another sampler "+
		"than sampler/serial, by a code of the same form: find out which one was used, and correct the record, or "+
		"name the right file")
}

// clockOffsets returns for each recording by how much all clocks of its sampler are wrong: what
// two thirds of two or more recordings have in common, within two minutes.
func clockOffsets(headers []header) []time.Duration {
	wrong := make(map[string][]time.Duration)
	serial := func(h *header) string { return strings.ToLower(literal(h.session.Doc.At("/sampler/serial"))) }
	for i := range headers {
		if h := &headers[i]; !h.start.IsZero() {
			wrong[serial(h)] = append(wrong[serial(h)], h.start.Sub(h.expected))
		}
	}
	out := make([]time.Duration, len(headers))
	for i := range headers {
		all := wrong[serial(&headers[i])]
		if len(all) < 2 {
			continue
		}
		slices.Sort(all)
		middle, near := all[len(all)/2], 0
		for _, d := range all {
			if (d - middle).Abs() <= 2*time.Minute {
				near++
			}
		}
		if near >= 2 && 3*near >= 2*len(all) {
			out[i] = middle
		}
	}
	return out
}

// off reports whether a recording begins neither in its session nor within drift of it, by a
// clock that is wrong by offset.
func (h *header) off(drift, offset time.Duration) bool {
	away := h.start.Sub(h.expected) - offset
	return !h.start.IsZero() && (away > max(drift, wallClock(h.session.Ended).Sub(h.expected)) || away < -drift)
}

// clock compares the recorder's clock with the times of the record, and names the session
// that a recording fits instead. own says that its header names this session's subject. A
// wrong clock may fit a session by chance, so it is an error only where that session's own
// recording, in off, does not fit it either.
func (c *Collection) clock(h *header, own bool, offset time.Duration, off map[*Session]bool) {
	drift := c.Study.ClockDrift
	report := func(rule string, weight Severity, format string, args ...any) {
		c.report(h.session, h.pointer, rule, weight, "by its own clock this recording begins "+
			fmt.Sprintf(format, args...))
	}
	if h.start.IsZero() {
		return
	}
	wrong := h.start.Sub(h.expected)
	if offset.Abs() > drift && (wrong-offset).Abs() <= drift {
		report("recording.clock", Warning, "%s the session, as the others of this sampler do: the sampler's clock "+
			"is wrong or set to another zone, or all files are named by the wrong session; compare one with the "+
			"notes taken at the time", Apart(wrong))
		return
	}
	if !h.off(drift, offset) {
		return
	}
	var fits *Session
	nearest := drift + 1
	for _, s := range c.Sessions {
		if away := h.start.Add(-offset).Sub(wallClock(s.Started)).Abs(); s != h.session && !s.Started.IsZero() &&
			away < nearest {
			fits, nearest = s, away
		}
	}
	hours := wrong.Round(time.Hour)
	zone := hours != 0 && hours.Abs() <= 14*time.Hour && (wrong-hours).Abs() <= 2*time.Minute
	if fits == nil || own && !SameID(fits.Subject, h.session.Subject) {
		report("recording.clock", Warning, "%s the session that names it: check "+
			"started_at and the sampler's clock (its zone as well), and whether the file is this session's",
			Apart(wrong))
		return
	}
	weight, todo := Warning, ""
	if zone {
		todo = "; if the sampler's clock is set to another zone, leave it"
	} else if off[fits] {
		weight = Error
	}
	report("recording.session", weight, "%s this session, and fits that in %s: find out whose it is, and name the "+
		"right file in each record%s", Apart(wrong), fits.at("/started_at"), todo)
}

// people find the row of the roster that a header names.
type people struct {
	rows     []map[string]string
	row      map[string]int   // by canonical subject_id
	codes    map[string][]int // rows by the letters and digits of their numbers
	names    map[string][]int // rows by a word of the family name
	births   map[string][]int // rows by birth date, of subjects who have a session here
	visits   map[string]*Session
	sessions map[int]*Session // a session of the row's subject
}

func newPeople(c *Collection) *people {
	p := &people{rows: c.Roster.Rows, row: make(map[string]int), codes: make(map[string][]int),
		names: make(map[string][]int), births: make(map[string][]int), visits: make(map[string]*Session),
		sessions: make(map[int]*Session)}
	for i, row := range p.rows {
		for _, column := range codeColumns {
			if code, err := Canonical(row[column]); err == nil && !slices.Contains(p.codes[code], i) {
				p.codes[code] = append(p.codes[code], i)
			}
		}
		if id, err := Canonical(row["subject_id"]); err == nil {
			if _, there := p.row[id]; !there {
				p.row[id] = i
			}
		}
		for _, family := range []string{row["family_name"], Spelt(row["family_name"])} {
			if words := nameWords(family); len(words) > 0 && !slices.Contains(p.names[words[0]], i) {
				p.names[words[0]] = append(p.names[words[0]], i)
			}
		}
	}
	for _, s := range c.Sessions {
		if id, err := Canonical(s.ID); err == nil {
			p.visits[id] = s
		}
		if i, listed := p.of(s); listed && p.sessions[i] == nil {
			p.sessions[i] = s
			p.births[p.rows[i]["birth_date"]] = append(p.births[p.rows[i]["birth_date"]], i)
		}
	}
	return p
}

// of returns the row of a session's subject.
func (p *people) of(s *Session) (int, bool) {
	id, err := Canonical(s.Subject)
	i, listed := p.row[id]
	return i, err == nil && listed
}

func (p *people) born(s *Session) string {
	i, listed := p.of(s)
	if s.BirthDate == "" && listed {
		return p.rows[i]["birth_date"]
	}
	return s.BirthDate
}

// visit returns the session that a header names, nil if it names none of this folder.
func (p *people) visit(h *header) *Session {
	id, err := Canonical(h.about.Visit)
	if err != nil {
		return nil
	}
	return p.visits[id]
}

// named returns the rows whose names a text has.
func (p *people) named(text string) (rows []int) {
	for _, word := range nameWords(text) {
		for _, i := range p.names[word] {
			if HasName(p.rows[i], text) && !slices.Contains(rows, i) {
				rows = append(rows, i)
			}
		}
	}
	return rows
}

// judge compares the identity in a header with its session. own: a code or the name is the
// subject's, or the visit is the session. contradict: a code or the name is another's, or a
// birth date that is not the subject's is that of another who was sampled; other is a session of
// whom it is, nil if there is none here.
func (p *people) judge(h *header) (own bool, other *Session, contradict bool) {
	row, listed := p.of(h.session)
	if !listed {
		return false, nil, false
	}
	found := func(rows []int) {
		switch {
		case len(rows) == 0:
		case slices.Contains(rows, row):
			own = true
		default:
			contradict = true
			other = cmp.Or(other, p.sessions[rows[0]])
		}
	}
	own = p.visit(h) == h.session
	if code, err := Canonical(h.about.Code); err == nil {
		found(p.codes[code])
	}
	found(p.named(h.about.Name))
	if born := p.born(h.session); !own && !contradict && h.about.Born != "" && born != "" && h.about.Born != born {
		found(p.births[h.about.Born])
	}
	return own, other, contradict
}

// belongs says to which session a recording belongs.
func (p *people) belongs(other *Session) string {
	if other == nil {
		return "one who has no session in this folder: find out whose recording it is, and name the right file"
	}
	return fmt.Sprintf("it fits the session in %s; find out whose recording it is, and name the right file in each "+
		"record", other.at("/started_at"))
}

// unrecordedShare is what share of the sessions may lack a recording by mistake (common
// practice, no source).
const unrecordedShare = 4

// unrecorded reports complete sessions without a recording while nearly all others have one.
func (c *Collection) unrecorded() {
	var without []*Session
	for _, s := range c.Sessions {
		if len(entries(s.Doc, "recordings")) == 0 {
			without = append(without, s)
		}
	}
	if len(c.Sessions) < fewSessions || len(without)*unrecordedShare > len(c.Sessions) {
		return
	}
	for _, s := range without[:min(len(without), mostOdd)] {
		if s.Outcome == "" || s.Outcome == "complete" {
			c.report(s, "/recordings", "session.unrecorded", Warning, "this session has no recording, and nearly all "+
				"others have one: look for its file on the sampler, and whether the session belongs into this folder")
		}
	}
}
