package sessionlog

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"outbreath/schema/sheet"
)

// withColumns returns the log of replaced with the values of several columns replaced.
func withColumns(log string, values map[string][]string) string {
	lines := strings.Split(strings.TrimSpace(log), "\n")
	for j, h := range strings.Split(lines[0], ";") {
		for i, v := range values[h] {
			cells := strings.Split(lines[i+1], ";")
			cells[j] = v
			lines[i+1] = strings.Join(cells, ";")
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

// asBook makes a workbook's table of a text table; change makes its cells what a program
// would have.
func asBook(t testing.TB, log string, change func(heading string, row int, c sheet.Cell) sheet.Cell) []sheet.Table {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(log), "\n")
	heads := strings.Split(lines[0], ";")
	s := sheet.Sheet{Name: "sessions"}
	for _, h := range heads {
		s.Columns = append(s.Columns, sheet.Column{Heading: h})
	}
	for n, line := range lines[1:] {
		var row []sheet.Cell
		for j, v := range strings.Split(line, ";") {
			c := sheet.Cell{}
			if v != "" {
				c = sheet.Cell{Kind: sheet.Text, Text: v}
			}
			if j < len(heads) && change != nil {
				c = change(heads[j], n, c)
			}
			row = append(row, c)
		}
		s.Rows = append(s.Rows, row)
	}
	return workbook(t, sheet.Book{Sheets: []sheet.Sheet{s}})
}

// mended are mistakes of a log in classes, each with what is asked or objected to: the kind
// of the doubt, or a part of the problem, and the place that must be named. With neither,
// the records must have want.
type mended struct {
	name, log      string
	doubt, problem string
	where, want    string
	not            string // nothing that is said, and no record, has it
}

func plainWeek(n int) string { return oneColumn("notes", make([]string, n)...) }

func mistakes() []mended {
	set := func(h string, v ...string) string { return withColumns(plainWeek(5), map[string][]string{h: v}) }
	line := func(n int, change func(string) string) string {
		lines := strings.Split(plainWeek(5), "\n")
		lines[n-1] = change(lines[n-1])
		return strings.Join(lines, "\n")
	}
	return []mended{
		// A barcode is never changed.
		{name: "blanks in a barcode", log: set("barcode A", "TB 0001 X"), problem: "scan it again",
			where: "line 2, value 12", not: "tb-0001"},
		{name: "a hyphen of a word processor", log: set("barcode A", "TB\u20130001"), problem: "scan it again",
			where: "line 2, value 12"},
		{name: "full-width digits", log: set("barcode A", "４７４"), problem: "scan it again", where: "line 2, value 12"},
		{name: "capitals stay", log: set("barcode A", "TB-0001-X"), want: `"TB-0001-X"`},
		{name: "a scanner's line end", log: set("barcode A", "\"TB-0001-X\r\n\""), want: `"TB-0001-X"`},
		{name: "barcodes of two lengths", log: set("barcode A", "47400010000", "47400010037", "4740009", "47400010111",
			"47400010148"), doubt: "zeros", where: "line 4, value 12"},
		{name: "a shorter kind that has its zeros", log: set("barcode A", "47400010000", "004700813"),
			want: `"004700813"`},
		{name: "barcodes of one length", log: set("barcode A", "47400010000", "47400010037"), want: `"47400010037"`},
		{name: "postal codes of two lengths", log: oneColumn("postal code", "9870", "19871", "19872"), doubt: "zeros",
			where: "line 2, value 17"},
		{name: "units that count up", log: oneColumn("kit lot;kit unit", "L1;9", "L1;10", "L1;11"), want: `"10"`},
		// Dates.
		{name: "year, day, month", log: set("date", "2026-13-03", "2026-14-03", "2026-09-03"), doubt: "year-day",
			where: "lines 2, 3, 4, 5, 6, value 6"},
		{name: "one date the other way round", log: set("date", "2026-03-09", "2026-03-10", "2026-10-03", "2026-03-11",
			"2026-03-12"), doubt: "turned", where: "line 4, value 6"},
		{name: "dates of five months", log: set("date", "2026-09-03", "2026-10-03", "2026-11-03", "2026-12-03",
			"2026-08-03"), doubt: "turned", where: "lines 2, 3, 4, 5, 6, value 6"},
		{name: "two weeks over a month's end", log: set("date", "2026-02-25", "2026-02-26", "2026-03-02", "2026-03-03",
			"2026-03-10"), want: "2026-03-10T09:00"},
		{name: "a date beside another in the time", log: set("start", "2026-03-09 09:00"),
			problem: "not the date of the " +
				"session", where: "line 2, value 7"},
		{name: "the same date in the time", log: set("start", "2026-03-01 09:00"), want: "2026-03-01T09:00:00+01:00"},
		{name: "a year alone", log: set("birth date", "1970"), problem: "a year alone", where: "line 2, value 4"},
		{name: "an empty date", log: set("date", "2026-03-01", "2026-03-02", ""), doubt: "carry",
			where: "line 4, value 6"},
		{name: "the first date is empty", log: set("date", ""), problem: "the date of this session is missing",
			where: "line 2, value 6"},
		{name: "afternoon without its half", log: withColumns(plainWeek(5), map[string][]string{"start": {"1:20"},
			"end": {"1:30"}, "uncapped A": {"1:21"}, "capped A": {"1:22"}}), doubt: "night", where: "line 2, value 7"},
		{name: "night that is said", log: withColumns(plainWeek(5), map[string][]string{"start": {"1:20 am"},
			"end": {"1:30 am"}, "uncapped A": {"1:21 am"}, "capped A": {"1:22 am"}}), want: "T01:20:00"},
		// Numbers.
		{name: "thousands beside points", log: withColumns(oneColumn("temperature",
			"21.5", "21.6", "21.5", "21.4", "21.5"),
			map[string][]string{"volume A": {"1.000", "1.000", "1.000", "1.000", "1.000"}}), doubt: "decimals",
			where: "lines 2, 3, 4, 5, 6, value 15"},
		// Rows.
		{name: "a comma too many", log: line(3, func(s string) string { return s + "a;b" }),
			problem: "18 values, and " +
				"there are 17 headings", where: "line 3"},
		{name: "a short line", log: line(4, func(s string) string {
			return strings.Join(strings.Split(s, ";")[:14], ";")
		}), problem: "14 values, and there are 17 headings", where: "line 4"},
		{name: "a value is missing", log: line(4, func(s string) string {
			return strings.Replace(s, ";op-1", "", 1)
		}), problem: "16 values, and there are 17 headings", where: "line 4"},
		{name: "blanks alone", log: plainWeek(3) + " ; ;\u00a0; ;;;;;;;;;;;;;\n", want: `"V-3"`},
		{name: "a footnote", log: plainWeek(3) + "* mask refitted;;;;;;;;;;;;;;;;\n", problem: "no entry of the log",
			where: "line 5", not: "refitted"},
		{name: "marks of a program", log: plainWeek(3) + "=======\n", problem: "no entry of the log", where: "line 5"},
		{name: "a total", log: plainWeek(3) + "sum;;;;;;;;;;;;;;1500;;\n", problem: "adds others up", where: "line 5"},
		{name: "totals of several columns", log: plainWeek(3) + "Total:;3;3;;;;;;;;;3;;;1500;;\n",
			problem: "adds others up", where: "line 5"},
		{name: "a row of units", log: strings.Replace(plainWeek(3), "\nV-1;",
			"\n;;;;;;;;;;;;(min);(min);mL;;\nV-1;", 1), problem: "gives the units", where: "line 2"},
		{name: "the headings once more", log: plainWeek(3) + plainWeek(3)[:strings.Index(plainWeek(3), "\n")+1],
			want: `"V-3"`},
		{name: "a shifted row", log: line(3, func(s string) string {
			cells := strings.Split(s, ";")
			return strings.Join(append([]string{cells[0], ""}, cells[1:16]...), ";")
		}), problem: "shifted by a cell", where: "line 3"},
		// Words.
		{name: "a word that may be two", log: oneColumn("role A", "blank"), doubt: "word", where: "line 2, value 17"},
		// Letters.
		{name: "a Cyrillic letter in a subject", log: set("subject id", "W\u0415IR-01"), problem: "Cyrillic",
			where: "line 2, value 3"},
		{name: "a Greek letter in a session", log: set("session id", "V-\u039F1"), problem: "Greek",
			where: "line 2, value 1"},
		{name: "a Cyrillic letter in a barcode", log: set("barcode A", "T-\u04201"), problem: "Cyrillic",
			where: "line 2, value 12"},
	}
}

// TestMended: each class of mistakes is asked about or objected to at its cell, once, and
// what only looks like one is read.
func TestMended(t *testing.T) {
	for _, c := range mistakes() {
		t.Run(c.name, func(t *testing.T) {
			in := inputs(t)
			r := Read(csvLog(t, [2]string{"log.csv", c.log}), in, nil)
			check(t, c, r, bytesOf(in.Plan, r))
		})
	}
}

func check(t *testing.T, c mended, r *Reading, got string) {
	t.Helper()
	failed := false
	switch {
	case c.doubt != "":
		failed = len(r.Problems) > 0 || len(r.Doubts) != 1 || !strings.HasPrefix(r.Doubts[0].ID, c.doubt) ||
			!strings.Contains(r.Doubts[0].Where, c.where)
	case c.problem != "":
		failed = len(r.Problems) != 1 || !strings.Contains(r.Problems[0].Message, c.problem) ||
			!strings.Contains(r.Problems[0].Where, c.where) || len(r.Doubts) > 0
	default:
		failed = len(r.Doubts)+len(r.Problems) > 0 || !strings.Contains(got, c.want)
	}
	if c.not != "" && strings.Contains(got+told(r)+understood(r), c.not) {
		failed = true
	}
	if failed {
		t.Errorf("want doubt %q, problem %q at %q\n%s", c.doubt, c.problem, c.where, told(r))
	}
}

// TestMendedBook: what only a workbook can have.
func TestMendedBook(t *testing.T) {
	week := plainWeek(5)
	kind := func(h string, k sheet.Kind, values ...string) []sheet.Table {
		return asBook(t, withColumns(week, map[string][]string{h: values}), func(heading string, row int,
			c sheet.Cell) sheet.Cell {
			if heading == h && row < len(values) {
				c.Kind = k
			}
			return c
		})
	}
	us := asBook(t, withColumns(week, map[string][]string{"date": {"2026-09-03", "2026-10-03", "13/03/2026",
		"14/03/2026",
		"15/03/2026"}}), func(heading string, row int, c sheet.Cell) sheet.Cell {
		if heading == "date" && row < 2 {
			c.Kind = sheet.Time
		}
		return c
	})
	births := asBook(t, withColumns(week, map[string][]string{"birth date": {"1970-02-01", "31/01/1970", "1970-03-05",
		"25/12/1980", "13/04/1977"}}), func(heading string, row int, c sheet.Cell) sheet.Cell {
		if heading == "birth date" && row%2 == 0 && row < 4 {
			c.Kind = sheet.Time
		}
		return c
	})
	merged := asBook(t, withColumns(week, map[string][]string{"date": {"2026-03-01", "", "", "2026-03-02", ""}}), nil)
	merged[0].Merged = []string{"F2:F4", "F5:F6"}
	blank := asBook(t, week+"  ; ;  \n", nil)
	struck := asBook(t, week, nil)
	for col := range struck[0].Rows[3].Cells {
		struck[0].Rows[3].Cells[col].Struck = true
	}
	struckCell := asBook(t, week, nil)
	struckCell[0].Rows[2].Cells[11].Struck = true
	over := asBook(t, strings.Replace(week, "V-3;", "V-3;;", 1), nil)
	for _, c := range []struct {
		mended
		tables []sheet.Table
	}{
		{mended{name: "barcodes as numbers", doubt: "number", where: "cells L2, L3"}, kind("barcode A", sheet.Number,
			"47400010000", "47400010037")},
		{mended{name: "a serial number as a number", doubt: "number", where: "cell K2"}, kind("sampler", sheet.Number,
			"2.1")},
		{mended{name: "dates that a spreadsheet turned", doubt: "turned", where: "cells F2, F3"}, us},
		{mended{name: "births that a spreadsheet turned", doubt: "turned", where: "cells D2, D4"}, births},
		{mended{name: "merged dates", want: "2026-03-01T09:00:00+01:00"}, merged},
		{mended{name: "cells of blanks", want: `"V-5"`}, blank},
		{mended{name: "a row crossed out", doubt: "struck", where: "cell A4"}, struck},
		{mended{name: "a cell crossed out", doubt: "struck", where: "cell L3"}, struckCell},
		{mended{name: "a row beyond the headings", problem: "shifted", where: "cell A4"}, over},
		{mended{name: "the same twice", problem: "given before", where: LogFile}, slices.Concat(asBook(t, week, nil),
			asBook(t, week, nil))},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := inputs(t)
			r := Read(c.tables, in, nil)
			check(t, c.mended, r, bytesOf(in.Plan, r))
		})
	}
}

