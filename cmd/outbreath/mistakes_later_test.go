package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"outbreath/schema/sheet"
)

func init() {
	mistakeTables = append(mistakeTables, mistakesAfterSealing, mistakesInSecondWeek, mistakesInLooks,
		mistakesInFormulas,
		mistakesInClocks, mistakesInBox, mistakesOfAnother)
}

// keysOfSite makes keys for the site of dir, which trusts a laboratory, and returns their folder.
func keysOfSite(t *testing.T, dir string) string {
	t.Helper()
	keys, lab := filepath.Join(dir, "site-keys"), filepath.Join(dir, "lab-keys")
	must(t, "keys", "new", "--role", "site", "--name", "WEIR", "--no-passphrase", "--keys", keys)
	must(t, "keys", "new", "--role", "lab", "--name", "harbour-lab", "--no-passphrase", "--keys", lab)
	must(t, "keys", "trust", filepath.Join(lab, "public-keys.txt"), "--keys", keys)
	return keys
}

// sealed seals the week before the mistake, and checks it with the keys after it.
func sealed(change func(t *testing.T, s *spoiltWeek, week string)) func(s *spoiltWeek) {
	return func(s *spoiltWeek) {
		s.then = func(t *testing.T, dir string) (string, bool) {
			keys, week, stick := keysOfSite(t, dir), filepath.Join(dir, "week"), filepath.Join(dir, "stick")
			noError(t, os.MkdirAll(stick, 0o700))
			must(t, "seal", week, "--to", stick, "--keys", keys, "--by", "O. Perator")
			s.args = append(s.args, "--keys", keys)
			change(t, s, week)
			screen, clean := s.fill(t, dir, "week")
			status, out, errOut := runHere("check", week, "--keys", keys, "--new-number")
			return screen + strings.ReplaceAll(out+errOut, dir+"/", ""), clean && status == 0
		}
	}
}

// inLog is a change of the log alone.
func inLog(change func(s *spoiltWeek)) func(t *testing.T, s *spoiltWeek, week string) {
	return func(_ *testing.T, s *spoiltWeek, _ string) { change(s) }
}

// inFile changes a text in a file of the collection.
func inFile(name, from, to string) func(t *testing.T, s *spoiltWeek, week string) {
	return func(t *testing.T, _ *spoiltWeek, week string) {
		t.Helper()
		path := filepath.Join(week, name)
		data, err := os.ReadFile(path)
		noError(t, err)
		if !bytes.Contains(data, []byte(from)) {
			t.Fatalf("%s has no %s", name, from)
		}
		noError(t, os.WriteFile(path, bytes.Replace(data, []byte(from), []byte(to), 1), 0o600))
	}
}

