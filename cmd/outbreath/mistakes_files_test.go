package main

import (
	"regexp"
	"strings"
	"unicode/utf16"
)

func init() {
	mistakeTables = append(mistakeTables, mistakesInRecordings, mistakesInFiles, mistakesInWords, mistakesInOptions,
		mistakesAfterwards)
}

// Files without a clock that were exchanged are not here: nothing but their names says whose
// they are.
var mistakesInRecordings = []mistake{
	{name: "exchanged", class: "recordings", did: "exchanged the names of two recordings with a clock", whose: true,
		expect: caught,
		place:  `WEIR-V000[23]\.txt`, what: `clock|named`, edit: func(s *spoiltWeek) {
			s.swapFiles("WEIR-V0002.txt",
				"WEIR-V0003.txt")
		}},
	{name: "no session in the name", class: "recordings", did: "left the sampler's name run.csv", expect: caught,
		place: `run\.csv`, what: `session|[Ww]hose`, edit: func(s *spoiltWeek) {
			s.rename("WEIR-V0001.csv",
				"run.csv")
		}},
	{name: "one missing", class: "recordings", did: "forgot to copy a recording", expect: caught,
		place: `WEIR-V0001|0001\.json`,
		what:  `recording`, edit: func(s *spoiltWeek) { delete(s.files, "WEIR-V0001.csv") }},
	{name: "empty", class: "recordings", did: "copied a recording while the stick was full: empty", expect: caught,
		place: `WEIR-V0001\.csv`, what: `empty|no `, edit: func(s *spoiltWeek) { s.files["WEIR-V0001.csv"] = "" }},
	{name: "cut short", class: "recordings", did: "the sampler was unplugged: a third of a recording", expect: caught,
		place: `WEIR-V0002\.txt|WEIR-V0002|0002\.json`, what: `short|length|ends|seconds`,
		edit: func(s *spoiltWeek) {
			text := s.files["WEIR-V0002.txt"]
			s.files["WEIR-V0002.txt"] = text[:strings.LastIndexByte(text[:len(text)/3], '\n')+1]
		}},
	{name: "copied twice", class: "recordings", did: "copied a recording twice: WEIR-V0001 (1).csv", expect: safe,
		place: `WEIR-V0001 \(1\)\.csv`, what: `same|[Ww]hose|two`,
		edit: func(s *spoiltWeek) { s.files["WEIR-V0001 (1).csv"] = s.files["WEIR-V0001.csv"] }},
	{name: "one for two sessions", class: "recordings", did: "copied a recording for the next session", whose: true,
		expect: caught,
		place:  `WEIR-V000[23]`, what: `same|clock`,
		edit: func(s *spoiltWeek) { s.files["WEIR-V0003.txt"] = s.files["WEIR-V0002.txt"] }},
	{name: "one without a clock for two sessions", class: "recordings",
		did:   "copied a recording without a clock for another session",
		whose: true, expect: caught, place: `WEIR-V000[15]`, what: `a copy of`,
		edit: func(s *spoiltWeek) { s.files["WEIR-V0005.csv"] = s.files["WEIR-V0001.csv"] }},
	{name: "an archive", class: "recordings", did: "left a recording in an archive", expect: caught,
		place: `WEIR-V0001\.zip`,
		what:  `archive|unpack`, edit: func(s *spoiltWeek) {
			s.files["WEIR-V0001.zip"] = "PK\x03\x04" + strings.Repeat("\x00", 40)
			delete(s.files, "WEIR-V0001.csv")
		}},
	{name: "EDF of another", class: "recordings", did: "named an EDF file for another person's session", whose: true,
		expect: caught,
		place:  `WEIR-V0005\.edf`, what: `birth date|clock|[Ww]hose`,
		edit: func(s *spoiltWeek) { s.rename("WEIR-V0004.edf", "WEIR-V0005.edf") }},
	{name: "a picture", class: "recordings", did: "left a picture in the folder", expect: safe, place: `photo\.jpg`,
		what: `recording|read`,
		edit: func(s *spoiltWeek) { s.files["photo.jpg"] = "\xff\xd8\xff\xe0\x00\x10JFIF\x00" }},
	{name: "other unit", class: "recordings", did: "set the sampler to per cent for one session", expect: caught,
		place: `WEIR-V0002\.txt`, what: `%|unit`, edit: func(s *spoiltWeek) {
			s.files["WEIR-V0002.txt"] = strings.Replace(s.files["WEIR-V0002.txt"], "[mmHg]", "[%]", 1)
		}},
	{name: "no heading", class: "recordings", did: "deleted the headings of a recording", expect: caught,
		place: `WEIR-V0002\.txt`,
		what:  `heading|column|read`, edit: func(s *spoiltWeek) {
			s.files["WEIR-V0002.txt"] = strings.Replace(s.files["WEIR-V0002.txt"], "Uhrzeit;CO2 [mmHg];Druck [hPa]\r\n",
				"", 1)
		}},
	{name: "last week's", class: "recordings", did: "copied last week's recording of the same name", whose: true,
		expect: caught,
		place:  `WEIR-V0002\.txt`, what: `clock`, edit: func(s *spoiltWeek) {
			s.files["WEIR-V0002.txt"] = strings.ReplaceAll(s.files["WEIR-V0002.txt"], s.day(1),
				s.w.began(1).AddDate(0, 0, -7).Format("02.01.2006"))
		}},
}

