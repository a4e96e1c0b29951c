package sessionlog

import (
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"outbreath/schema/sampler"
)

// A RecordingFile is a file among the sampler's recordings.
type RecordingFile struct {
	Name   string // in its folder
	Digest string // of its bytes, so that a copy is recognised; "" if it is not known
	About  sampler.About
}

// A Match says whose recording a file is.
type Match struct {
	File    string
	Session string // session_id
	How     string // by what: "name, clock, length"

	// Started is when the recording began by its own clock, corrected if that was
	// found to be wrong, in the zone of the session: for started_at of the recording.
	// It is zero where the file does not say, or the clock contradicts the session.
	Started time.Time

	Misnamed bool // the file's name is that of another session
}

// AsAnswered is the How of a match that a person has made.
const AsAnswered = "as answered"

// A Matching is the result of [MatchRecordings]. Each file is in exactly one of the
// first four.
type Matching struct {
	Matches []Match  // by file
	Doubts  []Doubt  // Option "recording": the answer is a session_id, or "-" for no session's; or "clock"
	Left    []string // files that a person said are no session's
	Waiting []string // files that cannot be matched before the doubt about the clock is answered
	Without []string // sessions (Where) without a recording, as far as it is known
}

// RecordingDoubt is the ID of the doubt about a file: the key of its answer.
func RecordingDoubt(file string) string { return "recording:" + file }

// clockDoubt is the ID of the doubt about the samplers' clock.
const clockDoubt = "recordings:clock"

// MatchRecordings finds for each file the session that it is a recording of: by name,
// and where nothing names it by clock and by the subject in it; length and serial
// number of the sampler narrow that down. A name that clock, length, sampler or subject
// contradict is not believed, and what fits two sessions, or none, is a doubt. No
// message holds a value of a file: files and sessions are named.
func MatchRecordings(files []RecordingFile, visits []Visit, s *Settings) *Matching {
	files = slices.Clone(files)
	sort.Slice(files, func(i, j int) bool { return files[i].Name < files[j].Name })
	m := &matcher{files: files, visits: visits, set: s, out: &Matching{}}
	m.weigh()
	for i := range files {
		m.decide(i)
	}
	m.twice()
	m.finish()
	return m.out
}

// A matcher holds what is known of all files and sessions.
type matcher struct {
	files  []RecordingFile
	visits []Visit
	set    *Settings
	shift  time.Duration // by which the samplers' clocks are corrected
	open   bool          // whether the clock was right is asked
	all    [][]evidence  // by file and session
	found  []int         // session of each file; -1: none yet
	asked  []*Doubt      // of each file; nil: none
	out    *Matching
}

func (m *matcher) weigh() {
	m.all = make([][]evidence, len(m.files))
	m.found, m.asked = make([]int, len(m.files)), make([]*Doubt, len(m.files))
	for i := range m.files {
		m.found[i] = -1
		m.all[i] = weigh(&m.files[i], m.visits)
	}
	m.clock()
	for i := range m.files {
		for k := range m.visits {
			m.all[i][k] = m.all[i][k].at(&m.files[i].About, &m.visits[k], m.shift)
		}
	}
}

// clock finds a clock that is wrong by whole half hours, as after a change of summer
// time or in another zone: with a correction more recordings fit a session by it than
// without, or, of several without a name, as many. It is asked about once, for all
// files, and no file is matched by its clock alone before.
func (m *matcher) clock() {
	without, clocked, unnamed := m.clocked(0)
	most, shifts := 1, []time.Duration(nil)
	for half := -28; half <= 28; half++ {
		shift := time.Duration(half) * 30 * time.Minute
		n, _, _ := m.clocked(shift)
		switch {
		case half == 0 || n < most:
		case n > most:
			most, shifts = n, []time.Duration{shift}
		default:
			shifts = append(shifts, shift)
		}
	}
	tie := most == without && most == clocked && unnamed >= 2
	if clocked < 2 || most < without || most == without && !tie || len(shifts) == 0 {
		return
	}
	answer := m.set.Answers[clockDoubt]
	d := Doubt{ID: clockDoubt, Where: "all recordings", Option: "clock", Question: fmt.Sprintf("%d of %d "+
		"recordings with a clock fit a session by it, and %d if the clock was wrong by whole hours or half hours, "+
		"as after a change of summer time: was it?", without, clocked, most),
		Choices: []Choice{{"right", "no, the sampler's clock was right"}}}
	for _, shift := range shifts {
		value := fmt.Sprintf("%+.0f", shift.Minutes())
		word := "slow"
		if shift < 0 {
			word = "fast"
		}
		if value == answer {
			m.shift = shift
			return
		}
		d.Choices = append(d.Choices, Choice{value, fmt.Sprintf("yes, it was %.0f min %s", shift.Abs().Minutes(),
			word)})
	}
	if answer != "right" {
		m.out.Doubts, m.open = append(m.out.Doubts, d), true
	}
}