var mistakesAfterSealing = []mistake{
	{name: "other barcode", class: "sealed", did: "changed a barcode in the log after sealing", expect: caught,
		place: `cell B2|0001\.json|WEIR-V0001`, what: `sealed`, edit: sealed(inLog(func(s *spoiltWeek) {
			s.set("tubes", 0, "barcode", "LK07-0091-A")
		}))},
	{name: "other subject", class: "sealed", did: "changed a subject in the log after sealing", whose: true,
		expect: caught, place: `cell [CDEF]2|0001\.json|WEIR-V0001`, what: `sealed|subject|birth`,
		edit: sealed(inLog(func(s *spoiltWeek) {
			for _, h := range []string{"subject id", "subject birth date", "subject sex", "subject postal code"} {
				s.set("sessions", 0, h, s.at("sessions", 1, h).Text)
			}
		}))},
	{name: "other time", class: "sealed", did: "changed a start in the log after sealing", whose: true,
		expect: caught, place: `cell [KL]2|0001\.json|WEIR-V0001`, what: `sealed`,
		edit: sealed(inLog(func(s *spoiltWeek) {
			s.set("sessions", 0, "started at", s.w.began(0).Add(-time.Minute).Format("15:04:05"))
		}))},
	{name: "note added", class: "sealed", did: "wrote a note into the log after sealing", expect: caught,
		place: `cell U2|0001\.json|WEIR-V0001`, what: `sealed`, edit: sealed(inLog(func(s *spoiltWeek) {
			s.set("sessions", 0, "notes", "mask changed before the start")
		}))},
	{name: "row deleted", class: "sealed", did: "deleted a sealed session from the log", expect: caught,
		place: `0008\.json|WEIR-V0008`, what: `sealed|no more|lost|any more`, edit: sealed(inLog(func(s *spoiltWeek) {
			s.dropRow("sessions", 7)
			s.dropRow("tubes", 15)
			s.dropRow("tubes", 14)
			s.dropRow("checks", 15)
			s.dropRow("checks", 14)
		}))},
	{name: "record of another", class: "sealed", did: "typed another subject into a sealed record", whose: true,
		expect: caught, place: `0001\.json|WEIR-V0001`, what: `changed|sealed|subject|birth`,
		edit: sealed(inFile("sessions/0001.json", "LARK2-WEIR-001", "LARK2-WEIR-002"))},
	{name: "record's volume", class: "sealed", did: "typed another volume into a sealed record", expect: caught,
		place: `0001\.json|WEIR-V0001`, what: `changed|sealed`,
		edit: sealed(inFile("sessions/0001.json", `"volume_ml": 500`, `"volume_ml": 450`))},
	{name: "recording changed", class: "sealed", did: "a recording in the collection was edited after sealing",
		expect: caught, place: `0001\.json|WEIR-V0001`, what: `changed|sealed|differ`,
		edit: sealed(func(t *testing.T, s *spoiltWeek, week string) {
			names, err := filepath.Glob(filepath.Join(week, "recordings", "*V0001*"))
			noError(t, err)
			if len(names) != 1 {
				t.Fatal(names)
			}
			data, err := os.ReadFile(names[0])
			noError(t, err)
			noError(t, os.WriteFile(names[0], data[:bytes.LastIndexByte(data[:len(data)-1], '\n')+1], 0o600))
		})},
	{name: "recording replaced", class: "sealed", did: "copied another recording of that name for a sealed session",
		expect: caught, place: `WEIR-V0001`, what: `changed|sealed|differ`, edit: sealed(inLog(func(s *spoiltWeek) {
			text := s.files["WEIR-V0001.csv"]
			s.files["WEIR-V0001.csv"] = text[:strings.LastIndexByte(text[:len(text)-1], '\n')+1]
		}))},
}

// afterSealedWeek is secondWeek with a first week that was sealed, and a check with the keys.
func afterSealedWeek(spoil func(second, first *spoiltWeek)) func(s *spoiltWeek) {
	return func(s *spoiltWeek) {
		var second *spoiltWeek
		secondWeek(func(of, first *spoiltWeek) { second = of; spoil(of, first) })(s)
		begun := s.then
		s.then = func(t *testing.T, dir string) (string, bool) {
			keys, stick := keysOfSite(t, dir), filepath.Join(dir, "stick")
			noError(t, os.MkdirAll(stick, 0o700))
			must(t, "seal", filepath.Join(dir, "week"), "--to", stick, "--keys", keys, "--by", "O. Perator")
			second.args = append(second.args, "--keys", keys)
			screen, clean := begun(t, dir)
			status, out, errOut := runHere("check", filepath.Join(dir, "second"), "--keys", keys)
			return screen + strings.ReplaceAll(out+errOut, dir+"/", ""), clean && status == 0
		}
	}
}

// secondWeek fills a week that is seven days before the base, begins a second one like it, and
// fills that with the base and a mistake.
func secondWeek(spoil func(second, first *spoiltWeek)) func(s *spoiltWeek) {
	return func(s *spoiltWeek) {
		second := newSpoiltWeek(s.w)
		second.logName = "log2.xlsx"
		s.aWeekEarlier()
		spoil(second, s)
		s.folder = "second"
		s.then = func(t *testing.T, dir string) (string, bool) {
			must(t, "begin", filepath.Join(dir, "second"), "--like", filepath.Join(dir, "week"))
			return second.fill(t, dir, "second")
		}
	}
}

