package main

import (
	"slices"
	"strings"

	"outbreath/schema/sheet"
)

func init() {
	mistakeTables = append(mistakeTables, mistakesInRows, mistakesInBarcodes, mistakesInSubjects, mistakesInRoster)
}

var mistakesInRows = []mistake{
	{name: "session row twice", class: "rows", did: "pasted a session's row twice", expect: safe,
		place: `row 3|cell A3|WEIR-V0001`, what: `twice|same|again|two`,
		edit: func(s *spoiltWeek) { s.copyRow("sessions", 0, 1) }},
	{name: "copied, number changed", class: "rows", did: "copied a session's row for the next visit and changed " +
		"only the number",
		whose: true, expect: caught, place: `WEIR-V0099|row 10|cell \w1[0-9]|0009\.json`,
		what: `tube|sampler|same|minutes|started`,
		edit: func(s *spoiltWeek) {
			s.copyRow("sessions", 0, 8)
			s.set("sessions", 8, "session id", "WEIR-V0099")
		}},
	{name: "copied, number not changed", class: "rows", did: "copied a row for another subject and forgot the " +
		"session's number",
		whose: true, expect: caught, place: `cell A\d+|row \d+|WEIR-V0001`, what: `twice|differ|same|two|more than one`,
		edit: func(s *spoiltWeek) {
			s.set("sessions", 1, "session id", "WEIR-V0001")
		}},
	{name: "tubes not moved", class: "rows", did: "a session has no tube: its rows carry the number of the one before",
		whose: true, expect: caught, place: `WEIR-V000[12]|000[12]\.json|cell [AC]\d`, what: `tube|position`,
		edit: func(s *spoiltWeek) {
			s.set("tubes", 2, "session id", "WEIR-V0001")
			s.set("tubes", 3, "session id", "WEIR-V0001")
		}},
	{name: "tubes of two sessions exchanged", class: "rows", did: "wrote the numbers of two sessions before each " +
		"other's tubes",
		whose: true, expect: caught, place: `WEIR-V000[12]|000[12]\.json|cell`, what: `session|before|after`,
		edit: func(s *spoiltWeek) {
			for r := range 2 {
				s.swap("tubes", r, "session id", r+2, "session id")
			}
		}},
	{name: "one column sorted", class: "rows", did: "sorted the subjects' column alone", whose: true, expect: caught,
		place: `cell C\d|\.json|WEIR-V`, what: `subject|birth|sex`,
		edit: func(s *spoiltWeek) { sortColumn(s, "sessions", "subject id") }},
	{name: "starts sorted", short: "asks whose a recording is, before it says that sessions end before they start",
		class: "rows", did: "sorted the column of starts alone", whose: true, expect: caught,
		place: `cell [JKL]\d|\.json|WEIR-V`, what: `start|end|before|after`,
		edit: func(s *spoiltWeek) { sortColumn(s, "sessions", "started at") }},
	{name: "numbers in reverse", class: "rows", did: "sorted the session numbers alone, downwards", whose: true,
		expect: caught, place: `WEIR-V|\.json|cell`, what: `session|clock|before|after`, edit: func(s *spoiltWeek) {
			sortColumn(s, "sessions", "session id")
			for i := range 4 {
				s.swap("sessions", i, "session id", 7-i, "session id")
			}
		}},
	{name: "rows in reverse", class: "rows", did: "sorted the whole sheet downwards", expect: handled,
		edit: func(s *spoiltWeek) { slices.Reverse(s.sheet("sessions").Rows) }},
	{name: "tube row twice", class: "rows", did: "pasted a tube's row twice", expect: safe,
		place: `row 3|cell \w3|LK07|0001\.json`, what: `twice|same|position|barcode`,
		edit: func(s *spoiltWeek) { s.copyRow("tubes", 0, 1) }},
	{name: "total", class: "rows", did: "put a total at the foot of the volumes", expect: caught,
		place: `sheet tubes, (cell|row) \w?18`,
		what:  `session|total|barcode|row`, edit: func(s *spoiltWeek) {
			s.addRow("tubes", "Total")
			s.number("tubes", 16, "volume (mL)", "7930")
		}},
	{name: "total without a word", class: "rows", did: "put a sum at the foot of the volumes", expect: caught,
		place: `sheet tubes, (cell|row) \w?18`, what: `session|barcode|row`, edit: func(s *spoiltWeek) {
			s.addRow("tubes")
			s.number("tubes", 16, "volume (mL)", "7930")
		}},
	{name: "note at the foot", class: "rows", did: "wrote 'sampler back from service' under the last row",
		expect: caught,
		place:  `sheet sessions, (cell|row) \w?10`, what: `session|row|number`,
		edit: func(s *spoiltWeek) { s.addRow("sessions", "sampler back from service") }},
	{name: "empty row", class: "rows", did: "left rows empty between the days", expect: handled,
		edit: func(s *spoiltWeek) {
			sh := s.sheet("sessions")
			sh.Rows = slices.Insert(sh.Rows, 4, make([]sheet.Cell, len(sh.Columns)))
		}},
	{name: "day headings", class: "rows", did: "wrote 'Tuesday' in a row of its own", expect: caught,
		place: `sheet sessions, (cell|row) \w?6`, what: `session|row`, edit: func(s *spoiltWeek) {
			s.copyRow("sessions", 0, 4)
			s.sheet("sessions").Rows[4] = make([]sheet.Cell, len(s.sheet("sessions").Columns))
			s.set("sessions", 4, "session id", "Tuesday")
		}},
	{name: "no session number", class: "rows", did: "left the session's number of a tube empty", whose: true,
		expect: caught, place: `sheet tubes, (cell|row) A?4`, what: `session`,
		edit: func(s *spoiltWeek) { s.set("tubes", 2, "session id", "") }},
	{name: "unknown session number", class: "rows", did: "wrote a number for a tube that no session has", whose: true,
		expect: caught, place: `sheet tubes, (cell|row) A?4|WEIR-V0222`, what: `session`,
		edit: func(s *spoiltWeek) { s.set("tubes", 2, "session id", "WEIR-V0222") }},
	{name: "session number with O", class: "rows", did: "typed the letter O in a tube's session number", whose: true,
		expect: safe, place: `sheet tubes, (cell|row) A?4|WEIR-VO002`, what: `session`,
		edit: func(s *spoiltWeek) { s.set("tubes", 2, "session id", "WEIR-VO002") }},
	{name: "session missing", class: "rows", did: "forgot one session, and not its tubes", expect: caught,
		place: `sheet tubes, cells A10, A11`, what: `session`, edit: func(s *spoiltWeek) { s.dropRow("sessions", 4) }},
	{name: "one tube missing", short: "a session with fewer tubes than all others is taken in silence", class: "rows",
		did: "forgot the second tube of a session", expect: caught,
		place: `WEIR-V0001|0001\.json`, what: `tube`, edit: func(s *spoiltWeek) { s.dropRow("tubes", 1) }},
	{name: "second heading", class: "rows", did: "copied the headings into the middle of the sheet", expect: safe,
		place: `sheet sessions, (cell|row) \w?6`, what: `heading|session`, edit: func(s *spoiltWeek) {
			s.copyRow("sessions", 0, 4)
			for i, c := range s.sheet("sessions").Columns {
				s.sheet("sessions").Rows[4][i] = textCell(c.Heading)
			}
		}},
}

