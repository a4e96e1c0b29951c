package schema

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

const (
	validStudy = `{
  "study": "LARK-2",
  "site": "WEIR",
  "contact": "Weir Infirmary (invented), telephone +1 646 555 0143"
}
`
	rosterHead = "subject_id,given_name,family_name,other_names,sex,birth_date,mrn,national_id,phone,email,street,city,postal_code,country,emergency_contact_name,emergency_contact_phone\n"
	rosterRows = "S-0001,Odile,Quillon,,f,1978-05-17,,,,,,,,,,\n" +
		"S-0002,Tam,Verrick,,m,1990-11-02,,,,,,,,,,\n"
	validCSV = "t_s,co2_kpa,pressure_pa\n0,0.1,2\n0.05,0.2,3\n"
)

// second is a valid record other than validRecord.
func second(t testing.TB, changes ...string) string {
	return changed(t, append([]string{"/session_id", `"WEIR-V0002"`, "/subject/subject_id", `"S-0002"`,
		"/subject/birth_date", `"1990-11-02"`,
		"/subject/sex", `"male"`, "/sampler/serial", `"SMP-211"`, "/kit/unit", "8", "/tubes/0/barcode", `"LK07-0002-A"`, "/recordings/0/file",
		`"trace-0002.csv"`}, changes...)...)
}

// changed returns validRecord with changes, as edit takes them.
func changed(t testing.TB, changes ...string) string {
	t.Helper()
	n, err := ParseJSON([]byte(validRecord))
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(changes); i += 2 {
		edit(t, n, changes[i], changes[i+1])
	}
	return string(n.Encode())
}

// A folder is the files of a collection by name; a text of "" with a name that
// ends in "/" is an empty folder.
type folder map[string]string

// valid is a collection of two sessions without a problem.
func valid(t testing.TB) folder {
	return folder{
		"study.json": validStudy, "roster.csv": rosterHead + rosterRows,
		"sessions/0001.json": validRecord, "sessions/0002.json": second(t),
		"recordings/trace-0001.csv": validCSV, "recordings/trace-0002.csv": validCSV,
	}
}

