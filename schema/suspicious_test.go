package schema

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
)

// week is a collection of n sessions without a problem: two subjects, two a day, no two of
// them alike in length. The folder has no recordings.
func week(t testing.TB, n int) folder {
	f := folder{"study.json": validStudy, "roster.csv": rosterHead + rosterRows}
	for i := range n {
		record := changed(t, "/recordings", "[]")
		if i%2 == 1 {
			record = second(t, "/recordings", "[]")
		}
		record = moved(record, i/2*86400+i%2*3600+i*61, i%7)
		f[file(i)] = strings.NewReplacer(`"WEIR-V0001"`, fmt.Sprintf(`"V%d"`, i), `"WEIR-V0002"`, fmt.Sprintf(`"V%d"`, i),
			`"unit": 7`, fmt.Sprintf(`"unit": %d`, i), `"unit": 8`, fmt.Sprintf(`"unit": %d`, i),
			"LK07-0001-A", fmt.Sprintf("T%04d", i), "LK07-0002-A", fmt.Sprintf("T%04d", i)).Replace(record)
	}
	return f
}

func file(i int) string { return fmt.Sprintf("sessions/%04d.json", i+1) }

// alter changes values of one record; the changes are those of [changed].
func (f folder) alter(t *testing.T, i int, changes ...string) {
	t.Helper()
	n := parse(t, f[file(i)])
	for k := 0; k < len(changes); k += 2 {
		edit(t, n, changes[k], changes[k+1])
	}
	f[file(i)] = string(n.Encode())
}

// dated replaces a part of the dates of one record.
func (f folder) dated(i int, from, to string) { f[file(i)] = strings.ReplaceAll(f[file(i)], from, to) }

// told returns "file pointer rule", with "?" behind a warning's.
func told(problems []Problem) []string {
	var out []string
	for _, p := range problems {
		line := p.File + " " + p.Pointer + " " + p.Rule
		if p.Severity == Warning {
			line += "?"
		}
		out = append(out, line)
	}
	return out
}