// TestTablesMissing: a table that is missing, empty, without headings or old is said once.
func TestTablesMissing(t *testing.T) {
	sessions := "session id,operator,subject id,birth date,sex,date,start,end,outcome,fraction,sampler\n" +
		"V-1,op,W-1,1970-01-31,f,2026-03-02,09:00,09:10,complete,end-tidal,S-7\n" +
		"V-2,op,W-2,1970-01-31,f,2026-03-02,10:00,10:10,complete,end-tidal,S-7\n"
	tubes := "session id,barcode,position,uncapped at,capped at,volume,storage\n" +
		"V-1,T-1,A,09:01,09:02,500,fridge\nV-2,T-2,A,10:01,10:02,500,fridge\n"
	_, bare, _ := strings.Cut(sessions, "\n")
	_, bareTubes, _ := strings.Cut(tubes, "\n")
	head, _, _ := strings.Cut(sessions, "\n")
	for name, c := range map[string]struct {
		files [][2]string
		want  string
	}{
		"no tubes":               {[][2]string{{"s.csv", sessions}}, "no table of tubes was found"},
		"sessions without heads": {[][2]string{{"sessions.csv", bare}, {"tubes.csv", tubes}}, "the table of sessions"},
		"tubes without heads": {[][2]string{{"sessions.csv", sessions}, {"tubes.csv", bareTubes}},
			"the table of tubes"},
		"headings alone": {[][2]string{{"sessions.csv", head + "\n"}}, "no session in it yet"},
		"the same file twice": {[][2]string{{"s.csv", sessions}, {"t.csv", tubes}, {"copy of t.csv", tubes}},
			"given before"},
	} {
		r := Read(csvLog(t, c.files...), inputs(t), nil)
		if len(r.Problems) != 1 || !strings.Contains(r.Problems[0].Message, c.want) || len(r.Doubts) > 0 {
			t.Errorf("%s: %s", name, told(r))
		}
	}
	both := csvLog(t, [2]string{"a.csv", sessions}, [2]string{"b.csv", tubes}, [2]string{"c.csv",
		strings.ReplaceAll(tubes, "T-", "OLD-")})
	for i, name := range []string{"sessions", "tubes", "tubes old"} {
		both[i].File, both[i].Name, both[i].Text = LogFile, name, false
	}
	r := Read(both, inputs(t), nil)
	if len(r.Doubts) != 1 || r.Doubts[0].Where != "sheet tubes old" ||
		strings.Contains(bytesOf(inputs(t).Plan, r), "OLD") {
		t.Errorf("second sheet: %s", told(r))
	}
}