// aWeekEarlier makes the base the week before: days, session numbers, barcodes, recordings.
func (s *spoiltWeek) aWeekEarlier() {
	for i := range s.book.Sheets {
		for _, row := range s.book.Sheets[i].Rows {
			for c := range row {
				row[c].Text = strings.NewReplacer("WEIR-V000", "WEIR-V070", "LK07-", "LK06-", "K-000", "K-090").
					Replace(row[c].Text)
			}
		}
	}
	s.each("sessions", "date", func(r int, _ string) string {
		return s.w.began(r).AddDate(0, 0, -7).Format("02.01.2006")
	})
	var days []string
	for i := range s.w.records {
		for _, form := range []string{"02.01.2006", "02.01.06", "02-Jan-2006"} {
			now, then := s.w.began(i).Format(form), s.w.began(i).AddDate(0, 0, -7).Format(form)
			days = append(days, strings.ToUpper(now), strings.ToUpper(then))
		}
	}
	old := s.files
	s.files = map[string]string{}
	for name, text := range old {
		text = strings.ReplaceAll(text, "WEIR-V000", "WEIR-V070")
		s.files[strings.Replace(name, "V000", "V070", 1)] = strings.NewReplacer(days...).Replace(text)
	}
}

// person gives a subject of a week another birth date or sex in all its sheets.
func (s *spoiltWeek) person(id, sessionsColumn, rosterColumn, text string) {
	for name, heading := range map[string]string{"sessions": sessionsColumn, "roster": rosterColumn} {
		for r := range s.sheet(name).Rows {
			if s.at(name, r, "subject id").Text == id {
				s.set(name, r, heading, text)
			}
		}
	}
}

var mistakesInSecondWeek = []mistake{
	{name: "no mistake", class: "second week", did: "began a week like the last", expect: handled,
		edit: secondWeek(func(_, _ *spoiltWeek) {})},
	{name: "other birth date", class: "second week", did: "typed another birth date than in the first week",
		whose: true, expect: caught, place: `LARK2-WEIR-001|roster|cell [DF]\d|row 2`, what: `birth`,
		edit: secondWeek(func(second, _ *spoiltWeek) {
			second.person("LARK2-WEIR-001", "subject birth date", "birth date", "14.06.1961")
		})},
	{name: "other sex", class: "second week", did: "chose another sex than in the first week", whose: true,
		expect: caught, place: `LARK2-WEIR-001|roster|cell E\d|row 2`, what: `sex`,
		edit: secondWeek(func(second, _ *spoiltWeek) {
			second.person("LARK2-WEIR-001", "subject sex", "sex", "male")
		})},
	{name: "old tube", short: "a barcode of a week that was not sealed yet is taken in silence",
		class: "second week", did: "typed a barcode of the first week", expect: caught,
		place: `LK06-0001-A|cell B2|0001\.json`, what: `barcode|week|before|earlier`,
		edit: secondWeek(func(second, _ *spoiltWeek) { second.set("tubes", 0, "barcode", "LK06-0001-A") })},
	{name: "old recordings", class: "second week", did: "copied the first week's recordings", whose: true,
		expect: caught, place: `WEIR-V070\d\.(txt|csv|edf)`, what: `session|[Ww]hose`,
		edit: secondWeek(func(second, first *spoiltWeek) { second.files = first.files })},
	{name: "old days", class: "second week", did: "copied the first week's dates", whose: true, expect: caught,
		place: `WEIR-V000[234]`, what: `clock`, edit: secondWeek(func(second, first *spoiltWeek) {
			second.each("sessions", "date", func(r int, _ string) string {
				return first.at("sessions", r,
					"date").Text
			})
		})},
	{name: "new id for a person", class: "second week", did: "gave a person of the first week a new id", whose: true,
		expect: caught, place: `LARK2-WEIR-006|roster|row \d`, what: `one person|same|alike`,
		edit: secondWeek(func(second, _ *spoiltWeek) {
			for _, name := range []string{"sessions", "roster"} {
				second.each(name, "subject id", func(_ int, text string) string {
					return strings.Replace(text, "LARK2-WEIR-001", "LARK2-WEIR-006", 1)
				})
			}
		})},
	{name: "no mistake, sealed", class: "second week", did: "began a week like the last, which was sealed",
		expect: handled, edit: afterSealedWeek(func(_, _ *spoiltWeek) {})},
	{name: "old tube, sealed", class: "second week", did: "typed a barcode of a sealed week", expect: caught,
		place: `LK06-0001-A|cell B2|0001\.json`, what: `barcode|week|before|earlier|sealed`,
		edit: afterSealedWeek(func(second, _ *spoiltWeek) { second.set("tubes", 0, "barcode", "LK06-0001-A") })},
	{name: "name corrected", class: "second week", did: "changed a family name in the roster", expect: safe,
		place: `roster`, what: `name`, edit: secondWeek(func(second, _ *spoiltWeek) {
			second.set("roster", 0, "family name", "Tamarack")
		})},
}

