package schema

import (
	"fmt"
	"strings"
	"time"
	"unicode"
)

// A place is where something first occurred.
type place struct {
	file string
	line int
	text string // in people's own log; "" in a file of the collection
}

func (p place) String() string {
	switch {
	case p.text != "":
		return p.text
	case p.line == 0:
		return plain(p.file)
	}
	return fmt.Sprintf("%s, line %d", plain(p.file), p.line)
}

// queries collects the problems of one record.
type queries struct {
	file     string
	node     *Node
	problems []Problem
}

func (q *queries) add(pointer, rule string, s Severity, message string) {
	p := Problem{File: q.file, Pointer: pointer, Rule: rule, Severity: s, Message: message}
	if n := q.node.At(pointer); n != nil {
		p.Line, p.Column = n.Line, n.Column
	}
	q.problems = append(q.problems, p)
}

func (q *queries) error(pointer, rule, message string)   { q.add(pointer, rule, Error, message) }
func (q *queries) warning(pointer, rule, message string) { q.add(pointer, rule, Warning, message) }

func (q *queries) place(pointer string) place {
	p := place{file: q.file}
	if n := q.node.At(pointer); n != nil {
		p.line = n.Line
	}
	return p
}

// rules check what concerns more than one field or file. They remember what earlier records held.
type rules struct {
	study    *Study
	subjects map[string]map[string]string // the roster's rows by canonical subject_id
	looks    map[string]bool              // appearances of the roster's subject_ids, see [Look]
	sessions map[string]place             // by canonical session_id
	tubes    map[string]place             // by barcode, in the form of [Barcode]
	kits     map[string]place             // by lot and unit in lower case

	alikeSubjects, alikeTubes *lookalikes
}

func newRules(study *Study, roster *Roster) *rules {
	r := &rules{
		study: study, subjects: make(map[string]map[string]string), looks: make(map[string]bool),
		sessions: make(map[string]place), tubes: make(map[string]place), kits: make(map[string]place),
		alikeSubjects: newLookalikes(), alikeTubes: newLookalikes(),
	}
	for _, row := range roster.Rows {
		if id, err := Canonical(row["subject_id"]); err == nil && r.subjects[id] == nil {
			r.subjects[id] = row
			r.looks[lookalike.Replace(id)] = true
		}
	}
	return r
}

// check applies all rules to one valid record.
func (r *rules) check(s *Session, q *queries) {
	r.identity(s, q)
	r.subject(s, q)
	r.tube(q)
	position(q)
	copied(q)
	r.kit(q)
	r.sampler(q)
	r.times(s, q)
	r.fill(s, q)
	body(s, q)
}

// once reports a second use of key, at pointer. format is the message, with a verb for the place
// of the first use.
func once(seen map[string]place, key string, q *queries, pointer, rule, format string) {
	if first, twice := seen[key]; twice {
		q.error(pointer, rule, fmt.Sprintf(format, first))
		return
	}
	seen[key] = q.place(pointer)
}

// identity checks that study and site are the collection's, and that session_id and operator are
// usable identifiers, the former unique.
func (r *rules) identity(s *Session, q *queries) {
	if q.node.Member("study").text() != r.study.Study {
		q.error("/study", "record.study", fmt.Sprintf("study must be %s, as study.json says: correct it, or move "+
			"the record to its own study's collection", r.study.Study))
	}
	if q.node.Member("site").text() != r.study.Site {
		q.error("/site", "record.site", fmt.Sprintf("site must be %s, as study.json says: correct it, or move the "+
			"record to its own site's collection", r.study.Site))
	}
	if id, err := usable(s.ID); err != nil {
		q.error("/session_id", "session.identifier", "session_id cannot be used: "+err.Error())
	} else {
		once(r.sessions, id, q, "/session_id", "session.twice",
			"this session_id and that in %s are one identifier ("+sameCanonical+"): give each session its own")
	}
	if _, err := usable(s.Operator); err != nil && s.Operator != "" {
		q.error("/operator", "session.identifier", "operator cannot be used: "+err.Error())
	}
}