// clocked counts the files that have a clock, those of them that no session names, and
// those that begin with a session if the clocks are corrected by shift, and that nothing
// else contradicts; where a session names the file, with that one.
func (m *matcher) clocked(shift time.Duration) (fit, clocked, unnamed int) {
	for i := range m.files {
		a := &m.files[i].About
		if a.Start.IsZero() {
			continue
		}
		clocked++
		named := m.named(i)
		if !named {
			unnamed++
		}
		for k := range m.visits {
			e := m.all[i][k].at(a, &m.visits[k], shift)
			if e.clock == exactly && !e.contradicted() && (!named || e.name == exactly) {
				fit++
				break
			}
		}
	}
	return fit, clocked, unnamed
}

// named reports whether a session names the file.
func (m *matcher) named(i int) bool {
	return slices.ContainsFunc(m.all[i], func(e evidence) bool { return e.name == exactly })
}

// claims returns the sessions whose name evidence for file i is at least v.
func (m *matcher) claims(i int, v verdict) (out []int) {
	for k := range m.visits {
		if m.all[i][k].name >= v {
			out = append(out, k)
		}
	}
	return out
}

// best returns the sessions that file i fits best, none if it fits none. Names count
// only if named is set.
func (m *matcher) best(i int, named bool) (out []int) {
	most := 1
	for k, e := range m.all[i] {
		if !named {
			e.name = silent
		}
		switch w := e.weight(); {
		case w > most:
			most, out = w, []int{k}
		case w == most && w > 1:
			out = append(out, k)
		}
	}
	return out
}

// decide finds the session of file i, or makes a doubt.
func (m *matcher) decide(i int) {
	f := &m.files[i]
	if answer, ok := m.set.Answers[RecordingDoubt(f.Name)]; ok {
		if answer == ignored {
			m.out.Left = append(m.out.Left, f.Name)
			m.found[i] = -2
			return
		}
		if k := slices.IndexFunc(m.visits, func(v Visit) bool { return v.ID == answer }); k >= 0 {
			m.found[i] = k
			return
		}
	}
	claims := m.claims(i, exactly)
	switch {
	case len(claims) == 1 && !m.all[i][claims[0]].contradicted():
		m.found[i] = claims[0]
	case len(claims) == 1:
		m.contradicted(i, claims[0])
	case len(claims) > 1:
		m.ask(i, fmt.Sprintf("is named for %s: it can be of one session alone", m.list(claims)), claims)
	case m.open && !f.About.Start.IsZero() && !m.known(i):
		m.out.Waiting = append(m.out.Waiting, f.Name)
	default:
		switch best := m.best(i, true); len(best) {
		case 1:
			m.found[i] = best[0]
		case 0:
			text, offered := m.unfit(i)
			m.ask(i, text, offered)
		default:
			m.ask(i, fmt.Sprintf("fits %s equally well", m.list(best)), best)
		}
	}
}

// unfit says of a file that fits no session why that may be: the log names another file for
// the session whose number it has.
func (m *matcher) unfit(i int) (text string, offered []int) {
	for k := range m.visits {
		v := &m.visits[k]
		if len(v.Files) == 0 || !holds(stem(m.files[i].Name), v.ID) {
			continue
		}
		there := slices.ContainsFunc(m.files, func(f RecordingFile) bool {
			return slices.ContainsFunc(v.Files, func(name string) bool { return stem(name) == stem(f.Name) })
		})
		text = "has the number of %s in its name, but the log names another file there"
		if !there {
			text += ", which is not in this folder"
		}
		return fmt.Sprintf(text+": if that is a slip, correct the log", v.Where), append([]int{k}, m.possible(i)...)
	}
	return "fits no session by name, clock or subject", m.possible(i)
}

// contradicted asks about a file that session k names and that is not k's. Where
// another file is so as well, the other way round, the two were exchanged.
func (m *matcher) contradicted(i, k int) {
	e := &m.all[i][k]
	text := fmt.Sprintf("is named for %s, but %s", m.visits[k].Where, strings.Join(e.why, ", and "))
	fit := m.best(i, false)
	if len(fit) == 1 {
		text += fmt.Sprintf("; it fits %s (%s)", m.visits[fit[0]].Where, m.unnamed(i, fit[0]))
		for j := range m.files {
			other := m.claims(j, exactly)
			if j == i || len(other) != 1 || other[0] != fit[0] || !m.all[j][other[0]].contradicted() {
				continue
			}
			if back := m.best(j, false); len(back) == 1 && back[0] == k {
				text += fmt.Sprintf(". %s is named for that one and fits %s: the two files seem to be exchanged",
					shown(m.files[j].Name), m.visits[k].Where)
			}
		}
	}
	m.ask(i, text, append(fit, k))
}

