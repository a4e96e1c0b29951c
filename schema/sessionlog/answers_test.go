package sessionlog

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"outbreath/schema/sheet"
)

// TestAnsweredOnce: what was answered is not asked again, neither of the same log nor of
// one of the next week, and the settings that keep it survive their file.
func TestAnsweredOnce(t *testing.T) {
	week := func(day string) []sheet.Table {
		return csvLog(t, [2]string{"log.csv",
			"Nr;op;Kürzel Proband;geb;sex;Schuhgröße;date;start;end;outcome;fraction;" +
				"sampler;barcode A;uncapped A;capped A;volume A;storage A\n" +
				"V-" + day + ";n/a;W-01;31.01.70;f;38;0" + day +
				".03.2026;9.1;9.3;complete;end-tidal;S-7;T-1;9.15;9.25;1,234;" +
				"cupboard\n"})
	}
	in := inputs(t)
	in.Zone = ""
	s := &Settings{}
	answers := map[string]string{"column": "", "dates": dayFirst, "decimals": comma, "zone": "Europe/Berlin",
		"nothing": "value", "hours": "tens", "word": "ambient"}
	columns := map[string]string{"Nr": sessionField, "Schuhgröße": ignored, "Kürzel Proband": "/subject/subject_id"}
	asked := map[string]bool{}
	for round := range 8 {
		r := Read(week("2"), in, s)
		if len(r.Doubts) == 0 {
			break
		}
		for _, d := range r.Doubts {
			if asked[d.ID] {
				t.Fatalf("asked again in round %d: %s", round, told(r))
			}
			asked[d.ID] = true
			kind, _, _ := strings.Cut(d.ID, "-")
			answer := answers[kind]
			if d.Option == "column" {
				answer = columns[d.Heading]
			}
			if answer == "" {
				t.Fatalf("not expected: %+v", d)
			}
			s.Answer(d, answer)
		}
	}
	if len(asked) < 8 {
		t.Errorf("only %d questions were asked: %v", len(asked), asked)
	}
	kept, err := ParseSettings(s.Encode())
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(s, kept); d != "" {
		t.Error(d)
	}
	r := Read(week("3"), in, kept)
	quiet(t, r)
	got := bytesOf(in.Plan, r)
	for _, want := range []string{`"V-3"`, `"operator": "n/a"`, `"birth_date": "1970-01-31"`,
		`"started_at": "2026-03-03T09:10:00+01:00"`, `"ended_at": "2026-03-03T09:30:00+01:00"`, `"volume_ml": 1.234`,
		`"storage": "ambient"`} {
		if !strings.Contains(got, want) {
			t.Errorf("%s is missing in %s", want, got)
		}
	}
}

func TestSettingsRefused(t *testing.T) {
	for _, text := range []string{"", "{", "[]", `{"dates": 5}`, `{} {}`} {
		if _, err := ParseSettings([]byte(text)); err == nil {
			t.Errorf("%q was taken", text)
		}
	}
}

// TestSilentAboutValues: no question and no objection holds what stands in a cell, which
// may be somebody's name.
func TestSilentAboutValues(t *testing.T) {
	const mark = "Zqxj Vrbn"
	log := oneColumn("shoe size", "44", "45")
	lines := strings.Split(strings.TrimSpace(log), "\n")
	n := 0
	for j := range strings.Split(lines[0], ";") {
		for _, value := range []string{mark, "12 " + mark, mark + " 2026-01-02", "02/03/2026 " + mark} {
			cells := strings.Split(lines[1], ";")
			cells[j] = value
			r := Read(csvLog(t, [2]string{"log.csv", lines[0] + "\n" + strings.Join(cells, ";") + "\n" + lines[2] +
				"\n"}),
				inputs(t), nil)
			all := told(r) + understood(r)
			if strings.Contains(all, "Zqxj") || strings.Contains(strings.ToLower(all), "vrbn") {
				t.Errorf("column %d: the value is told:\n%s", j, all)
			}
			n++
		}
	}
	if n < 40 {
		t.Errorf("only %d cells", n)
	}
}