// TestAnswersEnd: whatever choice is taken, no question comes again after its answer, and
// after a bounded number of rounds none is open.
func TestAnswersEnd(t *testing.T) {
	logs := map[string]string{}
	for _, c := range mistakes() {
		logs[c.name] = c.log
	}
	double := strings.Replace(oneColumn("x", "09:05", "09:05"), ";x\n", ";start\n", 1)
	logs["a heading twice"] = double
	logs["two headings of one field"] = oneColumn("tube barcode A", "T-9")
	logs["a list without its beginning"] = strings.ReplaceAll(plainWeek(2), "barcode A", "Q")
	logs["unknown headings"] = strings.NewReplacer("start;", "Q1;", "end;", "Q2;").Replace(plainWeek(2))
	logs["two orders"] = strings.ReplaceAll(withColumns(plainWeek(2), map[string][]string{"date": {"13/03/2026",
		"14/03/2026"}}), "1970-01-31", "01/31/1970")
	logs["orders and signs open"] = withColumns(oneColumn("height", "1,650", "1.700"), map[string][]string{
		"date": {"02/03/2026", "04/03/2026"}, "birth date": {"01/02/70", "03/04/14"}, "volume A": {"1,234", "1,235"}})
	logs["words"] = withColumns(plainWeek(2), map[string][]string{"sex": {"H", "M"}, "storage A": {"cupboard", "n/a"},
		"operator": {"n/a", "-"}, "start": {"9.1", "46083"}})
	part := 3 // of the ways to answer, by turns
	if os.Getenv("CI") == "true" {
		part = 1
	}
	turn := 0
	for name, log := range logs {
		for _, pick := range []int{0, 1, 2, 30} {
			for _, said := range []*Settings{{}, {Dates: monthFirst, Decimals: point},
				{Dates: yearFirst, Decimals: comma}} {
				if turn++; turn%part != 0 {
					continue
				}
				if problem := endless(csvLog(t, [2]string{"log.csv", log}), inputs(t), said, pick); problem != "" {
					t.Errorf("%s, choice %d: %s", name, pick, problem)
				}
			}
		}
	}
}

