package sessionlog

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/schema"
	"outbreath/schema/edf"
	"outbreath/schema/sampler"
)

// A person of the week in the tests.
type person struct{ id, born, sex, given, family, mrn string }

var people = []person{
	{"WEIR-011", "1951-05-02", "female", "Aud", "Løken", "30417788"},
	{"WEIR-012", "1964-11-23", "male", "Bram", "Quist", "30417799"},
	{"WEIR-013", "1987-01-09", "female", "Cleo", "Marsh", "30417800"},
	{"WEIR-014", "1987-07-30", "male", "Dov", "Teller", "30417811"},
}

var cet = time.FixedZone("", 3600)

// week are four sessions of a morning, an hour apart, of two samplers.
func week() []Visit {
	roster := &schema.Roster{}
	var out []Visit
	for _, p := range people {
		roster.Rows = append(roster.Rows, map[string]string{"subject_id": p.id, "birth_date": p.born, "sex": p.sex,
			"given_name": p.given, "family_name": p.family, "mrn": p.mrn})
	}
	for i, p := range people {
		start := time.Date(2026, 3, 2, 8+i, 10, 0, 0, cet)
		values := map[string]*schema.Node{}
		for pointer, text := range map[string]string{
			"/started_at": start.Format(time.RFC3339), "/ended_at": start.Add(9 * time.Minute).Format(time.RFC3339),
			"/sampler/serial": []string{"SMP-207", "SMP-211"}[i%2], "/subject/subject_id": p.id,
			"/subject/birth_date": p.born, "/subject/sex": p.sex,
		} {
			values[pointer] = &schema.Node{Kind: schema.String, Text: text}
		}
		out = append(out, VisitOf(&Record{ID: fmt.Sprintf("WEIR-V%04d", i+1),
			Where: fmt.Sprintf("sheet sessions, row %d", i+2), Values: values}, roster))
	}
	return out
}

// edfOf is what the EDF recording of session i says: header and length.
func edfOf(name string, i int) RecordingFile {
	p, start := people[i], week()[i].Started.Add(20*time.Second)
	born, _ := time.Parse(time.DateOnly, p.born)
	month := func(t time.Time) string { return strings.ToUpper(t.Format("02-Jan-2006")) }
	h := &edf.Header{
		Patient: fmt.Sprintf("%s %s %s %s_%s", p.mrn, strings.ToUpper(p.sex[:1]), month(born), schema.Spelt(p.given),
			"X"),
		Recording: fmt.Sprintf("Startdate %s X X TEAL_%s", month(start), week()[i].Serial),
		StartDate: start.Format("02.01.06"), StartTime: start.Format("15.04.05"), Records: 500, RecordDuration: "1",
	}
	return RecordingFile{Name: name, About: sampler.FromEDF(h)}
}

// tableOf is what a sampler's table of session i says, which has a clock.
func tableOf(t testing.TB, name string, i int, ahead time.Duration) RecordingFile {
	t.Helper()
	var b strings.Builder
	b.WriteString("Uhrzeit;CO2 [mmHg]\n")
	for k := range 500 {
		fmt.Fprintf(&b, "%s;%d,5\n", week()[i].Started.Add(ahead+time.Duration(k+20)*time.Second).
			Format("02.01.2006 15:04:05"), k%38)
	}
	a, err := sampler.Look(name, strings.NewReader(b.String()), nil)
	if err != nil {
		t.Fatal(err)
	}
	return RecordingFile{Name: name, About: a}
}

// asked returns the questions by file.
func asked(m *Matching) map[string]string {
	out := map[string]string{}
	for _, d := range m.Doubts {
		out[strings.TrimPrefix(d.ID, "recording:")] = d.Question
	}
	return out
}

func matched(m *Matching) string {
	var out []string
	for _, x := range m.Matches {
		out = append(out, x.File+"="+x.Session)
	}
	return strings.Join(out, " ")
}