// TestRowsAndSheets: merged, hidden and repeated rows, hidden sheets, groups of headings.
func TestRowsAndSheets(t *testing.T) {
	in := inputs(t)
	plain := csvLog(t, [2]string{"log.csv", oneColumn("x", "", "")})
	want := bytesOf(in.Plan, Read(plain, in, nil))
	table := func() *sheet.Table {
		c := csvLog(t, [2]string{"log.csv", oneColumn("x", "", "")})
		c[0].Text, c[0].Name = false, "log"
		return &c[0]
	}
	t.Run("a hidden row is asked about", func(t *testing.T) {
		x := table()
		x.Rows[2].Hidden = true
		r := Read([]sheet.Table{*x}, in, nil)
		if len(r.Doubts) != 1 || len(r.Records) != 1 || !strings.Contains(r.Doubts[0].Where, "A3") {
			t.Fatal(told(r))
		}
		s := &Settings{}
		s.Answer(r.Doubts[0], "read")
		if r = Read([]sheet.Table{*x}, in, s); bytesOf(in.Plan, r) != want {
			t.Error(told(r))
		}
		s.Answer(Doubt{ID: mustDoubt(t, x, in)}, "leave")
		if r = Read([]sheet.Table{*x}, in, s); len(r.Records) != 1 || len(r.Doubts) > 0 {
			t.Error(told(r))
		}
	})
	t.Run("a hidden sheet is asked about", func(t *testing.T) {
		x := table()
		x.Hidden = true
		if r := Read([]sheet.Table{*x}, in, nil); len(r.Doubts) != 1 || len(r.Records) != 0 {
			t.Error(told(r))
		}
	})
	t.Run("headings that are repeated", func(t *testing.T) {
		x := table()
		x.Rows = append(x.Rows[:2:2], append([]sheet.Row{x.Rows[0]}, x.Rows[2:]...)...)
		if r := Read([]sheet.Table{*x}, in, nil); bytesOf(in.Plan, r) != want || told(r) != "" {
			t.Error(told(r))
		}
	})
	t.Run("groups of headings", func(t *testing.T) {
		x := table()
		above := sheet.Row{Number: 1, Cells: make([]sheet.Cell, 12)}
		above.Cells[11] = sheet.Cell{Kind: sheet.Text, Text: "Tube A"}
		for i := range x.Rows {
			x.Rows[i].Number++
		}
		for j := range x.Rows[0].Cells {
			x.Rows[0].Cells[j].Text = strings.TrimSuffix(x.Rows[0].Cells[j].Text, " A")
		}
		x.Rows = append([]sheet.Row{above}, x.Rows...)
		x.Merged = []string{"L1:P1"}
		if r := Read([]sheet.Table{*x}, in, nil); bytesOf(in.Plan, r) != want || told(r) != "" {
			t.Error(told(r), understood(r), bytesOf(in.Plan, r))
		}
	})
	t.Run("the session's number merged over its tubes", func(t *testing.T) {
		tubes := csvLog(t, [2]string{"tubes.csv", "session id,barcode,position,uncapped,capped,volume,storage\n" +
			"V-1,T-1,A,09:01,09:02,500,fridge\n,T-2,B,09:03,09:04,500,fridge\nV-2,T-3,A,09:01,09:02,500,fridge\n"})
		tubes[0].Text, tubes[0].Name, tubes[0].Merged = false, "tubes", []string{"A2:A3"}
		log := csvLog(t, [2]string{"sessions.csv", withoutTubes(t)})
		r := Read(append(log, tubes...), in, nil)
		quiet(t, r)
		if len(r.Records) != 2 || r.Records[0].Values["/tubes/1/barcode"] == nil {
			t.Error(bytesOf(in.Plan, r))
		}
		tubes[0].Merged = nil
		if r = Read(append(log, tubes...), in, nil); !strings.Contains(told(r), "no number of a session") {
			t.Error(told(r))
		}
	})
	t.Run("a tube of no session", func(t *testing.T) {
		tubes := csvLog(t, [2]string{"tubes.csv", "session id,barcode,position,uncapped,capped,volume,storage\n" +
			"V-1,T-1,A,09:01,09:02,500,fridge\nV-2,T-3,A,09:01,09:02,500,fridge\nV-7,T-2,B,09:03,09:04,500,fridge\n"})
		r := Read(append(csvLog(t, [2]string{"sessions.csv", withoutTubes(t)}), tubes...), in, nil)
		if s := told(r); !strings.Contains(s, "tubes.csv, line 4, value 1") || !strings.Contains(s,
			"no session has") {
			t.Error(s)
		}
	})
}