func endless(tables []sheet.Table, in Inputs, said *Settings, pick int) string {
	s := &Settings{Dates: said.Dates, Decimals: said.Decimals}
	asked := map[string]int{}
	for round := range 40 {
		r := Read(tables, in, s)
		if len(r.Doubts) == 0 {
			return ""
		}
		d := r.Doubts[0]
		key := d.ID + d.Question + d.Heading
		if asked[key]++; asked[key] > 1 {
			return fmt.Sprintf("asked again in round %d: %s", round, told(r))
		}
		if len(d.Choices) == 0 {
			return "no choice: " + told(r)
		}
		s.Answer(d, d.Choices[min(pick, len(d.Choices)-1)].Value)
	}
	return "it does not end"
}

// twoTables is a log of three sessions in two tables; change makes a mistake in it.
func twoTables(t *testing.T, change func(sessions, tubes []string)) []sheet.Table {
	t.Helper()
	sessions := []string{"session id,operator,subject id,birth date,sex,date,start,end,outcome,fraction,sampler"}
	tubes := []string{"session id,barcode,position,uncapped at,capped at,volume,storage"}
	for i := range 3 {
		sessions = append(sessions,
			fmt.Sprintf("V-%d1,op,W-%d,1970-01-31,f,2026-03-0%d,09:00,09:10,complete,end-tidal,S-7",
				i+1, i+1, i+2))
		for _, p := range "AB" {
			tubes = append(tubes, fmt.Sprintf("V-%d1,T-%d%c,%c,09:01,09:02,500,fridge", i+1, i+1, p, p))
		}
	}
	change(sessions, tubes)
	return csvLog(t, [2]string{"s.csv", strings.Join(sessions, "\n") + "\n"},
		[2]string{"t.csv", strings.Join(tubes, "\n") + "\n"})
}