// TestMatchByWhatFilesSay: names alone, clocks alone and header alone find the session.
func TestMatchByWhatFilesSay(t *testing.T) {
	clockless := edfOf("d.edf", 3)
	clockless.About.Start = time.Time{}
	m := MatchRecordings([]RecordingFile{tableOf(t, "b.txt", 1, 0), edfOf("a.edf", 0),
		{Name: "trace_weir_v0003 (2).csv"}, clockless}, week(), &Settings{})
	want := "a.edf=WEIR-V0001 b.txt=WEIR-V0002 d.edf=WEIR-V0004 trace_weir_v0003 (2).csv=WEIR-V0003"
	if got := matched(m); got != want || len(m.Doubts)+len(m.Without)+len(m.Left) > 0 {
		t.Fatalf("%s\n%+v", got, m)
	}
	if got := m.Matches[0].Started; !got.Equal(week()[0].Started.Add(20*time.Second)) || got.Location() != cet {
		t.Errorf("a.edf began at %v", got)
	}
	if !m.Matches[3].Started.IsZero() || !strings.Contains(m.Matches[3].How, "name") {
		t.Errorf("%+v", m.Matches[3])
	}
}

// TestSwappedRecordings: two recordings under each other's name are found, by clock
// and by the subject in the header, and the question names both files and both
// sessions, and no value of either.
func TestSwappedRecordings(t *testing.T) {
	for name, files := range map[string][2]RecordingFile{
		"EDF": {edfOf("WEIR-V0001.edf", 1), edfOf("WEIR-V0002.edf", 0)},
		"CSV": {tableOf(t, "WEIR-V0001.edf", 1, 0), tableOf(t, "WEIR-V0002.edf", 0, 0)},
	} {
		m := MatchRecordings([]RecordingFile{files[0], edfOf("WEIR-V0003.edf", 2), files[1]}, week(), &Settings{})
		q := asked(m)
		if got := matched(m); got != "WEIR-V0003.edf=WEIR-V0003" || len(q) != 2 {
			t.Fatalf("%s: %s\n%v", name, got, q)
		}
		for i, file := range []string{"WEIR-V0001.edf", "WEIR-V0002.edf"} {
			other := []string{"WEIR-V0002.edf", "WEIR-V0001.edf"}[i]
			for _, want := range []string{other, "row 2", "row 3", "exchanged"} {
				if !strings.Contains(q[file], want) {
					t.Errorf("%s, %s: %q is not said: %s", name, file, want, q[file])
				}
			}
			for _, never := range []string{"1951", "1964", "Bram", "Aud", "Quist", "304177", "MAY"} {
				if strings.Contains(q[file], never) {
					t.Errorf("%s: a value is said: %s", name, q[file])
				}
			}
		}
		if c := m.Doubts[0].Choices; c[0].Value != "WEIR-V0002" || c[1].Value != "WEIR-V0001" || c[2].Value != "-" {
			t.Errorf("%s: %+v", name, c)
		}
	}
	// By the subject alone: a header without a date.
	a, b := edfOf("WEIR-V0001.edf", 1), edfOf("WEIR-V0002.edf", 0)
	a.About.Start, b.About.Start = time.Time{}, time.Time{}
	if q := asked(MatchRecordings([]RecordingFile{a, b}, week(), &Settings{})); len(q) != 2 ||
		!strings.Contains(q["WEIR-V0001.edf"], "exchanged") || !strings.Contains(q["WEIR-V0001.edf"], "birth date") {
		t.Errorf("%v", q)
	}
}