func mustDoubt(t *testing.T, x *sheet.Table, in Inputs) string {
	t.Helper()
	r := Read([]sheet.Table{*x}, in, nil)
	if len(r.Doubts) != 1 {
		t.Fatal(told(r))
	}
	return r.Doubts[0].ID
}

// withoutTubes is the log of oneColumn without its tubes.
func withoutTubes(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	for line := range strings.Lines(oneColumn("x", "", "")) {
		b.WriteString(strings.Join(strings.Split(line, ";")[:11], ";") + "\n")
	}
	return b.String()
}

// TestRoster: the log's list of subjects, in the form of roster.csv, and what the sessions
// take from it.
func TestRoster(t *testing.T) {
	roster := "Probanden-ID;Vorname;Nachname;Geburtsdatum;Geschlecht;Telefon;Hausarzt\n" +
		"0041;Zofia;Wąsik-Małecka;31.01.1970;w;+1 212 555 0100;Dr. Weir\n0042;Bo;Lind;02.03.1981;m;;\n"
	log := strings.NewReplacer("W-01", "41", "W-02", "0042").Replace(oneColumn("x", "", ""))
	in := inputs(t)
	r := Read(csvLog(t, [2]string{"probanden.csv", roster}, [2]string{"log.csv", log}), in, nil)
	if len(r.Doubts) != 1 || !strings.HasPrefix(r.Doubts[0].ID, "zeros") {
		t.Fatal(told(r), understood(r))
	}
	s := &Settings{}
	s.Answer(r.Doubts[0], "pad")
	r = Read(csvLog(t, [2]string{"probanden.csv", roster}, [2]string{"log.csv", log}), in, s)
	quiet(t, r)
	if d := cmp.Diff([]map[string]string{
		{"subject_id": "0041", "given_name": "Zofia", "family_name": "Wąsik-Małecka", "birth_date": "1970-01-31",
			"sex": "female", "phone": "+1 212 555 0100", "Hausarzt": "Dr. Weir"},
		{"subject_id": "0042", "given_name": "Bo", "family_name": "Lind", "birth_date": "1981-03-02", "sex": "male"},
	}, r.Roster.Rows); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"subject_id", "given_name", "family_name", "sex", "birth_date", "phone", "Hausarzt"},
		r.Roster.Columns); d != "" {
		t.Error(d)
	}
	if id := r.Records[0].Values["/subject/subject_id"]; id.Text != "0041" {
		t.Error("the zeros are not in the record")
	}
	// A log without births takes them from the roster, and says so.
	lines := strings.ReplaceAll(strings.ReplaceAll(log, "birth date;sex;", ""), "1970-01-31;f;", "")
	r = Read(csvLog(t, [2]string{"probanden.csv", roster}, [2]string{"log.csv", lines}), in, s)
	quiet(t, r)
	if got := bytesOf(in.Plan, r); !strings.Contains(got, "1981-03-02") || !strings.Contains(got, `"sex": "male"`) ||
		!strings.Contains(understood(r), "taken from the roster") {
		t.Error(got, understood(r))
	}
}