// inWorkbook does to the log's workbook what only a spreadsheet program can do.
func inWorkbook(change func(s *spoiltWeek, f *excelize.File) error) func(s *spoiltWeek) {
	return func(s *spoiltWeek) {
		var b, changed bytes.Buffer
		if err := sheet.Write(&b, s.book); err != nil {
			panic(err)
		}
		f, err := excelize.OpenReader(&b)
		if err != nil {
			panic(err)
		}
		defer f.Close()
		if err = change(s, f); err != nil {
			panic(err)
		}
		if err = f.Write(&changed); err != nil {
			panic(err)
		}
		s.raw = changed.Bytes()
	}
}

// struck strikes cells through.
func struck(name, from, to string) func(s *spoiltWeek) {
	return inWorkbook(func(_ *spoiltWeek, f *excelize.File) error {
		style, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Strike: true}})
		if err != nil {
			return err
		}
		return f.SetCellStyle(name, from, to, style)
	})
}

func merged(name, from, to string) func(s *spoiltWeek) {
	return inWorkbook(func(_ *spoiltWeek, f *excelize.File) error { return f.MergeCell(name, from, to) })
}

func commented(name, cell, text string) func(s *spoiltWeek) {
	return inWorkbook(func(_ *spoiltWeek, f *excelize.File) error {
		_ = f.DeleteComment(name, cell)
		return f.AddComment(name, excelize.Comment{Cell: cell, Author: "op", Text: text})
	})
}

var mistakesInLooks = []mistake{
	{name: "subjects merged", class: "looks", did: "merged the subjects of two rows", whose: true, expect: caught,
		place: `cells? C[23]|C2:C3`, what: `merged|subject`, edit: merged("sessions", "C2", "C3")},
	{name: "dates merged", class: "looks", did: "merged the dates of two rows", whose: true, expect: safe,
		place: `cells? J[23]|J2:J3`, what: `merged|date`, edit: merged("sessions", "J2", "J3")},
	{name: "barcodes merged", class: "looks", did: "merged two barcodes", expect: caught,
		place: `cells? B[23]|B2:B3`, what: `merged|barcode`, edit: merged("tubes", "B2", "B3")},
	{name: "row hidden", class: "looks", did: "hid a session's row", whose: true, expect: caught,
		place: `row 4|sheet sessions`, what: `hidden`, edit: inWorkbook(func(_ *spoiltWeek, f *excelize.File) error {
			return f.SetRowVisible("sessions", 4, false)
		})},
	{name: "column hidden", class: "looks", did: "hid the column of the sexes", expect: safe,
		place: `column E|cell E`, what: `hidden`, edit: inWorkbook(func(_ *spoiltWeek, f *excelize.File) error {
			return f.SetColVisible("sessions", "E", false)
		})},
	{name: "sheet hidden", class: "looks", did: "hid the sheet of the tubes", expect: safe, place: `sheet tubes|tubes`,
		what: `hidden`, edit: inWorkbook(func(_ *spoiltWeek, f *excelize.File) error {
			return f.SetSheetVisible("tubes", false)
		})},
	{name: "comment", short: "a comment beside a cell is passed over in silence",
		class: "looks", did: "wrote 'wrong subject, see paper' in a comment", whose: true, expect: caught,
		place: `cell C2`, what: `comment`, edit: commented("sessions", "C2", "wrong subject, see paper")},
	{name: "comment on a tube", short: "a comment beside a cell is passed over in silence",
		class: "looks", did: "wrote 'belongs to the next session' in a comment", whose: true,
		expect: caught, place: `cell B2`, what: `comment`,
		edit: commented("tubes", "B2", "belongs to the next session")},
	{name: "row struck", class: "looks", did: "struck a cancelled session through", whose: true, expect: caught,
		place: `row 4|cells? [A-Z]+4`, what: `struck|through`, edit: struck("sessions", "A4", "U4")},
	{name: "barcode struck", class: "looks", did: "struck a barcode through", expect: caught, place: `cell B2`,
		what: `struck|through`, edit: struck("tubes", "B2", "B2")},
	{name: "part struck", class: "looks", did: "struck the old id and wrote the new one behind it", whose: true,
		expect: caught, place: `cell C2`, what: `struck|subject|roster`,
		edit: inWorkbook(func(_ *spoiltWeek, f *excelize.File) error {
			return f.SetCellRichText("sessions", "C2", []excelize.RichTextRun{
				{Text: "LARK2-WEIR-002 ", Font: &excelize.Font{Strike: true}}, {Text: "LARK2-WEIR-001"}})
		})},
	{name: "white on white", class: "looks", did: "made the text of a row white", expect: safe, place: `row 4`,
		what: `white|hidden`, edit: inWorkbook(func(_ *spoiltWeek, f *excelize.File) error {
			style, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Color: "FFFFFF"}})
			if err != nil {
				return err
			}
			return f.SetCellStyle("sessions", "A4", "U4", style)
		})},
}