func sortColumn(s *spoiltWeek, name, heading string) {
	var texts []string
	s.each(name, heading, func(_ int, text string) string { texts = append(texts, text); return text })
	slices.Sort(texts)
	s.each(name, heading, func(row int, _ string) string { return texts[row] })
}

var mistakesInBarcodes = []mistake{
	{name: "O for 0", class: "barcodes", did: "typed the letter O in a barcode", expect: caught,
		place: `cell B2|LK07-OOO1-A|0001\.json`,
		what:  `barcode`, edit: func(s *spoiltWeek) { s.set("tubes", 0, "barcode", "LK07-OOO1-A") }},
	{name: "digit missing", class: "barcodes", did: "typed a barcode with a digit too few", expect: caught,
		place: `cell B2|LK07-001-A|0001\.json`, what: `barcode|length|others`,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "barcode", "LK07-001-A") }},
	{name: "two scans in a cell", class: "barcodes", did: "scanned both tubes into one cell", expect: caught,
		place: `cell B2|0001\.json`, what: `barcode`, edit: func(s *spoiltWeek) {
			s.set("tubes", 0, "barcode",
				"LK07-0001-ALK07-0001-B")
		}},
	{name: "two scans, two lines", class: "barcodes", did: "scanned both tubes into one cell, with a line break",
		expect: caught,
		place:  `cell B2|0001\.json`, what: `barcode|line`,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "barcode", "LK07-0001-A\nLK07-0001-B") }},
	{name: "scanned twice", class: "barcodes", did: "scanned the first tube again for the second", expect: caught,
		place: `cell B3|LK07-0001-A|0001\.json`, what: `barcode|twice|two`,
		edit: func(s *spoiltWeek) { s.set("tubes", 1, "barcode", "LK07-0001-A") }},
	{name: "tube of another session", class: "barcodes", did: "scanned a tube of another session", whose: true,
		expect: caught,
		place:  `cell B\d|LK07-0002-A|000[12]\.json`, what: `barcode|twice|two`,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "barcode", "LK07-0002-A") }},
	{name: "no barcode", class: "barcodes", did: "forgot to scan a tube", expect: caught,
		place: `cell B2|row 2|0001\.json`,
		what:  `barcode`, edit: func(s *spoiltWeek) { s.set("tubes", 0, "barcode", "") }},
	{name: "both in A", class: "barcodes", did: "chose position A for both tubes", expect: caught,
		place: `cell C\d|0001\.json|WEIR-V0001`, what: `position`, edit: func(s *spoiltWeek) {
			s.set("tubes", 1,
				"position", "A")
		}},
	{name: "small letters", short: "a barcode in another case than all others is taken in silence", class: "barcodes",
		did: "the scanner had caps lock on: small letters", expect: caught,
		place: `cell B2|lk07-0001-a|0001\.json`, what: `barcode|letters`,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "barcode", "lk07-0001-a") }},
	{name: "spaces", class: "barcodes", did: "typed spaces around a barcode", expect: handled,
		edit: func(s *spoiltWeek) { s.set("tubes", 0, "barcode", " LK07-0001-A ") }},
	{name: "long dash", class: "barcodes", did: "autocorrect made a hyphen a dash", expect: caught,
		place: `cell B2|0001\.json`,
		what:  `barcode|dash|hyphen|character`, edit: func(s *spoiltWeek) {
			s.set("tubes", 0, "barcode",
				"LK07–0001-A")
		}},
	{name: "subject in the barcode", class: "barcodes", did: "scanned the wristband for a tube", whose: true,
		expect: caught,
		place:  `cell B2|0001\.json`, what: `barcode|subject`, edit: func(s *spoiltWeek) {
			s.set("tubes", 0, "barcode",
				"LARK2-WEIR-001")
		}},
	{name: "made a number", class: "barcodes", did: "the spreadsheet made a long barcode 4.74E+10", expect: caught,
		place: `cell B2`,
		what:  `digits|number|E\+`, edit: func(s *spoiltWeek) { s.set("tubes", 0, "barcode", "4.74E+10") }},
	{name: "barcode and position exchanged", class: "barcodes", did: "typed barcode and position in each other's cells",
		expect: caught,
		place:  `cell [BC]2|0001\.json`, what: `position|barcode`, edit: func(s *spoiltWeek) {
			s.swap("tubes", 0,
				"barcode", 0, "position")
		}},
	{name: "barcodes dragged", class: "barcodes", did: "dragged the first barcode down over all", whose: true,
		expect: caught,
		place:  `cell B\d|LK07-0001-A`, what: `barcode|twice|equal|same`,
		edit: func(s *spoiltWeek) { s.each("tubes", "barcode", func(int, string) string { return "LK07-0001-A" }) }},
}