// TestSuspicious holds what only shows between sessions, and between the records and the
// roster: each is found at its place and nothing else is said.
func TestSuspicious(t *testing.T) {
	each := func(n int, change func(f folder, i int)) func(folder) {
		return func(f folder) {
			for i := range n {
				change(f, i)
			}
		}
	}
	for _, c := range []struct {
		name   string
		n      int
		change func(folder)
		want   []string
		says   string
	}{
		{"nothing", 12, func(folder) {}, nil, ""},
		{"an hour of the other half of the day", 2, func(f folder) {
			f.alter(t, 0, "/ended_at", `"2026-03-02T20:31:00-05:00"`)
		}, []string{file(0) + " /ended_at session.day"}, "lasted for more than 8 hours"},
		{"a session of a day", 2, func(f folder) { f.alter(t, 0, "/ended_at", `"2026-03-03T08:31:00-05:00"`) },
			[]string{file(0) + " /ended_at session.day"}, "correct the date or the hour"},
		{"a session of some hours", 2, func(f folder) { f.alter(t, 0, "/ended_at", `"2026-03-02T16:21:00-05:00"`) },
			[]string{file(0) + " /ended_at session.long?"}, ""},

		{"two subjects on one sampler", 4, func(f folder) {
			f.alter(t, 1, "/started_at", `"2026-03-02T08:29:00-05:00"`, "/sampler/serial", `"smp-207"`)
		}, []string{file(1) + " /started_at session.overlap", file(1) + " /ended_at session.long?"},
			"another subject used the same sampler in these minutes, by started_at in sessions/0001.json, line 15"},
		{"two subjects on two samplers", 4, func(f folder) { f.dated(1, "T09:", "T08:") }, nil, ""},
		{"overlapping sessions of one subject", 4, func(f folder) {
			f.alter(t, 1, "/subject/subject_id", `"s 0001"`, "/subject/birth_date", `"1978-05-17"`, "/subject/sex",
				`"female"`)
			f.dated(1, "T09:", "T08:")
		}, []string{file(1) + " /started_at session.overlap"}, "the same subject was in another session"},
		{"a minute in common", 2, func(f folder) {
			f.alter(t, 1, "/started_at", `"2026-03-02T08:30:01-05:00"`, "/sampler/serial", `"SMP-207"`, "/ended_at",
				`"2026-03-02T08:39:00-05:00"`, "/tubes/0/uncapped_at", `"2026-03-02T08:33:00-05:00"`,
				"/tubes/0/capped_at", `"2026-03-02T08:34:00-05:00"`, "/interruptions", "[]")
		}, nil, ""},

		{"wrong year", 8, func(f folder) { f.dated(3, "2026-", "2025-") },
			[]string{file(3) + " /started_at session.far?"}, "this session lies 363 days away from the other sessions"},
		{"wrong month", 8, func(f folder) { f.dated(7, "2026-03-", "2026-05-") },
			[]string{file(7) + " /started_at session.far?"}, "this session lies 61 days away"},
		{"a folder of many weeks", 8, func(f folder) {
			f.dated(1, "2026-03-", "2026-05-")
			f.dated(3, "2026-03-", "2026-06-")
			f.dated(5, "2026-03-", "2026-07-")
		}, []string{"sessions  session.far?"}, "3 of the 8 sessions lie more than the 7 days of gap_days"},
		{"a folder of many weeks by study.json", 8, func(f folder) {
			f["study.json"] = strings.Replace(validStudy, `"WEIR",`, `"WEIR", "gap_days": 150,`, 1)
			f.dated(5, "2026-03-", "2026-07-")
		}, []string{file(5) + " /started_at session.order?"}, "are in another order than by their dates"},
		{"two weeks", 30, func(folder) {}, nil, ""},
		{"two sessions a month apart", 2, func(f folder) { f.dated(0, "2026-03-", "2026-02-") },
			[]string{file(0) + " /started_at session.far?"}, "lies 28 days away"},
		{"a week between", 4, func(f folder) { f.dated(3, "-03T", "-10T") }, nil, ""},

		{"sex changed", 4, func(f folder) {
			f["roster.csv"] = strings.Replace(f["roster.csv"], ",f,", ",,", 1)
			f.alter(t, 2, "/subject/sex", `"male"`)
		}, []string{file(2) + " /subject/sex subject.changed?"},
			"sex differs from that in sessions/0001.json, line 9, of the same subject"},
		{"birth date changed", 4, func(f folder) { f.alter(t, 2, "/subject/birth_date", `"1978-05-18"`) },
			[]string{file(2) + " /subject/birth_date subject.birth-date"}, ""},
		{"20 cm taller", 4, func(f folder) {
			f.alter(t, 0, "/subject/height_cm", "160")
			f.alter(t, 2, "/subject/height_cm", "180")
		}, []string{file(2) + " /subject/height_cm subject.changed?"}, "by 20 cm or more"},
		{"19 cm taller and 29 kg heavier", 4, func(f folder) {
			f.alter(t, 0, "/subject/height_cm", "160", "/subject/weight_kg", "60")
			f.alter(t, 2, "/subject/height_cm", "179", "/subject/weight_kg", "89")
		}, nil, ""},
		{"30 kg lighter", 4, func(f folder) {
			f.alter(t, 0, "/subject/weight_kg", "90.5")
			f.alter(t, 2, "/subject/weight_kg", "60.5")
		}, []string{file(2) + " /subject/weight_kg subject.changed?"}, "by 30 kg or more"},
		{"another height than in the roster", 2, func(f folder) {
			f["roster.csv"] = strings.NewReplacer("phone\n", "phone,height_cm\n",
				",,,,,,,,,,\nS-0002", ",,,,,,,,,,,\"1,9\"\nS-0002",
				"1990-11-02,,,,,,,,,,", "1990-11-02,,,,,,,,,,,200").Replace(f["roster.csv"])
			f.alter(t, 1, "/subject/height_cm", "180")
			f.alter(t, 0, "/subject/height_cm", "")
		}, []string{file(1) + " /subject/height_cm subject.changed?"}, "height_cm differs from that in roster.csv"},

		{"two tubes in one position", 2, func(f folder) {
			f.alter(t, 0, "/tubes/1", parseText(t, validRecord, "/tubes/0", "/barcode", `"B"`))
			f.alter(t, 0, "/tubes/1/position", `"a"`)
		}, []string{file(0) + " /tubes/1/position tube.position?"}, "has the same position in this session"},
		{"a blank in a position", 2, func(f folder) {
			f.alter(t, 0, "/tubes/1", parseText(t, validRecord, "/tubes/0", "/barcode", `"B"`))
			f.alter(t, 0, "/tubes/1/role", `"field-blank"`)
		}, nil, ""},

		{"all sessions equally long", 6, each(6, func(f folder, i int) {
			n := parse(t, f[file(i)])
			start, _ := parseTime(n.At("/started_at").Text)
			f.alter(t, i, "/ended_at", `"`+start.Add(517*time.Second).Format(time.RFC3339)+`"`)
		}), []string{file(0) + " /ended_at record.equal?"},
			"all 6 sessions of this folder last exactly as long from started_at to ended_at"},
		{"all but one equally long", 6, each(5, func(f folder, i int) {
			n := parse(t, f[file(i)])
			start, _ := parseTime(n.At("/started_at").Text)
			f.alter(t, i, "/ended_at", `"`+start.Add(517*time.Second).Format(time.RFC3339)+`"`)
		}), nil, ""},
		{"four equally long", 4, each(4, func(f folder, i int) {
			n := parse(t, f[file(i)])
			start, _ := parseTime(n.At("/started_at").Text)
			f.alter(t, i, "/ended_at", `"`+start.Add(517*time.Second).Format(time.RFC3339)+`"`)
		}), nil, ""},
		{"the same time of day", 6, func(f folder) {
			for i := range 6 {
				f[file(i)] = moved(changed(t, "/recordings", "[]", "/session_id", fmt.Sprintf(`"V%d"`, i), "/kit/unit",
					fmt.Sprint(i), "/tubes/0/barcode", fmt.Sprintf(`"T%d"`, i), "/interruptions", "[]", "/started_at",
					`"2026-03-02T07:22:07-05:00"`), i*86400, i)
				f[file(i)] = strings.ReplaceAll(f[file(i)], "2026-03-02T07", fmt.Sprintf("2026-03-%02dT08", i+2))
			}
		}, []string{file(0) + " /started_at record.equal?"}, "begin at exactly the same time of day"},
		{"one height for all subjects", 6, func(f folder) {
			for i := range 6 {
				f["roster.csv"] += fmt.Sprintf("P%d,A%d,B%d,,,1970-01-0%d,,,,,,,,,,\n", i, i, i, i+1)
				f.alter(t, i, "/subject/subject_id", fmt.Sprintf(`"P%d"`, i), "/subject/birth_date",
					fmt.Sprintf(`"1970-01-0%d"`, i+1), "/subject/height_cm", "170", "/subject/weight_kg", fmt.Sprint(60+2*i))
			}
		}, []string{file(0) + " /subject/height_cm record.equal?"},
			"all 6 subjects of this folder have the same height_cm"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := week(t, c.n)
			c.change(f)
			got := load(t, f.write(t)).Problems
			if !slices.Equal(told(got), c.want) {
				t.Fatalf("got  %q\nwant %q\n%v", told(got), c.want, got)
			}
			if len(got) > 0 && !slices.ContainsFunc(got, func(p Problem) bool {
				return strings.Contains(p.Message, c.says)
			}) {
				t.Errorf("no message holds %q: %v", c.says, got)
			}
		})
	}
}