// TestDoubtfulRecordings: what fits two sessions, or none, or is contradicted, is
// asked; one case for each kind of evidence.
func TestDoubtfulRecordings(t *testing.T) {
	change := func(f RecordingFile, with func(*RecordingFile)) RecordingFile { with(&f); return f }
	overlapping := week()
	overlapping[1].Started, overlapping[1].Ended = overlapping[0].Started, overlapping[0].Ended
	sameSampler := slices.Clone(overlapping)
	sameSampler[1].Serial = sameSampler[0].Serial
	twiceNamed := week()
	otherFile := week()
	otherFile[0].Files = []string{"WEIR-V0011.csv"}
	twiceNamed[0].Files, twiceNamed[2].Files = []string{"a.csv"}, []string{"A.CSV"}
	// first is session 0's recording under its own name, with something changed.
	first := func(with func(*sampler.About)) []RecordingFile {
		return []RecordingFile{change(edfOf("WEIR-V0001.edf", 0), func(f *RecordingFile) { with(&f.About) })}
	}
	// only is a.edf of session i, of which nothing is known but what keep takes over.
	only := func(i int, keep func(in, out *sampler.About)) []RecordingFile {
		f := edfOf("a.edf", i)
		in := f.About
		f.About = sampler.About{Local: true}
		keep(&in, &f.About)
		return []RecordingFile{f}
	}
	copied := func(name string) RecordingFile {
		return change(edfOf(name, 0), func(f *RecordingFile) { f.Digest = "1" })
	}
	for name, c := range map[string]struct {
		files []RecordingFile
		week  []Visit // nil: the usual one
		want  string  // "file=session", or part of the question
	}{
		"odd name":      {[]RecordingFile{{Name: "a\x1b[2J\u202e.csv"}}, nil, `"a\x1b[2J\u202e.csv" fits no session`},
		"nothing known": {[]RecordingFile{{Name: "trace.csv"}}, nil, "fits no session by name"},
		"wrong year": {first(func(a *sampler.About) { a.Start = a.Start.AddDate(-1, 0, 0) }), nil,
			"365 days before"},
		"other sex":        {first(func(a *sampler.About) { a.Sex = "male" }), nil, "the sex in it is not that"},
		"other birth date": {first(func(a *sampler.About) { a.BirthDate = "1951-05-03" }), nil, "the birth date in it"},
		"other number": {first(func(a *sampler.About) { a.SubjectCode = people[2].mrn }), nil,
			"the subject's number in it"},
		"other visit": {first(func(a *sampler.About) { a.Visit = "weir v0003" }), nil,
			"the number of the visit in it"},
		"other name":    {first(func(a *sampler.About) { a.Name = "Quist Bram" }), nil, "the name in it is another"},
		"other sampler": {first(func(a *sampler.About) { a.Serial = "TEAL SMP-211" }), nil, "another sampler"},
		"a model":       {first(func(a *sampler.About) { a.Serial = "TEAL 4" }), nil, "WEIR-V0001.edf=WEIR-V0001"},
		"too long": {[]RecordingFile{{Name: "WEIR-V0001.csv", About: sampler.About{Length: 11 * time.Minute}}}, nil,
			"longer than that session"},
		"named twice": {[]RecordingFile{{Name: "a.csv"}}, twiceNamed,
			"is named for sheet sessions, row 2 and sheet sessions, row 4"},
		"the log names another file": {[]RecordingFile{{Name: "WEIR-V0001.csv"}}, otherFile,
			"the log names another file there, which is not in this folder"},
		"V0001 in V00010": {[]RecordingFile{{Name: "WEIR-V00010.csv"}}, nil, "fits no session"},
		"by serial number": {only(1, func(in, out *sampler.About) {
			out.Start, out.Serial = in.Start.Add(-time.Hour), in.Serial
		}), overlapping, "a.edf=WEIR-V0002"},
		"two at once": {only(0, func(in, out *sampler.About) { out.Start = in.Start }), sameSampler,
			"fits sheet sessions, row 2 and sheet sessions, row 3 equally"},
		"day or month": {only(0, func(in, out *sampler.About) {
			out.Start, out.Other = in.Start.AddDate(0, 1, 1), in.Start
		}), nil, "a.edf=WEIR-V0001"},
		"clock without a day": {
			only(2, func(in, out *sampler.About) { out.Start, out.ClockOnly = in.Start, true }), nil,
			"a.edf=WEIR-V0003"},
		"copy": {[]RecordingFile{copied("WEIR-V0001.edf"), copied("a.edf")}, nil, "is a copy of WEIR-V0001.edf"},
		"at one time": {[]RecordingFile{edfOf("a.edf", 0), edfOf("b.edf", 0)}, nil,
			"b.edf fits sheet sessions, row 2, and so does a.edf"},
	} {
		if c.week == nil {
			c.week = week()
		}
		m := MatchRecordings(c.files, c.week, &Settings{})
		said := matched(m)
		for _, d := range m.Doubts {
			said += "\n" + d.Where + " " + d.Question
			if len(d.Choices) < 2 || d.Choices[len(d.Choices)-1].Value != "-" || d.Option != "recording" {
				t.Errorf("%s: %+v", name, d)
			}
		}
		if !strings.Contains(said, c.want) || strings.Contains(c.want, "=") && len(m.Doubts) > 0 {
			t.Errorf("%s: %s, want %q", name, said, c.want)
		}
	}
}