// subject compares the record with the roster. A subject who is not listed could not be searched
// for, and a different birth date may be another person's.
func (r *rules) subject(s *Session, q *queries) {
	const at, born = "/subject/subject_id", "/subject/birth_date"
	if !s.Started.IsZero() && s.BirthDate != "" {
		day := s.Started.Format(time.DateOnly)
		if s.BirthDate >= day || s.BirthDate < s.Started.AddDate(-120, 0, 0).Format(time.DateOnly) {
			q.error(born, "subject.age", "birth_date must be before the session, and not more than 120 years "+
				"before it")
		}
	}
	id, err := usable(s.Subject)
	if err != nil {
		q.error(at, "session.identifier", "subject_id cannot be used: "+err.Error())
		return
	}
	if other, alike := r.alikeSubjects.add(id, q.place(at)); alike {
		q.warning(at, "subject.alike", fmt.Sprintf(subjectAlike, other))
	}
	row := r.subjects[id]
	switch {
	case row == nil && r.looks[lookalike.Replace(id)]:
		q.error(at, "subject.unlisted", "this subject is not in roster.csv, but one that differs only by "+
			"characters that look alike is (O and 0; I, l and 1): find out who was sampled, then correct subject_id")
		return
	case row == nil:
		q.error(at, "subject.unlisted", "this subject is not in roster.csv, so the leak check could not search for "+
			"the name: add the subject there, or correct subject_id")
		return
	}
	if listed := row["birth_date"]; s.BirthDate != "" && isDate(listed) && listed != s.BirthDate {
		q.error(born, "subject.birth-date", "birth_date differs from that in roster.csv, so subjects may be "+
			"mixed up: find out who was sampled, then correct subject_id or the date")
	}
	if sex, listed := sexWord(q.node.At("/subject/sex").text()),
		sexWord(row["sex"]); sex != "" && listed != "" && sex != listed {
		q.warning("/subject/sex", "subject.sex", "sex differs from that in roster.csv: check that this is the "+
			"right subject, and correct one of the two")
	}
	postal(q, row["postal_code"])
}

// postal compares the postal code of a record with the roster's.
func postal(q *queries, listed string) {
	const at, todo = "/subject/postal_code", "so the laboratory would get another region: "
	code, listed := postalSigns(q.node.At(at).text()), postalSigns(listed)
	switch {
	case code == "" || listed == "" || code == listed:
	case strings.TrimLeft(code, "0") == strings.TrimLeft(listed, "0"):
		which := "postal_code"
		if len(listed) < len(code) {
			which = "that in roster.csv"
		}
		q.warning(at, "subject.postal-code", "postal_code differs from that in roster.csv by a zero in front, "+todo+
			"a spreadsheet takes such zeros away, so write "+which+" with its zero")
	default:
		q.warning(at, "subject.postal-code", "postal_code differs from that in roster.csv, "+todo+"check that this is "+
			"the right subject, and correct the code that is wrong or old")
	}
}

// postalSigns returns what counts in a postal code: capital letters and digits.
func postalSigns(code string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, code)
}

// sexWord returns the word for the spellings that rosters use, or "" if s says nothing.
func sexWord(s string) string {
	switch strings.ToLower(s) {
	case "female", "f", "w":
		return "female"
	case "male", "m":
		return "male"
	case "other", "o", "x":
		return "other"
	}
	return ""
}

// Barcode returns the form in which the site compares barcodes. Barcodes that differ only in case
// count as the same tube, so that a tube typed in the other case is not recorded twice. The
// laboratory compares exactly: see MatchTubes of package pack.
func Barcode(printed string) string { return strings.ToLower(printed) }

// tube checks that no barcode occurs twice, and warns of barcodes that look alike.
func (r *rules) tube(q *queries) {
	for i, t := range entries(q.node, "tubes") {
		barcode, pointer := Barcode(t.Member("barcode").text()), fmt.Sprintf("/tubes/%d/barcode", i)
		once(r.tubes, barcode, q, pointer, "tube.twice",
			"this barcode is already in %s: look at the tubes, and correct the record that is wrong")
		if other, alike := r.alikeTubes.add(barcode, q.place(pointer)); alike {
			q.warning(pointer, "tube.alike", fmt.Sprintf(tubeAlike, other))
		}
	}
}

// position: a place of the sampler holds one tube at a time, and a second in it is
// mostly a copied line. Blanks and room air go through no place of the sampler.
func position(q *queries) {
	seen := make(map[string]place)
	for i, t := range entries(q.node, "tubes") {
		at := strings.ToLower(literal(t.Member("position")))
		switch t.Member("role").text() {
		case "room-air", "field-blank", "travel-blank":
			continue
		}
		if at == "" {
			continue
		}
		pointer := fmt.Sprintf("/tubes/%d/position", i)
		if first, twice := seen[at]; twice {
			q.warning(pointer, "tube.position", fmt.Sprintf("the tube in %s has the same position in this session: "+
				"look at the log, and correct the position of the tube that was elsewhere", first))
			continue
		}
		seen[at] = q.place(pointer)
	}
}