// A time that was written down to the minute is equal by chance more often.
func TestEqualMinutes(t *testing.T) {
	for n, want := range map[int]bool{9: false, 10: true} {
		f := week(t, n)
		for i := range n {
			start, _ := parseTime(parse(t, f[file(i)]).At("/started_at").Text)
			start = start.Truncate(time.Minute)
			f.alter(t, i, "/started_at", `"`+start.Format(time.RFC3339)+`"`, "/ended_at",
				`"`+start.Add(9*time.Minute).Format(time.RFC3339)+`"`)
		}
		got := told(load(t, f.write(t)).Problems)
		if slices.Contains(got, file(0)+" /ended_at record.equal?") != want {
			t.Errorf("%d sessions of 9 minutes: %q", n, got)
		}
	}
}

// Every value of session-to-copy.json that a session cannot have is found where it was left,
// and none of those that it may well have.
func TestExampleLeft(t *testing.T) {
	text, err := os.ReadFile("begin/session-to-copy.json")
	if err != nil {
		t.Fatal(err)
	}
	n := parse(t, strings.NewReplacer("{{STUDY}}", "LARK-2", "{{SITE}}", "WEIR").Replace(string(text)))
	// Filled in but for these.
	left := parse(t, string(n.Encode()))
	for pointer, text := range map[string]string{"/notes": `"all well"`, "/interruptions": "[]",
		"/tubes/0/barcode": `"LK1"`, "/started_at": `"2026-03-02T09:10:30+01:00"`, "/subject/postal_code": `"98701"`,
		"/kit/lot": `"L1"`, "/sampler/serial": `"S1"`, "/tubes/0/uncapped_at": `"2026-03-02T09:11:10+01:00"`,
		"/tubes/0/capped_at": `"2026-03-02T09:12:41+01:00"`, "/recordings": "[]",
		"/tubes/1/uncapped_at": `"2026-03-02T09:14:10+01:00"`} {
		edit(t, left, pointer, text)
	}
	for _, c := range []struct {
		record *Node
		want   []string
	}{
		{n, []string{"/ended_at record.example", "/interruptions/0/at record.example?",
			"/interruptions/0/note record.example", "/kit/lot record.example?", "/notes record.example",
			"/sampler/serial record.example?", "/started_at record.example", "/subject/postal_code record.example?",
			"/tubes/0/barcode record.example", "/tubes/0/capped_at record.example?",
			"/tubes/0/uncapped_at record.example?", "/tubes/1/barcode record.example",
			"/tubes/1/capped_at record.example?", "/tubes/1/uncapped_at record.example?"}},
		{left, []string{"/ended_at record.example?", "/tubes/1/barcode record.example",
			"/tubes/1/capped_at record.example?"}},
	} {
		f := folder{"study.json": validStudy, "sessions/0001.json": string(c.record.Encode()),
			"roster.csv":                rosterHead + "WEIR-001,Odile,Quillon,,f,1970-01-31,,,,,,,,,,\n",
			"recordings/trace-0001.csv": validCSV}
		var got []string
		for _, line := range told(load(t, f.write(t)).Problems) {
			if line, of := strings.CutPrefix(line, "sessions/0001.json "); of {
				got = append(got, line)
			}
		}
		slices.Sort(got)
		if !slices.Equal(got, c.want) {
			t.Errorf("got  %q\nwant %q", got, c.want)
		}
	}
}