var mistakesInFiles = []mistake{
	{name: "a picture", class: "files", did: "gave a picture of the log", expect: caught, place: `log\.xlsx`,
		what: `workbook|table|read`,
		edit: func(s *spoiltWeek) { s.raw = []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR") }},
	{name: "empty file", class: "files", did: "gave an empty file", expect: caught, place: `log\.xlsx`,
		what: `empty|nothing`,
		edit: func(s *spoiltWeek) { s.raw = []byte{} }},
	{name: "lock file", class: "files", did: "gave the lock file of the open workbook", expect: caught,
		place: `~\$log\.xlsx`, what: `lock|open|itself`,
		edit: func(s *spoiltWeek) { s.raw, s.logName = []byte("\x05Weir\x00"+strings.Repeat(" ", 150)), "~$log.xlsx" }},
	{name: "old workbook", class: "files", did: "saved in the format of before 2007", expect: caught, place: `log\.xls`,
		what: `xlsx|[Ss]ave`,
		edit: func(s *spoiltWeek) {
			s.raw, s.logName = []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"+strings.Repeat("\x00", 600)), "log.xls"
		}},
	{name: "UTF-16", class: "files", did: "saved as Unicode text", expect: handled, edit: func(s *spoiltWeek) {
		s.inCSV()
		s.raw = []byte{0xff, 0xfe}
		for _, u := range utf16.Encode([]rune(s.csv)) {
			s.raw = append(s.raw, byte(u), byte(u>>8))
		}
	}},
	{name: "BOM", class: "files", did: "saved as UTF-8 with a byte-order mark", expect: handled,
		edit: func(s *spoiltWeek) { s.inCSV(); s.csv = "\ufeff" + s.csv }},
	{name: "tabs", class: "files", did: "saved as text with tabs", expect: handled,
		edit: func(s *spoiltWeek) { s.inCSV(";", "\t") }},
	{name: "subject's heading gone", class: "files", did: "deleted the heading of the subjects", whose: true,
		expect: caught,
		place:  `value 2|line 1|log\.csv`, what: `heading|subject`,
		edit: func(s *spoiltWeek) { s.inCSV("Besuch;Proband;", "Besuch;;") }},
	{name: "headings gone", class: "files", did: "deleted the row of headings", expect: caught, place: `log\.csv`,
		what: `heading`,
		edit: func(s *spoiltWeek) { s.inCSV(); _, s.csv, _ = strings.Cut(s.csv, "\n") }},
	{name: "heading twice", class: "files", did: "two columns have the heading Geburtsdatum", expect: caught,
		place: `log\.csv`,
		what:  `two|twice|both|same`, edit: func(s *spoiltWeek) { s.inCSV("Geschlecht;", "Geburtsdatum;") }},
	{name: "semicolon in a note", class: "files", did: "wrote a semicolon into a note of a text table", expect: caught,
		place: `line 2`,
		what:  `value|column|heading`, edit: func(s *spoiltWeek) {
			s.inCSV("leak test ok, seal",
				"leak test ok; seal")
		}},
	{name: "open quote", class: "files", did: "a quotation mark opens a note and does not close it", expect: caught,
		place: `lines? \d+`,
		what:  `quot`, edit: func(s *spoiltWeek) { s.inCSV("leak test ok", `"leak test ok`) }},
	{name: "a value too many", class: "files", did: "a separator too many: the row's values are a column to the right",
		whose:  true,
		expect: caught, place: `line 3`, what: `value|column|heading|number|date`,
		edit: func(s *spoiltWeek) { s.inCSV("WEIR-V0002;LARK2", "WEIR-V0002;;LARK2") }},
	{name: "empty log", class: "files", did: "gave the empty workbook of another week", expect: caught,
		place: `sheet sessions`, what: `no session`,
		edit: func(s *spoiltWeek) {
			for i := range s.book.Sheets {
				s.book.Sheets[i].Rows = nil
			}
		}},
	{name: "sheet renamed", class: "files", did: "renamed the sheet of tubes", expect: safe, place: `Tabelle2`,
		what: `sheet`,
		edit: func(s *spoiltWeek) { s.sheet("tubes").Name = "Tabelle2" }},
}

var mistakesInWords = []mistake{
	{name: "outcome", class: "words", did: "wrote 'all fine' for the outcome", expect: caught, place: `cell M2`,
		what: `outcome|word|stands`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "outcome", "all fine") }},
	{name: "storage", class: "words", did: "wrote 'shelf 3' for the storage", expect: caught, place: `cell G2`,
		what: `storage|word`,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "storage", "shelf 3") }},
	{name: "fridge", class: "words", did: "wrote fridge", expect: handled, edit: func(s *spoiltWeek) {
		s.set("tubes", 0,
			"storage", "Fridge")
	}},
	{name: "tick", class: "words", did: "ticked a check", expect: safe, place: `sheet checks, cell C2`,
		what: `passed|word`,
		edit: func(s *spoiltWeek) { s.set("checks", 0, "passed", "✓") }},
	{name: "typing error", class: "words", did: "wrote femal", whose: true, expect: caught, place: `cell E2`,
		what: `sex|word`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject sex", "femal") }},
	{name: "operator's name", short: "a name among the operators' codes is taken in silence", class: "words",
		did: "wrote the operator's name in full", expect: caught, place: `cell B2|0001\.json`,
		what: `operator`, edit: func(s *spoiltWeek) { s.set("sessions", 0, "operator", "Dr. Anna Kestrel") }},
}