// TestWrongClock: a clock that is wrong by an hour is asked about once, and the
// answer settles all files, also where sessions begin an hour apart, so that each file
// but one fits the session before, and where the first has no recording at all.
func TestWrongClock(t *testing.T) {
	for _, ahead := range []time.Duration{-30 * time.Minute, -time.Hour, 7 * time.Hour} {
		for _, first := range []int{0, 1} {
			var files []RecordingFile
			for i := range people[first:] {
				files = append(files, tableOf(t, fmt.Sprintf("%d.csv", i), i+first, ahead))
			}
			s := &Settings{}
			m := MatchRecordings(files, week(), s)
			if len(m.Doubts) != 1 || m.Doubts[0].ID != clockDoubt || m.Doubts[0].Option != "clock" ||
				len(m.Waiting) != len(files) {
				t.Fatalf("%v: %+v", ahead, m)
			}
			value := fmt.Sprintf("%+.0f", -ahead.Minutes())
			if !slices.ContainsFunc(m.Doubts[0].Choices, func(c Choice) bool { return c.Value == value }) {
				t.Fatalf("%s is not offered: %+v", value, m.Doubts)
			}
			s.Answer(m.Doubts[0], value)
			if m = MatchRecordings(files, week(), s); len(m.Doubts) > 0 || len(m.Matches) != len(files) ||
				!m.Matches[2].Started.Equal(week()[2+first].Started.Add(20*time.Second)) {
				t.Errorf("%v: %+v", ahead, m)
			}
		}
	}
	var files []RecordingFile
	for i := range people {
		files = append(files, tableOf(t, fmt.Sprintf("%d.csv", i), i, -30*time.Minute))
	}
	m := MatchRecordings(files, week(), &Settings{Answers: map[string]string{clockDoubt: "right"}})
	if len(m.Doubts) != 4 || len(m.Matches) > 0 {
		t.Errorf("%+v", m)
	}
}

// TestRecordingAnswers: what a person said is done, and is not asked again.
func TestRecordingAnswers(t *testing.T) {
	s := &Settings{}
	files := []RecordingFile{{Name: "x.csv"}, {Name: "y.csv"}, {Name: "z.csv"}}
	for _, d := range MatchRecordings(files, week(), s).Doubts {
		if d.ID != RecordingDoubt("z.csv") {
			s.Answer(d, map[string]string{"recording:x.csv": "WEIR-V0004", "recording:y.csv": "-"}[d.ID])
		}
	}
	m := MatchRecordings(files, week(), s)
	if matched(m) != "x.csv=WEIR-V0004" || m.Matches[0].How != "as answered" ||
		!slices.Equal(m.Left, []string{"y.csv"}) ||
		len(m.Doubts) != 1 || len(m.Without) != 3 {
		t.Errorf("%+v", m)
	}
}

// TestMatchingLaw: in any order, with any names, each file is in exactly one list, and
// no file is matched with a session that its own clock or subject contradicts.
func TestMatchingLaw(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	matches, doubts := 0, 0
	for range 300 {
		var files []RecordingFile
		truth := map[string]string{}
		for n := range 1 + r.IntN(6) {
			i := r.IntN(len(people))
			name := fmt.Sprintf("%d.edf", n)
			if r.IntN(2) == 0 {
				name = fmt.Sprintf("WEIR-V%04d-%d.edf", 1+r.IntN(len(people)), n)
			}
			files = append(files, edfOf(name, i))
			truth[name] = fmt.Sprintf("WEIR-V%04d", i+1)
		}
		r.Shuffle(len(files), func(i, j int) { files[i], files[j] = files[j], files[i] })
		m := MatchRecordings(files, week(), &Settings{})
		if len(m.Matches)+len(m.Doubts)+len(m.Left) != len(files) {
			t.Fatalf("%d files, %+v", len(files), m)
		}
		for _, x := range m.Matches {
			if truth[x.File] != x.Session {
				t.Fatalf("%s is taken for %s", x.File, x.Session)
			}
		}
		matches, doubts = matches+len(m.Matches), doubts+len(m.Doubts)
	}
	if matches < 100 || doubts < 100 {
		t.Errorf("%d matches and %d doubts try little", matches, doubts)
	}
}