func (m *matcher) unnamed(i, k int) string {
	e := m.all[i][k]
	e.name = silent
	return e.how()
}

// known reports whether the subject in file i is one of the log's.
func (m *matcher) known(i int) bool {
	return slices.ContainsFunc(m.all[i], func(e evidence) bool { return e.person == exactly })
}

// possible are the sessions that nothing speaks against; all if there are none.
func (m *matcher) possible(i int) (out []int) {
	for k := range m.visits {
		if !m.all[i][k].contradicted() {
			out = append(out, k)
		}
	}
	if out == nil {
		for k := range m.visits {
			out = append(out, k)
		}
	}
	return out
}

func (m *matcher) list(sessions []int) string {
	var names []string
	for _, k := range sessions[:min(len(sessions), 5)] {
		names = append(names, m.visits[k].Where)
	}
	if more := len(sessions) - len(names); more > 0 {
		names = append(names, fmt.Sprintf("%d more", more))
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return strings.Join(names, "")
}

// shown is a file's name as a message has it: in quotation marks if it holds anything
// but visible characters and blanks.
func shown(name string) string {
	if !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return strconv.QuoteToASCII(name)
	}
	return name
}

// mostChoices is how many sessions are offered for a file.
const mostChoices = 50

// ask makes the doubt about file i; offered are the sessions that it may be of.
func (m *matcher) ask(i int, text string, offered []int) {
	name := m.files[i].Name
	d := &Doubt{ID: RecordingDoubt(name), Where: shown(name), Option: "recording",
		Question: text + ". Whose recording is it?"}
	for n, k := range offered {
		if n < mostChoices && !slices.Contains(offered[:n], k) {
			d.Choices = append(d.Choices, Choice{m.visits[k].ID, m.visits[k].ID + ", " + m.visits[k].Where})
		}
	}
	d.Choices = append(d.Choices, Choice{ignored, "no session's: it is left out"})
	m.asked[i], m.found[i] = d, -1
}

// twice asks about files that cannot both be of the session that they were found for:
// they are the same bytes, or last at the same time in the same form without a name.
func (m *matcher) twice() {
	for i := range m.files {
		for j := range i {
			a, b := &m.files[i], &m.files[j]
			if _, answered := m.set.Answers[RecordingDoubt(a.Name)]; answered || m.found[i] < 0 {
				continue
			}
			switch {
			case a.Digest != "" && a.Digest == b.Digest && m.found[j] != -2:
				m.ask(i, "is a copy of "+shown(b.Name)+", byte for byte", []int{m.found[i]})
			case m.found[i] == m.found[j] && m.overlap(a, b) && (!m.named(i) || !m.named(j)):
				m.ask(i, fmt.Sprintf("fits %s, and so does %s, which lasts at the same time",
					m.visits[m.found[i]].Where, shown(b.Name)), append([]int{m.found[i]}, m.possible(i)...))
			}
		}
	}
}

// overlap reports whether two files of one form hold the same time.
func (m *matcher) overlap(a, b *RecordingFile) bool {
	form := func(name string) string { return strings.ToLower(name[strings.LastIndexByte(name, '.')+1:]) }
	return form(a.Name) == form(b.Name) && !a.About.Start.IsZero() && !b.About.Start.IsZero() &&
		a.About.Start.Before(b.About.Start.Add(b.About.Length)) &&
		b.About.Start.Before(a.About.Start.Add(a.About.Length))
}

// finish lists matches, doubts and sessions without a recording.
func (m *matcher) finish() {
	has := map[int]bool{}
	for i, k := range m.found {
		if d := m.asked[i]; d != nil {
			m.out.Doubts = append(m.out.Doubts, *d)
		}
		if k < 0 {
			continue
		}
		has[k] = true
		e := &m.all[i][k]
		match := Match{File: m.files[i].Name, Session: m.visits[k].ID, How: e.how()}
		if m.set.Answers[RecordingDoubt(match.File)] == match.Session {
			match.How = AsAnswered
		}
		if claims := m.claims(i, exactly); len(claims) > 0 {
			match.Misnamed = !slices.Contains(claims, k)
		}
		if e.clock > silent {
			match.Started = m.visits[k].Started.Add(e.apart)
		}
		m.out.Matches = append(m.out.Matches, match)
	}
	for k := range m.visits {
		if !has[k] {
			m.out.Without = append(m.out.Without, m.visits[k].Where)
		}
	}
}