var mistakesInOptions = []mistake{
	{name: "month first", class: "options", did: "typed --dates month-first for a day-first log", whose: true,
		expect: safe,
		place:  `cell [DFJ]\d|--dates`, what: `date|day`, edit: func(s *spoiltWeek) {
			s.args = append(s.args, "--dates",
				"month-first")
		}},
	{name: "no such zone", class: "options", did: "typed --zone Weir", expect: caught, place: `--zone Weir`,
		what: `no time zone`,
		edit: func(s *spoiltWeek) { s.args = append(s.args, "--zone", "Weir") }},
	{name: "another zone",
		class: "options", did: "typed another zone than that of study.json", whose: true, expect: caught,
		place: `zone|study\.json`, what: `zone`, edit: func(s *spoiltWeek) {
			s.args = append(s.args, "--zone",
				"Asia/Tokyo")
		}},
	{name: "column misspelt",
		class: "options", did: "typed --column Rum=- for Raum", expect: caught, place: `Rum`, what: `column|heading`,
		edit: func(s *spoiltWeek) { s.inCSV(); s.args = append(s.args, "--column", "Rum=-") }},
	{name: "recording of no session", class: "options",
		did:    "typed --recording for a session that the log does not have",
		expect: caught, place: `WEIR-V0777`, what: `session`,
		edit: func(s *spoiltWeek) { s.args = append(s.args, "--recording", "WEIR-V0001.csv=WEIR-V0777") }},
	{name: "wrong answer for a recording", class: "options", did: "typed --recording with another session than " +
		"its clock says",
		whose: true, expect: caught, place: `0002\.json`, what: `no recording`,
		edit: func(s *spoiltWeek) { s.args = append(s.args, "--recording", "WEIR-V0002.txt=WEIR-V0003") }},
	{name: "no such log", class: "options", did: "misspelt a second --from", expect: caught, place: `tubs\.csv`,
		what: `no file`,
		edit: func(s *spoiltWeek) { s.args = append(s.args, "--from", "tubs.csv") }},
}

var mistakesAfterwards = []mistake{
	{name: "corrected", class: "afterwards", did: "corrected a volume after the first fill", expect: handled,
		edit: func(s *spoiltWeek) {
			s.number("tubes", 0, "volume (mL)", "450")
			s.after = append(s.after, func(s *spoiltWeek) { s.number("tubes", 0, "volume (mL)", "500") })
		}},
	{name: "row deleted", class: "afterwards", did: "deleted a session's rows after the first fill", expect: caught,
		place: `WEIR-V0008|0008\.json`,
		what:  `no more|lost|log`, edit: func(s *spoiltWeek) {
			s.after = append(s.after, func(s *spoiltWeek) {
				s.dropRow("sessions", 7)
				s.dropRow("tubes", 15)
				s.dropRow("tubes", 14)
				s.dropRow("checks", 15)
				s.dropRow("checks", 14)
			})
		}},
	{name: "renumbered", class: "afterwards", did: "changed a session's number after the first fill", whose: true,
		expect: caught,
		place:  `sessions/0008\.json`, what: `number|same`, edit: func(s *spoiltWeek) {
			s.after = append(s.after, func(s *spoiltWeek) {
				for _, name := range []string{"sessions", "tubes", "checks"} {
					s.each(name, "session id", func(_ int, text string) string {
						return regexp.MustCompile(`V0008`).ReplaceAllString(text, "V0080")
					})
				}
			})
		}},
	{name: "other subject", class: "afterwards", did: "chose another subject after the first fill", whose: true,
		expect: caught,
		place:  `cell [CDE]2|0001\.json|WEIR-V0001`, what: `subject|birth`, edit: func(s *spoiltWeek) {
			s.after = append(s.after, func(s *spoiltWeek) { s.set("sessions", 0, "subject id", "LARK2-WEIR-002") })
		}},
	{name: "nothing changed", class: "afterwards", did: "ran fill again to be sure", expect: handled,
		edit: func(s *spoiltWeek) { s.after = append(s.after, func(*spoiltWeek) {}) }},
	{name: "new recording", class: "afterwards", did: "exchanged two recordings after the first fill", whose: true,
		expect: caught,
		place:  `WEIR-V000[23]\.txt`, what: `clock|named|differ`, edit: func(s *spoiltWeek) {
			s.after = append(s.after, func(s *spoiltWeek) { s.swapFiles("WEIR-V0002.txt", "WEIR-V0003.txt") })
		}},
}