// TestNumbersOfSessions: a number that is wrong in one table is named where it is probably
// wrong, once.
func TestNumbersOfSessions(t *testing.T) {
	put := func(line int, from, to string) func(string) func(s, tubes []string) {
		return func(table string) func(s, tubes []string) {
			return func(s, tubes []string) {
				lines := s
				if table == "tubes" {
					lines = tubes
				}
				lines[line] = strings.Replace(lines[line], from, to, 1)
			}
		}
	}
	for _, c := range []struct {
		name         string
		change       func(sessions, tubes []string)
		where, names string // of the one problem
	}{
		{"wrong in the table of sessions", put(2, "V-21", "V-77")("sessions"), "t.csv, lines 4, 5, value 1",
			"the session at s.csv, line 3, value 1 has no such entry"},
		{"one tube of another number", put(3, "V-21", "V-99")("tubes"), "t.csv, line 4, value 1",
			"no session has this number: correct it"},
		{"all of another site", func(s, _ []string) {
			for i := range s {
				s[i] = strings.Replace(s[i], "V-", "W-", 1)
			}
		}, "t.csv, lines 2, 3, 4, 5, 6, 7, value 1", "no session there (s.csv, lines 2, 3, 4, value 1) has " +
			"entries here"},
		{"two people's numbers that fold to one", func(s, tubes []string) {
			s[1] = strings.Replace(s[1], "V-11", "V-2-1", 1)
			tubes[1], tubes[2] = strings.Replace(tubes[1], "V-11", "V-2-1", 1), strings.Replace(tubes[2], "V-11",
				"V-2-1", 1)
		}, "s.csv, line 3, value 1", "the number at s.csv, line 2, value 1 is written differently and counts " +
			"as the same"},
		{"a required cell of a list is empty", put(4, "09:02,500,fridge", "09:02,500,")("tubes"),
			"t.csv, line 5, value 7",
			"storage is missing"},
		{"a required cell is empty", put(3, ",op,", ",,")("sessions"), "s.csv, line 4, value 2",
			"operator is missing"},
	} {
		r := Read(twoTables(t, c.change), inputs(t), nil)
		if len(r.Problems) != 1 || len(r.Doubts) > 0 || r.Problems[0].Where != c.where ||
			!strings.Contains(r.Problems[0].Message, c.names) {
			t.Errorf("%s: want %q at %s\n%s", c.name, c.names, c.where, told(r))
		}
	}
}