// kit checks that no kit is in two records: either it was used twice, or one of the records
// names the wrong one (common practice, no source).
func (r *rules) kit(q *queries) {
	lot, unit := literal(q.node.At("/kit/lot")), literal(q.node.At("/kit/unit"))
	if lot != "" && unit != "" {
		once(r.kits, strings.ToLower(lot+"\x00"+unit), q, "/kit/unit", "kit.twice",
			"this lot and unit are already in %s: a kit is used once, so correct the record that is wrong")
	}
}

// sampler warns of failed checks of the sampler. What they mean for the tubes is for the study's
// protocol to say, so no check is an error.
func (r *rules) sampler(q *queries) {
	for i, c := range entries(q.node.Member("sampler"), "checks") {
		if passed := c.Member("passed"); passed != nil && passed.Kind == Bool && passed.Text == "false" {
			q.warning(fmt.Sprintf("/sampler/checks/%d/passed", i), "sampler.check",
				"this check of the sampler did not pass: the study's protocol decides whether the tubes are used; "+
					"say in notes what was done")
		}
	}
}

// longestSession is what no session of breath collection takes: twice what
// time_limit_min may be (common practice, no source). A longer one has a wrong date, or an
// hour of the other half of the day.
const longestSession = 8 * time.Hour

// times checks that events are in order. A clock that is slightly wrong gives a warning; an end
// before its beginning is an error. The limits of study.json, and the note on a session that was
// not completed, are common practice, no source.
func (r *rules) times(s *Session, q *queries) {
	if s.Ended.Before(s.Started) {
		q.error("/ended_at", "time.order", "ended_at is before started_at: correct one of the two")
		return
	}
	switch lasted := s.Ended.Sub(s.Started); {
	case lasted == 0 && !s.Started.IsZero():
		q.warning("/ended_at", "session.empty", "the session lasts 0 s, started_at equals ended_at: correct the one "+
			"that is wrong")
		return
	case lasted > longestSession:
		q.error("/ended_at", "session.day", fmt.Sprintf("the session would have lasted for more than %d hours: "+
			"correct the date or the hour of started_at or ended_at", int(longestSession.Hours())))
		return
	case lasted > r.study.TimeLimit:
		q.warning("/ended_at", "session.long", fmt.Sprintf("the session took longer than the %d min of "+
			"time_limit_min in study.json: check both times", int(r.study.TimeLimit.Minutes())))
	}
	for i, t := range s.Tubes {
		r.tubeTimes(s, t, fmt.Sprintf("/tubes/%d", i), q)
	}
	for i, entry := range entries(q.node, "interruptions") {
		at, ok := parseTime(entry.Member("at").text())
		if ok && (at.Before(s.Started) || at.After(s.Ended)) {
			q.warning(fmt.Sprintf("/interruptions/%d/at", i), "interruption.time",
				"this interruption is outside the session: check the time")
		}
	}
	if s.Outcome != "" && s.Outcome != "complete" && strings.TrimSpace(q.node.Member("notes").text()) == "" &&
		len(entries(q.node, "interruptions")) == 0 {
		q.warning("/outcome", "session.unexplained", "the session was not completed, and neither notes nor "+
			"interruptions say why: add a note, without naming anybody")
	}
}

// tubeTimes checks when one tube was opened and closed.
func (r *rules) tubeTimes(s *Session, t Tube, pointer string, q *queries) {
	const margin = time.Hour
	outside := func(at time.Time, name string) bool {
		if at.IsZero() || !at.Before(s.Started.Add(-margin)) && !at.After(s.Ended.Add(margin)) {
			return false
		}
		q.warning(pointer+name, "tube.time", "this time is more than an hour outside the session: check the date "+
			"and the clock")
		return true
	}
	switch far := outside(t.Uncapped, "/uncapped_at"); {
	case outside(t.Capped, "/capped_at") || far || t.Uncapped.IsZero() || t.Capped.IsZero():
	case t.Capped.Before(t.Uncapped):
		q.error(pointer+"/capped_at", "time.order", "capped_at is before uncapped_at: correct one of the two")
	case max(0, s.Started.Sub(t.Uncapped))+max(0, t.Capped.Sub(s.Ended)) > r.study.UncappedLimit:
		q.warning(pointer+"/capped_at", "tube.open", fmt.Sprintf("the tube was open before or after the session "+
			"for longer than the %d s of uncapped_limit_s in study.json: check both times, and say so in notes if "+
			"they are right", int(r.study.UncappedLimit.Seconds())))
	}
}