func TestFuture(t *testing.T) {
	f := week(t, 2)
	f.alter(t, 0, "/tubes/0/conditioned_at", `"2026-03-02T10:00:00-05:00"`)
	f.alter(t, 1, "/recordings", `[{"file": "trace-0002.csv", "format": "csv", "content": "", "started_at": `+
		`"2026-03-02T09:23:00-05:00"}]`)
	f["recordings/trace-0002.csv"] = validCSV
	c := load(t, f.write(t))
	if got := told(c.Problems); !slices.Equal(got, []string{file(0) + " /tubes/0/conditioned_at tube.conditioned"}) {
		t.Fatal(got)
	}
	for now, want := range map[string][]string{
		"2026-03-02T09:40:00-05:00": nil,
		"2026-03-02T09:00:00-05:00": nil, // a clock may be wrong by an hour
		"2026-03-02T08:40:00-05:00": {file(0) + " /tubes/0/conditioned_at time.future"},
		"2026-03-02T08:22:59-05:00": {file(0) + " /tubes/0/conditioned_at time.future",
			file(1) + " /started_at time.future"},
		"2026-03-02T08:24:02-05:00": {file(0) + " /tubes/0/conditioned_at time.future",
			file(1) + " /ended_at time.future"},
		"2025-03-02T13:40:00Z": {file(0) + " /started_at time.future", file(1) + " /started_at time.future"},
	} {
		at, _ := parseTime(now)
		got := told(c.Future(at))
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("at %s: got %q, want %q", now, got, want)
		}
	}
}

// Names are invented; how names are varied is common practice, no source.
func TestOnePerson(t *testing.T) {
	const born = "1978-05-17"
	for _, c := range []struct {
		rows string // given, family, birth date, mrn, separated by blanks
		want bool
	}{
		{"Odile Quillon " + born + " |odile QUILLON " + born + " ", true},
		{"Odile Quillon " + born + " |Odile Quillon 1978-05-18 ", false},
		{"Odile Quillon " + born + " |Odette Quillon " + born + " ", false},    // twins
		{"Søren Fjældgård " + born + " |Soren Fjaeldgard " + born + " ", true}, // signs left out
		{"Inés_María Quiñonero_de_la_Vega " + born + " |Ines Quinonero " + born + " ", true},
		{"Odile Quillon " + born + " |Quillon Odile " + born + " ", true}, // in each other's column
		{"Anne-Marie O'Hallaghan " + born + " |Anne OHallaghan " + born + " ", true},
		{"Jan van_der_Berg " + born + " |Jan van_der_Moor " + born + " ", false},
		{"Odile Quillon " + born + " MRN-3041|Odile Verrick 1980-01-01 mrn3041", true}, // married
		{"Odile Quillon " + born + " 7|Tam Verrick 1980-01-01 7", false},               // no number
		{"星桜 春人 " + born + " |星桜 春人 " + born + " ", true},
	} {
		text := "subject_id,given_name,family_name,birth_date,mrn\n"
		for i, row := range strings.Split(c.rows, "|") {
			text += fmt.Sprintf("S-%d,%s\n", i, strings.NewReplacer(" ", ",", "_", " ").Replace(row))
		}
		r, problems, err := parseRoster([]byte(text))
		if err != nil || len(r.Rows) != 2 {
			t.Fatal(err, problems)
		}
		got := r.OnePerson()
		if want := []string{"roster.csv  roster.one-person?"}; c.want && !slices.Equal(told(got), want) ||
			!c.want && len(got) > 0 {
			t.Errorf("%s: %v", c.rows, got)
		}
		for _, p := range got {
			if p.Line != 3 || !strings.Contains(p.Message, "line 2") || strings.Contains(p.Message, "uillon") {
				t.Errorf("%s: %+v", c.rows, p)
			}
		}
	}
}