// formula writes a formula, with a stored value unless that is nil.
func formula(name, cell, text string, stored func(s *spoiltWeek) any) func(s *spoiltWeek) {
	return inWorkbook(func(s *spoiltWeek, f *excelize.File) error {
		var value any
		if stored != nil {
			value = stored(s)
		}
		if err := f.SetCellValue(name, cell, value); err != nil {
			return err
		}
		return f.SetCellFormula(name, cell, text)
	})
}

var mistakesInFormulas = []mistake{
	{name: "stored value", class: "formulas", did: "a volume is a formula", expect: handled,
		edit: formula("tubes", volumeCell, "250*2", func(*spoiltWeek) any { return 500 })},
	{name: "no stored value", class: "formulas", did: "a program wrote a formula without its value", expect: caught,
		place: `cell F2`, what: `formula|value|volume`, edit: formula("tubes", volumeCell, "250*2", nil)},
	{name: "stored error", class: "formulas", did: "a formula lost its cell: #REF!", whose: true, expect: caught,
		place: `cell C2`, what: `#REF!|error|formula|subject`,
		edit: formula("sessions", "C2", "#REF!", func(*spoiltWeek) any { return "#REF!" })},
	{name: "subject of the row above", class: "formulas", did: "the subject is =C2, in the row below", whose: true,
		expect: caught, place: `cell [CDE]3|0002\.json`, what: `subject|birth|sex|formula`,
		edit: formula("sessions", "C3", "C2", func(s *spoiltWeek) any {
			return s.at("sessions", 0,
				"subject id").Text
		})},
	{name: "formula as text", class: "formulas", did: "a formula became text", expect: caught, place: `cell F2`,
		what: `volume|number|formula`, edit: func(s *spoiltWeek) { s.set("tubes", 0, "volume (mL)", "=250*2") }},
}

// volumeCell is the cell of the first volume.
const volumeCell = "F2"

// serials writes the dates of all sessions as serial numbers of a workbook that counts from 1904.
func serials(s *spoiltWeek, f *excelize.File, rows int, days float64) error {
	style, err := f.NewStyle(&excelize.Style{NumFmt: 14})
	if err != nil {
		return err
	}
	for r := range rows {
		day := s.w.began(r)
		since := time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, time.UTC).
			Sub(time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)).Hours()/24 - days
		cell := fmt.Sprintf("J%d", r+2)
		if err := f.SetCellValue("sessions", cell, since); err != nil {
			return err
		}
		if err := f.SetCellStyle("sessions", cell, cell, style); err != nil {
			return err
		}
	}
	return nil
}

// days1904 are those between the two first days that workbooks count from: ECMA-376, Part 1,
// 18.17.4.1, from memory.
const days1904 = 1462

// inChange makes the times of the first session those of an hour of a day, where New York changes its
// clock: second Sunday of March, first Sunday of November (Energy Policy Act of 2005, section 110).
func inChange(day, hour string) func(s *spoiltWeek) {
	return func(s *spoiltWeek) {
		s.study = strings.Replace(mistakeStudy, panama, "America/New_York", 1)
		s.set("sessions", 0, "date", day)
		s.set("sessions", 0, "started at", hour+":30:00")
		s.set("sessions", 0, "ended at", hour+":38:00")
		for r, minutes := range [][2]string{{"31", "33"}, {"34", "36"}} {
			s.set("tubes", r, "uncapped at", hour+":"+minutes[0]+":00")
			s.set("tubes", r, "capped at", hour+":"+minutes[1]+":00")
		}
	}
}