func (f folder) write(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range f {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		var err error
		if strings.HasSuffix(name, "/") {
			err = os.MkdirAll(path, 0o700)
		} else {
			err = os.WriteFile(path, []byte(text), 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func load(t testing.TB, dir string) *Collection {
	t.Helper()
	c, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Root.Close() })
	return c
}

func TestLoad(t *testing.T) {
	f := valid(t)
	for _, name := range []string{".DS_Store", "Thumbs.db", "README.md", "START-HERE.html", "session-to-copy.json",
		"letter.docx",
		"old/0000.json", "review.jsonl", "custody.jsonl", "custody.jsonl.sig", "custody.torn-1", "custody.torn-12",
		"sessions/.swap", "recordings/desktop.ini"} {
		f[name] = "x"
	}
	dir := f.write(t)
	c := load(t, dir)
	if len(c.Problems) > 0 {
		t.Fatalf("problems: %v", c.Problems)
	}
	if c.Dir != dir || c.Plan.Name != "shifted" || c.Read != (Counts{2, 2, 2}) {
		t.Errorf("read %v with plan %s from %s", c.Read, c.Plan.Name, c.Dir)
	}
	if diff := cmp.Diff(&Study{Study: "LARK-2", Site: "WEIR",
		Contact: "Weir Infirmary (invented), telephone +1 646 555 0143",
		Plan:    "shifted", HoldingDays: 30, UncappedLimit: 120 * time.Second, TimeLimit: 12 * time.Minute,
		ReceiptDays: 14, GapDays: 7, ClockDrift: 10 * time.Minute}, c.Study); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(&Roster{Columns: RosterColumns(), Rows: []map[string]string{
		{"subject_id": "S-0001", "given_name": "Odile", "family_name": "Quillon", "sex": "f",
			"birth_date": "1978-05-17"},
		{"subject_id": "S-0002", "given_name": "Tam", "family_name": "Verrick", "sex": "m", "birth_date": "1990-11-02"},
	}, Lines: []int{2, 3}}, c.Roster); diff != "" {
		t.Error(diff)
	}
	if len(c.Sessions) != 2 {
		t.Fatalf("%d sessions", len(c.Sessions))
	}
	at := func(s string) time.Time { at, _ := parseTime(s); return at }
	info, err := os.Stat(filepath.Join(dir, "recordings/trace-0001.csv"))
	if err != nil {
		t.Fatal(err)
	}
	doc, err := ParseJSON([]byte(validRecord))
	if err != nil {
		t.Fatal(err)
	}
	want := &Session{
		File: "sessions/0001.json", Doc: doc, ID: "WEIR-V0001", Subject: "S-0001", Operator: "op-kestrel",
		BirthDate: "1978-05-17",
		Started:   at("2026-03-02T08:22:00-05:00"), Ended: at("2026-03-02T08:31:00-05:00"), Outcome: "complete",
		Fraction: "end-tidal",
		Tubes: []Tube{{"LK07-0001-A", "A", "500", "refrigerated", at("2026-03-02T08:23:00-05:00"),
			at("2026-03-02T08:25:00-05:00")}},
		Recordings: []RecordingRef{{"recordings/trace-0001.csv", "csv", "/recordings/0/file", int64(len(validCSV)),
			info.ModTime(), DefaultColumns()}},
	}
	if diff := cmp.Diff(want, c.Sessions[0]); diff != "" {
		t.Error(diff)
	}
	if got := c.Sessions[1]; got.File != "sessions/0002.json" ||
		got.Recordings[0].File != "recordings/trace-0002.csv" || got.Doc.At("/session_id").Text != "WEIR-V0002" {
		t.Errorf("the second session is %+v", got)
	}
	var omitted []string
	for _, o := range c.Omitted {
		if o.Why == "" {
			t.Errorf("%s is omitted without a reason", o.File)
		}
		if o.Why == "not part of a collection" && o.File != "letter.docx" {
			t.Errorf("%s: %s", o.File, o.Why)
		}
		omitted = append(omitted, o.File)
	}
	if diff := cmp.Diff([]string{".DS_Store", "custody.torn-1", "custody.torn-12", "README.md", "START-HERE.html",
		"Thumbs.db", "letter.docx", "old/", "recordings/desktop.ini",
		"session-to-copy.json", "sessions/.swap"}, omitted, cmp.Transformer("set", func(s []string) map[string]bool {
		m := make(map[string]bool)
		for _, e := range s {
			m[e] = true
		}
		return m
	})); diff != "" {
		t.Error(diff)
	}
	if got, err := os.ReadFile(filepath.Join(dir, "sessions/0001.json")); err != nil || string(got) != validRecord {
		t.Error("Load changed a record")
	}
}

// A want is one problem: "file:line:column pointer rule", and how its message begins.
type want struct{ place, message string }

func (c *Collection) places() []want {
	var got []want
	for _, p := range c.Problems {
		severity := ""
		if p.Severity == Warning {
			severity = "?"
		}
		got = append(got, want{fmt.Sprintf("%s:%d:%d %s %s%s", p.File, p.Line, p.Column, p.Pointer, p.Rule,
			severity), p.Message})
	}
	return got
}

// TestRules holds every rule beyond the plan's schema. A "?" behind a rule
// marks a warning.
func TestRules(t *testing.T) {
	const r1, r2 = "sessions/0001.json", "sessions/0002.json"
	edited := func(changes ...string) func(folder) {
		return func(f folder) { f[r2] = second(t, changes...) }
	}
	// The lines of a record as Encode writes it.
	at := func(pointer string, changes ...string) string {
		n := parse(t, second(t, changes...)).At(pointer)
		return fmt.Sprintf("%s:%d:%d %s ", r2, n.Line, n.Column, pointer)
	}
	for _, c := range []struct {
		name   string
		change func(folder)
		want   []want
	}{
		{"another study", edited("/study", `"LARK-1"`),
			[]want{{at("/study") + "record.study", "study must be LARK-2, as study.json says: "}}},
		{"study in lower case", edited("/study", `"lark-2"`),
			[]want{{at("/study") + "record.study", "study must be LARK-2"}}},
		{"another site", edited("/site", `"DALE"`), []want{{at("/site") + "record.site",
			"site must be WEIR, as study.json says: "}}},
		{"session id twice", edited("/session_id", `"weir v0001"`),
			[]want{{at("/session_id") + "session.twice",
				"this session_id and that in sessions/0001.json, line 2 are one identifier"}}},
		{"session id of signs", edited("/session_id", `"--"`),
			[]want{{at("/session_id") + "session.identifier",
				"session_id cannot be used: the identifier has no letter and no digit"}}},
		{"operator of signs", edited("/operator", `"?"`),
			[]want{{at("/operator") + "session.identifier",
				"operator cannot be used: the identifier has no letter and no digit"}}},
		{"subject of signs", edited("/subject/subject_id", `"?"`),
			[]want{{at("/subject/subject_id") + "session.identifier",
				"subject_id cannot be used: the identifier has no letter and no digit"}}},
		{"subject not listed", edited("/subject/subject_id", `"S-0003"`),
			[]want{{at("/subject/subject_id") + "subject.unlisted", "this subject is not in roster.csv"}}},
		{"subject with a letter for a digit", edited("/subject/subject_id", `"S-OOO2"`),
			[]want{{at("/subject/subject_id") + "subject.unlisted",
				"this subject is not in roster.csv, but one that differs only by characters that look alike is"}}},
		{"two subjects that look alike", func(f folder) {
			edited("/subject/subject_id", `"s-oOOl"`)(f)
			f["roster.csv"] = rosterHead + strings.ReplaceAll(rosterRows, "S-0002", "S-OOOI")
		}, []want{{"roster.csv:3:1  subject.alike?", "this subject_id differs from that in roster.csv, line 2 only " +
			"by characters that look alike"},
			{at("/subject/subject_id") + "subject.alike?",
				"this subject_id differs from that in sessions/0001.json, line 7 only by characters"},
			{at("/subject/subject_id") + "subject.unlisted", "this subject is not in roster.csv, but one"}}},
		{"two listed subjects that look alike", func(f folder) {
			edited("/subject/subject_id", `"S-OOOI"`)(f)
			f["sessions/0003.json"] = moved(second(t, "/session_id", `"3"`, "/kit/unit", "9", "/tubes/0/barcode", `"3"`,
				"/recordings", "[]", "/subject/subject_id", `"S-OOOI"`), 3600, 0)
			f["roster.csv"] = rosterHead + strings.ReplaceAll(rosterRows, "S-0002", "S-OOOI")
		}, []want{{"roster.csv:3:1  subject.alike?", ""}, {at("/subject/subject_id") + "subject.alike?", ""}}},
		{"subject spelt otherwise", edited("/subject/subject_id", `"s 0002"`), nil},
		{"one subject twice", func(f folder) {
			edited("/subject/subject_id", `"S-0001"`, "/subject/birth_date", `"1978-05-17"`, "/subject/sex",
				`"female"`)(f)
			f[r2] = moved(f[r2], 3600, 0)
		}, nil},
		{"two subjects mixed up", edited("/subject/birth_date", `"1978-05-17"`),
			[]want{{at("/subject/birth_date") + "subject.birth-date",
				"birth_date differs from that in roster.csv, so subjects may be mixed up"}}},
		{"sex differs", edited("/subject/sex", `"female"`),
			[]want{{at("/subject/sex") + "subject.sex?", "sex differs from that in roster.csv"}}},
		{"sex unknown", edited("/subject/sex", `"unknown"`), nil},
		{"born on the day", func(f folder) {
			edited("/subject/birth_date", `"2026-03-02"`)(f)
			f["roster.csv"] = rosterHead + strings.ReplaceAll(rosterRows, "1990-11-02", "2026-03-02")
		}, []want{{at("/subject/birth_date") + "subject.age", "birth_date must be before the session"}}},
		{"born the day before", func(f folder) {
			edited("/subject/birth_date", `"2026-03-01"`)(f)
			f["roster.csv"] = rosterHead + strings.ReplaceAll(rosterRows, "1990-11-02", "2026-03-01")
		}, nil},
		{"120 years old", func(f folder) {
			edited("/subject/birth_date", `"1906-03-02"`)(f)
			f["roster.csv"] = rosterHead + strings.ReplaceAll(rosterRows, "1990-11-02", "1906-03-02")
		}, nil},
		{"older", func(f folder) {
			edited("/subject/birth_date", `"1906-03-01"`)(f)
			f["roster.csv"] = rosterHead + strings.ReplaceAll(rosterRows, "1990-11-02", "1906-03-01")
		}, []want{{at("/subject/birth_date") + "subject.age",
			"birth_date must be before the session, and not more than 120 years"}}},

		{"tube in two sessions", edited("/tubes/0/barcode", `"lk07-0001-a"`),
			[]want{{at("/tubes/0/barcode") + "tube.twice",
				"this barcode is already in sessions/0001.json, line 22"}}},
		{"tube twice in a record", edited("/tubes/1", parseText(t, validRecord, "/tubes/0", "/barcode",
			`"LK07-0002-a"`)),
			[]want{{at("/tubes/1/barcode", "/tubes/1",
				parseText(t, validRecord, "/tubes/0", "/barcode", `"LK07-0002-a"`)) + "tube.twice",
				"this barcode is already in sessions/0002.json, line 35"},
				{"sessions/0002.json:44:19 /tubes/1/position tube.position?",
					"the tube in sessions/0002.json, line 36 has the same position in this session"}}},
		{"tubes that look alike", edited("/tubes/0/barcode", `"lko7-ooOI-A"`),
			[]want{{at("/tubes/0/barcode") + "tube.alike?",
				"this barcode differs from that in sessions/0001.json, line 22 only by characters that look alike"}}},
		{"tubes that differ in other letters", edited("/tubes/0/barcode", `"LK07-0001-4"`), nil},
		{"kit twice", edited("/kit/unit", `"7"`), []want{{at("/kit/unit") + "kit.twice",
			"this lot and unit are already in sessions/0001.json, line 19"}}},
		{"sampler check that did not pass", edited("/sampler/checks/0/passed", "false"),
			[]want{{at("/sampler/checks/0/passed", "/sampler/checks/0/passed", "false") + "sampler.check?",
				"this check of the sampler did not pass: the study's protocol decides whether the tubes are used"}}},
		{"no checks", edited("/sampler/checks", ""), nil},
		{"no kit", edited("/kit", ""), nil},
		{"unit of another lot", edited("/kit/unit", `7`, "/kit/lot", `"L2612"`), nil},

		{"end before the start", edited("/ended_at", `"2026-03-02T08:21:59-05:00"`),
			[]want{{at("/ended_at") + "time.order", "ended_at is before started_at"}}},
		{"end at the start", edited("/ended_at", `"2026-03-02T08:22:00-05:00"`, "/interruptions", ""),
			[]want{{at("/ended_at") + "session.empty?", "the session lasts 0 s, started_at equals ended_at"}}},
		{"other offsets", edited("/ended_at", `"2026-03-02T13:31:00Z"`), nil},
		{"12 minutes", edited("/ended_at", `"2026-03-02T08:34:00-05:00"`), nil},
		{"longer", edited("/ended_at", `"2026-03-02T08:34:01-05:00"`),
			[]want{{at("/ended_at") + "session.long?", "the session took longer than the 12 min of time_limit_min"}}},
		{"a limit of 8 minutes", func(f folder) {
			f["study.json"] = strings.Replace(validStudy, `"WEIR",`, `"WEIR", "time_limit_min": 8,`, 1)
		}, []want{{"sessions/0001.json:16:15 /ended_at session.long?", "the session took longer than the 8 min"},
			{at("/ended_at") + "session.long?", "the session took longer than the 8 min"}}},
		{"capped before uncapped", edited("/tubes/0/capped_at", `"2026-03-02T08:22:59-05:00"`),
			[]want{{at("/tubes/0/capped_at") + "time.order", "capped_at is before uncapped_at"}}},
		{"tube of the day before", edited("/tubes/0/uncapped_at", `"2026-03-01T08:23:00-05:00"`,
			"/tubes/0/capped_at", `"2026-03-01T08:25:00-05:00"`), []want{
			{at("/tubes/0/uncapped_at") + "tube.time?", "this time is more than an hour outside the session"},
			{at("/tubes/0/capped_at") + "tube.time?", "this time is more than an hour outside the session"}}},
		{"tube capped an hour late", edited("/tubes/0/capped_at", `"2026-03-02T09:31:01-05:00"`),
			[]want{{at("/tubes/0/capped_at") + "tube.time?", "this time is more than an hour"}}},
		{"tube open for two minutes more", edited("/tubes/0/uncapped_at", `"2026-03-02T08:21:00-05:00"`,
			"/tubes/0/capped_at", `"2026-03-02T08:32:00-05:00"`), nil},
		{"tube open for longer", edited("/tubes/0/uncapped_at", `"2026-03-02T08:21:00-05:00"`, "/tubes/0/capped_at",
			`"2026-03-02T08:32:01-05:00"`), []want{{at("/tubes/0/capped_at") + "tube.open?",
			"the tube was open before or after the session for longer than the 120 s of uncapped_limit_s"}}},
		{"interruption before the session", edited("/interruptions/0/at", `"2026-03-02T08:21:59-05:00"`),
			[]want{{at("/interruptions/0/at") + "interruption.time?", "this interruption is outside the session"}}},
		{"interruption after the session", edited("/interruptions/0/at", `"2026-03-02T08:31:01-05:00"`),
			[]want{{at("/interruptions/0/at") + "interruption.time?", "this interruption is outside the session"}}},
		{"stopped without a word", edited("/outcome", `"stopped"`, "/interruptions", "[]"),
			[]want{{at("/outcome") + "session.unexplained?", "the session was not completed"}}},
		{"stopped with notes", edited("/outcome", `"timed-out"`, "/interruptions", "[]", "/notes",
			`"sampler ran out of power"`), nil},

		{"recording missing", func(f folder) { delete(f, "recordings/trace-0002.csv") },
			[]want{{at("/recordings/0/file") + "recording.missing", "there is no such file in the recordings folder"}}},
		{"recording in other letters", edited("/recordings/0/file", `"Trace-0002.CSV"`),
			[]want{{at("/recordings/0/file") + "recording.missing",
				"the recordings folder has this file with other upper and lower case letters"}}},
		{"no recordings folder", func(f folder) {
			delete(f, "recordings/trace-0001.csv")
			delete(f, "recordings/trace-0002.csv")
		}, []want{{"sessions/0001.json:25:14 /recordings/0/file recording.missing", ""},
			{at("/recordings/0/file") + "recording.missing", ""}}},
		{"recording empty", func(f folder) { f["recordings/trace-0002.csv"] = "" },
			[]want{{at("/recordings/0/file") + "recording.empty", "the file of this recording is empty"}}},
		{"recording of two sessions", edited("/recordings/0/file", `"Trace-0001.csv"`), []want{
			{"recordings/trace-0002.csv:0:0  recording.unnamed?", "no record names this recording"},
			{at("/recordings/0/file") + "recording.twice",
				"this recording is named in sessions/0001.json, line 25 already"}}},
		{"EDF called CSV", func(f folder) { f["recordings/trace-0002.csv"] = "0       X X X X" },
			[]want{{at("/recordings/0/file") + "recording.format", "the file of this recording is not CSV text"}}},
		{"binary called CSV", func(f folder) { f["recordings/trace-0002.csv"] = "t_s\x00" },
			[]want{{at("/recordings/0/file") + "recording.format", "the file of this recording is not CSV text"}}},
		{"CSV called EDF", func(f folder) {
			edited("/recordings/0/file", `"trace-0002.edf"`, "/recordings/0/format", `"edf"`)(f)
			f["recordings/trace-0002.edf"] = validCSV
			delete(f, "recordings/trace-0002.csv")
		}, []want{{at("/recordings/0/file") + "recording.format",
			"the file of this recording does not begin as an EDF file does"}}},
		{"EDF", func(f folder) {
			edited("/recordings/0/file", `"recordings/trace-0002.EDF"`, "/recordings/0/format", `"edf"`)(f)
			f["recordings/trace-0002.EDF"] = "0       X X X X"
			delete(f, "recordings/trace-0002.csv")
		}, nil},
		{"another extension", func(f folder) {
			edited("/recordings/0/file", `"trace-0002.txt"`)(f)
			f["recordings/trace-0002.txt"] = validCSV
			delete(f, "recordings/trace-0002.csv")
		}, []want{{at("/recordings/0/file") + "recording.format",
			"the name of a recording in this format must end in .csv"}}},
		{"recording nobody names", func(f folder) { f["recordings/trace-0003.csv"] = validCSV },
			[]want{{"recordings/trace-0003.csv:0:0  recording.unnamed?",
				"no record names this recording, so it will not be shipped"}}},
		{"recording named in a record that breaks the plan", edited("/outcome", `"good"`),
			[]want{{at("/outcome") + "schema.enum", "outcome must be one of"}}},
		{"recording named in a record that cannot be read", func(f folder) { f[r2] = f[r2][:100] },
			[]want{{r2 + ":6:2  json.syntax", ""}}},

		{"no records", func(f folder) {
			clear(f)
			f["study.json"], f["roster.csv"], f["sessions/"], f["recordings/"] = validStudy, rosterHead, "", ""
		}, []want{{"sessions:0:0  collection.empty", "there are no session records yet: make them from the session " +
			"log, or enter the sessions at the terminal"}}},
		{"no sessions folder", func(f folder) {
			clear(f)
			f["study.json"], f["roster.csv"] = validStudy, rosterHead
		}, []want{{"sessions:0:0  collection.empty", ""}}},
		{"folder in capital letters", func(f folder) {
			f["Recordings/x.csv"] = validCSV
		}, []want{{"Recordings:0:0  folder.name", "this must be a folder with the name recordings, in lower case"}}},
		{"text among the records", func(f folder) { f["sessions/0003.json.txt"] = "x" },
			[]want{{"sessions/0003.json.txt:0:0  folder.record", "the name of a session record ends in .json"}}},
		{"folder among the records", func(f folder) { f["sessions/monday/0003.json"] = "x" },
			[]want{{"sessions/monday:0:0  folder.inside", "a folder inside sessions is not read"}}},
		{"folder among the recordings", func(f folder) { f["recordings/old/a.csv"] = "x" },
			[]want{{"recordings/old:0:0  folder.inside", "a folder inside recordings is not read"}}},
		{"record with a byte-order mark", func(f folder) { f[r2] = "\ufeff" + f[r2] },
			[]want{{r2 + ":1:1  json.syntax", "the file begins with a byte-order mark"}}},
		{"record in capital letters", func(f folder) {
			f["sessions/0002.JSON"] = f[r2]
			delete(f, r2)
		}, nil},
		{"record too large", func(f folder) { f[r2] = strings.Repeat(" ", maxJSONBytes+1) },
			[]want{{r2 + ":1:1  json.syntax", "the file is larger than 16 MiB"}}},

		{"roster in another order", func(f folder) {
			f["roster.csv"] = "\ufeffCity, Birth_Date ,Family_Name,given_name,subject_id\r\n,1978-05-17,\"Quillon, " +
				"junior\",Odile, S-0001 \r\n,1990-11-02,Verrick,Tam,S-0002\r\n,,,,\r\n"
		}, []want{{"roster.csv:1:1  roster.column?", "the list has no column other_names, sex, mrn, national_id"}}},
		{"subject twice in the roster", func(f folder) {
			f["roster.csv"] += "s " +
				"0001,Odile,Quillon,,f,1978-05-17,,,,,,,,,,\n"
		}, []want{{"roster.csv:4:1  roster.twice", "this subject_id and that in line 2 are one identifier"}}},
		{"subject without an id", func(f folder) { f["roster.csv"] += " ,Odile,Quillon,,f,1978-05-17,,,,,,,,,,\n" },
			[]want{{"roster.csv:4:1  roster.subject-id", "this subject has no subject_id: add it"}}},
		{"subject with an id of signs",
			func(f folder) { f["roster.csv"] += "-,Odile,Quillon,,f,1978-05-17,,,,,,,,,,\n" },
			[]want{{"roster.csv:4:1  roster.subject-id", "this subject_id cannot be used: the identifier has no " +
				"letter and no digit"}}},
		{"birth date in another form",
			func(f folder) { f["roster.csv"] += "S-3,Zoë,Quillon,,f,17.05.1978,,,,,,,,,,\n" },
			[]want{{"roster.csv:4:20  roster.birth-date", "birth_date must be a date of the calendar"}}},
		{"no birth date", func(f folder) { f["roster.csv"] += "S-3,Zoë,Quillon,,f,,,,,,,,,,,\n" },
			[]want{{"roster.csv:4:20  roster.birth-date", "birth_date must be a date of the calendar"}}},
		{"row too short", func(f folder) { f["roster.csv"] = rosterHead + "S-9,Zoë\n" + rosterRows },
			[]want{{"roster.csv:2:1  roster.row", "this row has 2 values but the first line names 16 columns"}}},
		{"quotation mark in a value",
			func(f folder) { f["roster.csv"] += "S-3,Zo\"ë,Quillon,,f,1978-05-17,,,,,,,,,,\n" },
			[]want{{"roster.csv:4:0  roster.row", "this row and those after it cannot be read"}}},
		{"quotation mark not closed",
			func(f folder) { f["roster.csv"] += "S-3,\"Zoë,Quillon,,f,1978-05-17,,,,,,,,,,\n" },
			[]want{{"roster.csv:4:0  roster.row", "this row and those after it cannot be read"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := valid(t)
			c.change(f)
			got := load(t, f.write(t)).places()
			if len(got) != len(c.want) {
				t.Fatalf("got %d problems: %q\nwant %q", len(got), got, c.want)
			}
			for i := range got {
				if got[i].place != c.want[i].place || !strings.HasPrefix(got[i].message, c.want[i].message) {
					t.Errorf("got %q\nwant %q", got[i], c.want[i])
				}
				if bad := strings.ContainsAny(got[i].message[len(got[i].message)-1:], ".!\n"); bad ||
					got[i].message[0] >= 'A' && got[i].message[0] <= 'Z' {
					t.Errorf("the message is a sentence with a full stop or capital: %s", got[i].message)
				}
			}
		})
	}
}

// parseText returns the value at pointer of a JSON text, with one change, as text.
func parseText(t *testing.T, text, pointer, change, value string) string {
	n := parse(t, text).At(pointer)
	edit(t, n, change, value)
	return string(n.Encode())
}

// A record that breaks the plan is no session; one that only breaks a rule is.
func TestLoadSessions(t *testing.T) {
	f := valid(t)
	f["sessions/0003.json"] = second(t, "/session_id", `"V3"`, "/tubes", "[]")
	f["sessions/0004.json"] = "{"
	f["sessions/0005.json"] = moved(second(t, "/session_id", `"V5"`, "/kit/unit", "9", "/tubes/0/barcode", `"T5"`,
		"/recordings/0/file", `"none.csv"`), 3600, 0)
	c := load(t, f.write(t))
	var files []string
	for _, s := range c.Sessions {
		files = append(files, s.File)
	}
	if diff := cmp.Diff([]string{"sessions/0001.json", "sessions/0002.json", "sessions/0005.json"}, files); diff != "" {
		t.Error(diff)
	}
	if n := len(c.Sessions[2].Recordings); n != 0 {
		t.Errorf("a recording that is not there is among %d of the session", n)
	}
	if c.Read != (Counts{Records: 5, Recordings: 2, Tubes: 3}) {
		t.Errorf("read %v", c.Read)
	}
	if e := c.Errors(); len(e) != 3 {
		t.Errorf("errors: %v", e)
	}
	for _, s := range c.Sessions {
		if s.Doc.At("/session_id").Text != s.ID {
			t.Errorf("%s has not its own tree", s.File)
		}
	}
}

func TestRecordingName(t *testing.T) {
	for text, want := range map[string]string{
		"a.csv": "recordings/a.csv", "recordings/a.csv": "recordings/a.csv", "ä b-1_2.CSV": "recordings/ä b-1_2.CSV",
		"": "", "recordings/": "", "recordings": "recordings/recordings", "../a.csv": "", "/a.csv": "",
		"recordings/../study.json": "", "recordings/sub/a.csv": "",
		"recordings/recordings/a.csv": "", `recordings\a.csv`: "", "a:b.csv": "", ".a.csv": "", "..": "", ".": "",
		"a.csv.": "", "a.csv ": "",
		"a\n.csv": "", "a\x00.csv": "", `a"b.csv`: "", "a*.csv": "", "a?.csv": "", "a|b": "", "a<b>": "",
		"recordings//a.csv":      "",
		strings.Repeat("a", 200): "recordings/" + strings.Repeat("a", 200), strings.Repeat("a", 201): "",
	} {
		if got := recordingName(text); got != want {
			t.Errorf("recordingName(%q) = %q, want %q", text, got, want)
		}
	}
	// through the whole of Load: the name in the record leads out of the folder
	f := valid(t)
	f["sessions/0002.json"] = second(t, "/recordings/0/file", `"../roster.csv"`)
	c := load(t, f.write(t))
	if len(c.Problems) != 2 || c.Problems[1].Rule != "recording.name" || len(c.Sessions[1].Recordings) != 0 {
		t.Errorf("got %v", c.Problems)
	}
}

func TestLoadConfig(t *testing.T) {
	study := func(change, value string) func(folder) {
		return func(f folder) {
			n := parse(t, validStudy)
			edit(t, n, change, value)
			f["study.json"] = string(n.Encode())
		}
	}
	roster := func(text string) func(folder) { return func(f folder) { f["roster.csv"] = text } }
	for _, c := range []struct {
		name    string
		change  func(folder)
		message string
	}{
		{"no study", func(f folder) { delete(f, "study.json") }, "study.json: there is no study.json in this folder"},
		{"study.json is a folder", func(f folder) { delete(f, "study.json"); f["study.json/"] = "" },
			"study.json: this is a folder, not an ordinary file: put the file itself in its place"},
		{"broken study", func(f folder) { f["study.json"] = "{\n  \"study\": \"ZQXJ\",\n}" },
			"study.json: line 3, column 1: a field name in quotation marks is expected here"},
		{"study of another kind", func(f folder) { f["study.json"] = "[]" },
			`study.json: line 1, column 1: the file must be an object`},
		{"study code missing", study("/study", ""), "study.json: line 1, column 1: study is missing: add it"},
		{"study code with a space", study("/study", `"ZQXJ 2"`),
			"study.json: line 2, column 12: study is not in the form that the plan requires: letters, digits and hyphens, at " +
				"most 32"},
		{"site code too long", study("/site", `"ZQXJZQXJZQXJZQXJZ"`),
			"site is not in the form that the plan requires: letters, digits and hyphens, at most 16"},
		{"no contact", study("/contact", `" "`), "contact is not in the form that the plan requires: one line"},
		{"contact of two lines", study("/contact", `"a\nb"`), "contact is not in the form that the plan requires: one line"},
		{"unknown member", study("/ZQXJ", `1`), "study.json: line 5, column 11: the field with this value " +
			"is not"},
		{"holding days", study("/holding_days", `0`), "holding_days must be at least 1"},
		{"zone", study("/zone", `"Weir/Mill"`), `"zone" must name a time zone`},
		{"zone of the machine", study("/zone", `"Local"`), `"zone" must name a time zone`},
		{"holding days in quotes", study("/holding_days", `"30"`),
			"holding_days must be a whole number, without quotation marks"},
		{"uncapped limit", study("/uncapped_limit_s", `3601`), "uncapped_limit_s must be at most 3600"},
		{"time limit", study("/time_limit_min", `12.5`), "time_limit_min must be a whole number"},
		{"unknown plan", study("/plan", `"ZQXJ"`), `study.json: "plan" names a file that is not in the collection ` +
			`folder`},
		{"plan outside", study("/plan", `"../own.json"`), `study.json: "plan" must be "shifted"`},
		{"plan with a root", study("/plan", `"/etc/passwd"`), `study.json: "plan" must be "shifted"`},
		{"plan among the records", study("/plan", `"sessions/0001.json"`),
			`study.json: "plan" names a file among the records`},
		{"broken plan", func(f folder) { study("/plan", `"own.json"`)(f); f["own.json"] = "{}" },
			`own.json: at the top of the schema: "type" must name`},

		{"no roster", func(f folder) { delete(f, "roster.csv") },
			"roster.csv: the site's list of subjects is not in the folder"},
		{"empty roster", roster(""), "roster.csv: the list is empty"},
		{"roster without a column", roster("subject_id,given_name,family_name\nZQXJ,a,b\n"),
			"roster.csv: line 1: the column birth_date is missing"},
		{"roster with semicolons", roster(strings.ReplaceAll(rosterHead+rosterRows, ",", ";")),
			"roster.csv: line 1: the columns are separated by semicolons or tabs"},
		{"roster with tabs", roster(strings.ReplaceAll(rosterHead+rosterRows, ",", "\t")),
			"roster.csv: line 1: the columns are separated by semicolons or tabs"},
		{"roster in Latin-1", roster(rosterHead + "S-1,Zo\xeb\n"), "roster.csv: line 2 is not UTF-8 text"},
		{"roster in UTF-16", roster("\xff\xfes\x00u\x00"), "roster.csv: line 1 is not UTF-8 text"},
		{"roster with NUL", roster(rosterHead + "\nS-1,\x00\n"), "roster.csv: line 3 is not UTF-8 text"},
		{"roster with old line ends", roster(strings.ReplaceAll(rosterHead+rosterRows, "\n", "\r")),
			"roster.csv: line 1: the lines do not end as in CSV"},
		{"two equal columns", roster("subject_id,given_name,family_name,birth_date,Birth_Date\n"),
			"roster.csv: line 1: two columns have the same name (the second is column 5)"},
		{"broken header", roster("subject_id,\"given\"name\n"), "roster.csv: line 1 cannot be read"},
		{"many columns", roster(strings.Repeat("a,", 200) + "b\n"),
			"roster.csv: line 1: the list has more than 200 columns"},
		{"many rows", roster("subject_id,given_name,family_name,birth_date\n" + strings.Repeat("a,,,\n", 200_001)),
			"roster.csv: the list has more than 200,000 subjects"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := valid(t)
			c.change(f)
			got, err := Load(f.write(t))
			if !errors.As(err, new(*ConfigError)) || got != nil {
				t.Fatalf("Load = %v, %v, want a *ConfigError", got, err)
			}
			if !strings.Contains(err.Error(), c.message) {
				t.Errorf("got  %v\nwant ...%s...", err, c.message)
			}
			if strings.Contains(err.Error(), "ZQXJ") {
				t.Errorf("the error repeats the file: %v", err)
			}
		})
	}
	if _, err := Load(filepath.Join(t.TempDir(), "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no folder: %v", err)
	}
	if _, err := Load(filepath.Join(valid(t).write(t), "study.json")); !errors.As(err, new(*ConfigError)) {
		t.Errorf("a file in place of the folder: %v", err)
	}
}

// Every setting of study.json, and a plan of the study's own.
func TestLoadStudy(t *testing.T) {
	f := valid(t)
	f["study.json"] = `{"study": "LARK-2", "site": "WEIR", "contact": " c ", "plan": "./plans/own.json", ` +
		`"holding_days": 3e1, "uncapped_limit_s": 60, "time_limit_min": 20.0, "receipt_days": 21, "reuse_days": ` +
		`90, "gap_days": 9, "clock_drift_min": 20, "zone": "Asia/Kathmandu",` +
		` "recipients": ["harbour-lab", "officer"]}`
	f["plans/own.json"] = string(own(t, "/properties/notes/deid", `"drop"`,
		"/properties/recordings/items/properties/file/columns", `[{"name": "t_s", "min": 0, "max": 9}]`))
	c := load(t, f.write(t))
	if diff := cmp.Diff(&Study{"LARK-2", "WEIR", "c", "./plans/own.json", 30, time.Minute, 20 * time.Minute, 21, 90,
		"Asia/Kathmandu", 9, 20 * time.Minute, []string{"harbour-lab", "officer"}}, c.Study); diff != "" {
		t.Error(diff)
	}
	notes, _ := c.Plan.Field("/notes")
	if c.Plan.Name != "plans/own.json" || notes.Treatment.Kind != Drop || len(c.Problems) > 0 {
		t.Errorf("plan %s drops notes: %s; problems %v", c.Plan.Name, notes.Treatment, c.Problems)
	}
	if diff := cmp.Diff([]Column{{Name: "t_s", Max: 9}}, c.Sessions[0].Recordings[0].Columns); diff != "" {
		t.Error(diff)
	}
}

// TestNoValues plants a mark in every value of a record and of the roster, one
// after the other, and looks for it in every problem.
func TestNoValues(t *testing.T) {
	const mark = "ZQXJ"
	var pointers []string
	var walk func(n *Node, pointer string)
	walk = func(n *Node, pointer string) {
		if pointer != "" {
			pointers = append(pointers, pointer)
		}
		for _, m := range n.Members {
			walk(m.Value, pointer+"/"+m.Name)
		}
		for i, item := range n.Items {
			walk(item, fmt.Sprintf("%s/%d", pointer, i))
		}
	}
	walk(parse(t, validRecord), "")
	if len(pointers) < 30 {
		t.Fatalf("only %d fields", len(pointers))
	}
	found := 0
	for _, pointer := range pointers {
		for _, value := range []string{`"ZQXJ"`, `"ZQXJ\nZQXJ"`, `"` + strings.Repeat(mark, 300) + `"`,
			`{"ZQXJ": "ZQXJ"}`} {
			f := valid(t)
			f["sessions/0002.json"] = second(t, pointer, value)
			f["roster.csv"] = strings.ReplaceAll(f["roster.csv"], "1990-11-02", mark) + mark + "\n" + mark +
				strings.Repeat(",", 15) + "\n" + mark + strings.Repeat(",", 15) + "\n"
			for _, p := range load(t, f.write(t)).Problems {
				found++
				if strings.Contains(fmt.Sprint(p), mark) {
					t.Errorf("%s = %s: %+v", pointer, value, p)
				}
			}
		}
	}
	if found == 0 {
		t.Error("no problem was found")
	}
}

func TestLoadOrder(t *testing.T) {
	f := valid(t)
	for i := range 20 {
		f[fmt.Sprintf("sessions/1%02d.json", i)] = second(t, "/tubes/0/volume_ml", "0", "/outcome", `"x"`)
		f[fmt.Sprintf("sessions/2%02d.json", i)] = second(t, "/tubes/0/uncapped_at", `"2020-01-01T00:00:00Z"`)
		f[fmt.Sprintf("recordings/%d.csv", i)] = validCSV
	}
	dir := f.write(t)
	first := load(t, dir)
	if len(first.Problems) < 100 {
		t.Fatalf("%d problems", len(first.Problems))
	}
	for range 3 {
		if diff := cmp.Diff(first.Problems, load(t, dir).Problems); diff != "" {
			t.Fatal(diff)
		}
	}
}

func FuzzRoster(f *testing.F) {
	f.Add([]byte(rosterHead + rosterRows))
	f.Add([]byte("\ufeffsubject_id,given_name,family_name,birth_date\r\n\"a\r\nb\",\"\"\"\",,2000-01-01\r\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, problems, err := parseRoster(data)
		if err != nil {
			if _, ok := err.(*ConfigError); !ok {
				t.Fatalf("the error is a %T", err)
			}
			return
		}
		if len(problems) > maxProblems+1 {
			t.Fatalf("%d problems", len(problems))
		}
		for _, row := range r.Rows {
			for name, v := range row {
				if v == "" || strings.TrimSpace(v) != v || name == "" {
					t.Fatalf("a row holds %q: %q", name, v)
				}
			}
		}
	})
}

func FuzzStudy(f *testing.F) {
	f.Add([]byte(validStudy))
	f.Add([]byte(`{"study": "L", "site": "W", "contact": "c", "holding_days": 1e2}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := parseStudy(data)
		if err == nil && (s.Study == "" || s.Site == "" || s.Contact == "" || s.HoldingDays < 1 ||
			s.UncappedLimit <= 0 || s.TimeLimit <= 0) {
			t.Fatalf("accepted %+v", s)
		}
	})
}