var mistakesInSubjects = []mistake{
	{name: "wrong subject", class: "subjects", did: "chose the wrong subject", whose: true, expect: caught,
		place: `cell [CDE]2|0001\.json|WEIR-V0001`, what: `subject|birth|sex`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject id", "LARK2-WEIR-002") }},
	{name: "wrong subject in CSV", class: "subjects", did: "typed another subject's id in a CSV log", whose: true,
		expect: caught,
		place:  `line 2|0001\.json|WEIR-V0001`, what: `subject|birth|sex`,
		edit: func(s *spoiltWeek) { s.inCSV("WEIR-V0001;LARK2-WEIR-001", "WEIR-V0001;LARK2-WEIR-002") }},
	{name: "unknown subject", class: "subjects", did: "typed an id that the roster does not have", whose: true,
		expect: caught,
		place:  `cell C2|0001\.json|WEIR-V0001`, what: `roster`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject id", "LARK2-WEIR-091") }},
	{name: "id with O", class: "subjects", did: "typed the letter O in a subject's id", whose: true, expect: caught,
		place: `cell C2|0001\.json|LARK2-WEIR-OO1`, what: `roster|alike`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject id", "LARK2-WEIR-OO1") }},
	{name: "patient's number", class: "subjects", did: "typed the patient's number for the subject id", whose: true,
		expect: caught,
		place:  `cell C2|0001\.json`, what: `roster|number|subject`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject id", "MRN 30419047") }},
	{name: "patient's number in the notes", class: "subjects", did: "wrote the patient's number into the notes",
		expect: caught,
		place:  `cell U2|0001\.json /notes`, what: `likely|finding|number`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "notes", "see MRN 30419047") }},
	{name: "name in the notes", class: "subjects", did: "wrote the subject's name into the notes", expect: caught,
		place: `cell U2|0001\.json /notes`, what: `likely|finding|name`,
		edit: func(s *spoiltWeek) { s.set("sessions", 0, "notes", "Zofia was late") }},
	{name: "name for id", class: "subjects", did: "typed the family name for the subject id", whose: true,
		expect: caught,
		place:  `cell C3|0002\.json`, what: `roster|subject`, edit: func(s *spoiltWeek) {
			s.set("sessions", 1,
				"subject id", "O'Hallaghan")
		}},
	{name: "no subject", class: "subjects", did: "left the subject empty", whose: true, expect: caught,
		place: `cell C2|row 2|0001\.json|WEIR-V0001`,
		what:  `subject`, edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject id", "") }},
	{name: "id without zeros", class: "subjects", did: "typed LARK2-WEIR-1", whose: true, expect: safe,
		place: `cell C2|0001\.json`,
		what:  `roster|subject|zero`, edit: func(s *spoiltWeek) { s.set("sessions", 0, "subject id", "LARK2-WEIR-1") }},
	{name: "sex changed", class: "subjects", did: "chose the other sex in one row", whose: true, expect: caught,
		place: `cell E2|0001\.json|WEIR-V0001`, what: `sex`, edit: func(s *spoiltWeek) {
			s.set("sessions", 0,
				"subject sex", "male")
		}},
	{name: "sex in German", class: "subjects", did: "wrote weiblich and männlich", expect: safe, place: `cell E\d`,
		what: `weiblich|word|sex`,
		edit: func(s *spoiltWeek) {
			s.each("sessions", "subject sex", func(_ int, text string) string {
				return map[string]string{"female": "weiblich", "male": "männlich"}[text]
			})
		}},
	{name: "two subjects exchanged", class: "subjects", did: "exchanged the subjects of two sessions", whose: true,
		expect: caught,
		place:  `cell [CDE][23]|000[12]\.json`, what: `subject|birth|sex`,
		edit: func(s *spoiltWeek) { s.swap("sessions", 0, "subject id", 1, "subject id") }},
	{name: "postcode lost its zero", class: "subjects", did: "the spreadsheet made 03621 a number", expect: caught,
		place: `cell F5|0004\.json`,
		what:  `zero|postal`, edit: func(s *spoiltWeek) { s.number("sessions", 3, "subject postal code", "3621") }},
	{name: "all of one subject", class: "subjects", did: "copied the first subject's cells down to all rows",
		whose: true, expect: caught,
		place: `cell C|subject id|WEIR-V|\.json`, what: `birth date`, edit: func(s *spoiltWeek) {
			for _, h := range []string{"subject id", "subject birth date", "subject sex", "subject postal code"} {
				first := s.at("sessions", 0, h).Text
				s.each("sessions", h, func(int, string) string { return first })
			}
		}},
}

var mistakesInRoster = []mistake{
	{name: "not in the roster", class: "roster", did: "forgot to enter a subject in the roster", expect: caught,
		place: `LARK2-WEIR-001|WEIR-V0001|0001\.json|cell C\d`, what: `roster`,
		edit: func(s *spoiltWeek) { s.dropRow("roster", 0) }},
	{name: "id twice", class: "roster", did: "gave one id to two people", whose: true, expect: caught,
		place: `cell A[23]|row [23]|roster\.csv`,
		what:  `row above`, edit: func(s *spoiltWeek) { s.set("roster", 1, "subject id", "LARK2-WEIR-001") }},
	{name: "one person twice", class: "roster", did: "entered one person under two ids", whose: true, expect: caught,
		place: `row 7|cell \w7|roster\.csv`, what: `one person|same`, edit: func(s *spoiltWeek) {
			s.copyRow("roster", 0, 5)
			s.set("roster", 5, "subject id", "LARK2-WEIR-006")
		}},
	{name: "twins", class: "roster", did: "entered twins: same family name, birth date and street", expect: safe,
		place: `row 7|cell \w7|roster\.csv`, what: `one person|same|alike`, edit: func(s *spoiltWeek) {
			s.copyRow("roster", 0, 5)
			for h, text := range map[string]string{"subject id": "LARK2-WEIR-006", "given name": "Halina",
				"other names": "",
				"mrn":         "MRN 30419055", "national id": "900-00-1001", "email": "halina.wasik@example.org"} {
				s.set("roster", 5, h, text)
			}
		}},
	{name: "names exchanged", class: "roster", did: "typed given and family name in each other's columns",
		expect: harmless,
		edit:   func(s *spoiltWeek) { s.swap("roster", 0, "given name", 0, "family name") }},
	{name: "no id in the roster", class: "roster", did: "left the id of a person empty", whose: true, expect: caught,
		place: `sheet roster, (cell|row) A?2`, what: `subject id|id`, edit: func(s *spoiltWeek) {
			s.set("roster", 0,
				"subject id", "")
		}},
	{name: "birth dates shifted", class: "roster", did: "the roster's birth dates are a row lower", whose: true,
		expect: caught,
		place:  `roster|\.json|cell [DF]\d`, what: `birth`, edit: func(s *spoiltWeek) {
			for r := 4; r > 0; r-- {
				s.swap("roster", r, "birth date", r-1, "birth date")
			}
		}},
	{name: "sex in the roster", class: "roster", did: "chose the other sex in the roster", whose: true, expect: caught,
		place: `roster|\.json|cell E\d`, what: `sex`, edit: func(s *spoiltWeek) { s.set("roster", 0, "sex", "male") }},
	{name: "empty roster", class: "roster", did: "left the roster empty", expect: caught, place: `roster`,
		what: `empty|subject`,
		edit: func(s *spoiltWeek) { s.sheet("roster").Rows = nil }},
	{name: "roster in capitals", class: "roster", did: "typed a name in capitals", expect: harmless,
		edit: func(s *spoiltWeek) {
			s.each("roster", "family name", func(_ int, text string) string { return strings.ToUpper(text) })
		}},
}