var mistakesInClocks = []mistake{
	{name: "1904", class: "clocks", did: "the workbook counts days from 1904", expect: handled,
		edit: inWorkbook(func(s *spoiltWeek, f *excelize.File) error {
			yes := true
			if err := f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}); err != nil {
				return err
			}
			return serials(s, f, 8, days1904)
		})},
	{name: "1904, one row", class: "clocks", did: "pasted a row of a workbook that counts from 1904", whose: true,
		expect: caught, place: `cell J2|0001\.json|WEIR-V0001`, what: `days|year|1904`,
		edit: inWorkbook(func(s *spoiltWeek, f *excelize.File) error { return serials(s, f, 1, days1904) })},
	{name: "1904, all rows", class: "clocks", did: "pasted all dates from a workbook that counts from 1904",
		whose: true, expect: caught, place: `WEIR-V000[234]|cell J\d`, what: `clock|years|1904`,
		edit: inWorkbook(func(s *spoiltWeek, f *excelize.File) error { return serials(s, f, 8, days1904) })},
	{name: "text among dates", class: "clocks", did: "one date is text, the others are dates", expect: handled,
		edit: inWorkbook(func(s *spoiltWeek, f *excelize.File) error {
			if err := serials(s, f, 8, 0); err != nil {
				return err
			}
			return f.SetCellStr("sessions", "J2", s.day(0))
		})},
	{name: "repeated hour", class: "clocks", did: "a session in the hour that the change of clocks repeats",
		whose:  true,
		expect: caught, place: `cell [JKL]2|WEIR-V0001`, what: `twice|repeat|clocks?`, edit: inChange("02.11.2025",
			"01")},
	{name: "year turned round", class: "clocks", did: "exchanged the digits of the year", whose: true, expect: caught,
		place: `cell J2|0001\.json|WEIR-V0001`, what: `date|year|days|future`, edit: func(s *spoiltWeek) {
			s.set("sessions", 0, "date", s.w.began(0).Format("02.01.")+"2062")
		}},
	{name: "columns exchanged", class: "clocks", did: "exchanged the columns of starts and ends", whose: true,
		expect: caught, place: `cell [KL]\d|\.json|WEIR-V`, what: `before|after|start|end`, edit: func(s *spoiltWeek) {
			for r := range s.sheet("sessions").Rows {
				s.swap("sessions", r, "started at", r, "ended at")
			}
		}},
	{name: "ends dragged", class: "clocks", did: "dragged the first end down over all rows", whose: true,
		expect: caught, place: `cell [KL]\d|\.json|WEIR-V|sheet sessions`, what: `before|after|start|end|equal`,
		edit: func(s *spoiltWeek) {
			first := s.at("sessions", 0, "ended at").Text
			s.each("sessions", "ended at", func(int, string) string { return first })
		}},
	{name: "subjects dragged", class: "clocks", did: "dragged the first subject's id down: it counts up", whose: true,
		expect: caught, place: `cell [CDE]\d|\.json|WEIR-V`, what: `subject|roster|birth|sex`,
		edit: func(s *spoiltWeek) {
			s.each("sessions", "subject id", func(r int, _ string) string {
				return fmt.Sprintf("LARK2-WEIR-%03d",
					r+1)
			})
		}},
}

// boxed checks the week with a list of the box.
func boxed(change func(list string) string) func(s *spoiltWeek) {
	return func(s *spoiltWeek) {
		s.then = func(t *testing.T, dir string) (string, bool) {
			var list strings.Builder
			for _, r := range s.sheet("tubes").Rows {
				fmt.Fprintln(&list, r[s.column("tubes", "barcode")].Text)
			}
			if !strings.HasPrefix(list.String(), "LK07-0001-A\nLK07-0001-B\n") {
				t.Fatal(list.String())
			}
			box := filepath.Join(dir, "box.txt")
			noError(t, os.WriteFile(box, []byte(change(list.String())), 0o600))
			status, out, errOut := runHere("check", filepath.Join(dir, "week"), "--tubes", box)
			return strings.ReplaceAll(out+errOut, dir+"/", ""), status == 0
		}
	}
}

// boxWith is a list with one text changed.
func boxWith(from, to string) func(s *spoiltWeek) {
	return boxed(func(list string) string { return strings.Replace(list, from, to, 1) })
}

var mistakesInBox = []mistake{
	{name: "no mistake", class: "box", did: "scanned the box", expect: handled, edit: boxWith("", "")},
	{name: "missing", class: "box", did: "left a tube in the rack", expect: caught, place: `LK07-0001-A|0001\.json`,
		what: `box|missing`, edit: boxWith("LK07-0001-A\n", "")},
	{name: "foreign", class: "box", did: "put a tube of another study into the box", expect: caught,
		place: `ZZ90-4711`, what: `box|record|unexpected`, edit: boxWith("LK07-0001-A\n", "LK07-0001-A\nZZ90-4711\n")},
	{name: "twice", class: "box", did: "scanned a tube twice", expect: safe, place: `LK07-0001-A|line 2`,
		what: `twice|two`, edit: boxWith("LK07-0001-A\n", "LK07-0001-A\nLK07-0001-A\n")},
	{name: "O for 0", class: "box", did: "typed the letter O for the digit", expect: caught, place: `LK07-OOO1-A`,
		what: `alike|box|record`, edit: boxWith("LK07-0001-A", "LK07-OOO1-A")},
	{name: "two on a line", class: "box", did: "the scanner sent no end of line", expect: caught,
		place: `line 1|LK07-0001-ALK07-0001-B`, what: `box|record|barcode|missing`,
		edit: boxWith("LK07-0001-A\nLK07", "LK07-0001-ALK07")},
	{name: "Windows", class: "box", did: "saved the list with CRLF and a byte-order mark", expect: handled,
		edit: boxed(func(list string) string { return "\ufeff" + strings.ReplaceAll(list, "\n", "\r\n") })},
}

var mistakesOfAnother = []mistake{
	{name: "EDF of another person", class: "another", did: "the EDF header has another person's birth date",
		whose:  true,
		expect: caught, place: `WEIR-V0004\.edf`, what: `birth date|person|subject`, edit: func(s *spoiltWeek) {
			text := s.files["WEIR-V0004.edf"]
			at := strings.IndexByte(text[8:], '-') + 8 // 10-MAY-1970
			s.files["WEIR-V0004.edf"] = text[:at+4] + "-1938" + text[at+9:]
		}},
	{name: "EDF of the other sex", class: "another", did: "the EDF header has the other sex", whose: true,
		expect: caught, place: `WEIR-V0004\.edf`, what: `sex|person|subject`, edit: func(s *spoiltWeek) {
			text := s.files["WEIR-V0004.edf"]
			at := strings.IndexAny(text[8:88], " ") + 8
			s.files["WEIR-V0004.edf"] = text[:at] + map[string]string{" M ": " F ", " F ": " M "}[text[at:at+3]] +
				text[at+3:]
		}},
	{name: "EDF of another visit", class: "another", did: "the EDF header names another visit", whose: true,
		expect: caught, place: `WEIR-V0004\.edf`, what: `V000[45]|visit|named|session`, edit: func(s *spoiltWeek) {
			s.files["WEIR-V0004.edf"] = strings.Replace(s.files["WEIR-V0004.edf"], "WEIR-V0004", "WEIR-V0005", 1)
		}},
	{name: "one tube moved", class: "another", did: "exchanged one tube between two sessions", whose: true,
		expect: caught, place: `WEIR-V000[12]|000[12]\.json|cell [A-E][2-5]`, what: `before|after|session|tube`,
		edit: func(s *spoiltWeek) { s.swap("tubes", 0, "session id", 2, "session id") }},
	{name: "barcodes exchanged", class: "another", did: "exchanged the barcodes of two sessions' first tubes",
		whose: true, expect: caught, place: `WEIR-V000[12]|000[12]\.json|cell B[24]`, what: `barcode|tube`,
		edit: func(s *spoiltWeek) { s.swap("tubes", 0, "barcode", 2, "barcode") }},
	{name: "whole subject", class: "another", did: "typed another subject with birth date, sex and postal code",
		whose: true, expect: caught, place: `WEIR-V0004|cell [CDEF]5|0004\.json`, what: `subject|birth|sex|person`,
		edit: func(s *spoiltWeek) {
			for _, h := range []string{"subject id", "subject birth date", "subject sex", "subject postal code"} {
				s.set("sessions", 3, h, s.at("sessions", 0, h).Text)
			}
		}},
	{name: "roster's dates exchanged", class: "another", did: "exchanged birth dates and sexes of two in the roster",
		whose: true, expect: caught, place: `roster|\.json|cell [DEF]\d`, what: `birth|sex`, edit: func(s *spoiltWeek) {
			s.swap("roster", 0, "birth date", 1, "birth date")
			s.swap("roster", 0, "sex", 1, "sex")
		}},
}
