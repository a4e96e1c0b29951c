package main

// The files that treat what leaves.
const (
	inShift     = "deid/shift.go"
	inPseudonym = "deid/pseudonym.go"
	inTreat     = "deid/treat.go"
	inSearch    = "deid/search.go"
	inEDF       = "deid/edf.go"
	inHeader    = "schema/edf/identity.go"
	inRecording = "deid/recording.go"
	inRelease   = "deid/release.go"
	inDraft     = "deid/draft.go"
	inLedger    = "deid/ledger.go"
	inHandling  = "deid/handling.go"
	inSummary   = "deid/summary.go"
	inOutgoing  = "schema/outgoing.go"
)

const (
	moved    = "date.AddDate(0, 0, -days)"
	derived  = "return key.Derive(purpose, study)"
	hashed   = "h := hmac.New(sha256.New, key[:])"
	shiftSum = "1 + int(binary.BigEndian.Uint64(mac[:8])%364)"
	macOfID  = "mac := p.mac(p.keyFor(purpose), canonical)"
	masking  = `strings.Repeat("X", cut.end-cut.start)`
	moving   = "moved, _ := movedDate(p.text[m.Start:m.End], p.shift, p.day)"
	shifting = "v.shift, err3 = t.names.ShiftDays(s.Subject)"
	naming   = "v.subject, err2 = t.names.Subject(s.Subject)"
)

var mutants = []mutant{
	{inShift, "shifted", "dates move forward", moved, "date.AddDate(0, 0, days)"},
	{inShift, "shifted", "dates move a day too far", moved, "date.AddDate(0, 0, -days-1)"},
	{inShift, "shifted", "dates move by months of 30 days", moved, "date.AddDate(0, -days/30, -days%30)"},
	{inShift, "shifted", "dates move by weeks only", moved, "date.AddDate(0, 0, -days/7*7)"},
	{inShift, "own", "the hour leaves as the whole clock", "return moved + \"T\" + rest[1:3], nil",
		"return moved + \"T\" + rest[1:9], nil"},
	{inShift, "own", "the hour is an hour of the next", "rest[1:3], nil", "rest[4:6], nil"},
	{inShift, "shifted", "the offset stays", `return rest[1 : 1+strings.IndexAny(rest[1:], "Zz+-")]`,
		"return rest[1:]"},
	{inShift, "shifted", "parts of seconds are cut", `return rest[1 : 1+strings.IndexAny(rest[1:], "Zz+-")]`,
		"return rest[1:9]"},
	{inShift, "shifted", "ages of 90 in a band of five", "if age >= 90 {", "if age >= 100 {"},
	{inShift, "shifted", "90 is in the band below", "if age >= 90 {", "if age > 90 {"},
	{inShift, "shifted", "bands begin at the age", "low := age / width * width", "low := age"},
	{inShift, "shifted", "bands are a year wider", "min(low+width-1, 89)", "min(low+width, 89)"},
	{inShift, "shifted", "the birthday is ignored", "\t\tage--", "\t\tage += 0"},
	{inShift, "own", "birth years of the oldest stay", "if ageAt(date, session) >= 89 {",
		"if ageAt(date, session) >= 189 {"},
	{inShift, "year-only", "seconds are cut, not rounded", "int64(math.Round(s))", "int64(math.Floor(s))"},
	{inShift, "own", "days are a second too long", ")/86_400, 10)", ")/86_401, 10)"},
	{inPseudonym, "shifted", "keys of zeros", derived, "return [32]byte{}"},
	{inPseudonym, "shifted", "the study is not in the keys", derived, `return key.Derive(purpose, "")`},
	{inPseudonym, "shifted", "another word in the keys", derived, `return key.Derive(purpose+"s", study)`},
	{inPseudonym, "shifted", "one key for all purposes", derived, "return key.Derive(keys.Subject, study)"},
	{inPseudonym, "shifted", "the key itself is used", derived, "return key.Bytes()"},
	{inPseudonym, "shifted", "the study in small letters", derived,
		"return key.Derive(purpose, strings.ToLower(study))"},
	{inPseudonym, "shifted", "a digest without key", hashed, "h := sha256.New(); _ = hmac.New"},
	{inPseudonym, "shifted", "a digest of key and id", hashed, "h := sha256.New(); _ = hmac.New; h.Write(key[:])"},
	{inPseudonym, "shifted", "subjects under the operators' key", "p.pseudonym(keys.Subject, id)",
		"p.pseudonym(keys.Operator, id)"},
	{inPseudonym, "shifted", "sessions under the subjects' key", "p.pseudonym(keys.Session, id)",
		"p.pseudonym(keys.Subject, id)"},
	{inTreat, "shifted", "operators under the subjects' key", "\treturn t.names.Code(purpose, id)",
		"\tif purpose == \"operator\" {\n\t\tpurpose = \"subject\"\n\t}\n\treturn t.names.Code(purpose, id)"},
	{inPseudonym, "shifted", "kits under the sessions' key", "p.pseudonym(keys.Purpose(kind), id)",
		"p.pseudonym(keys.Session, id)"},
	{inPseudonym, "own", "all kinds of code under one key", "p.pseudonym(keys.Purpose(kind), id)",
		`p.pseudonym("kit", id)`},
	{inPseudonym, "shifted", "spellings are different ids", "canonical, err := schema.Canonical(id)",
		"canonical, err := id, error(nil)"},
	{inPseudonym, "shifted", "a second pseudonym for ids in small letters", macOfID,
		"if strings.ToUpper(id) != id { canonical += \"x\" }; " + macOfID},
	{inPseudonym, "shifted", "other bits of the hash", "mac[:10]", "mac[10:20]"},
	{inPseudonym, "shifted", "the alphabet is turned round", `"0123456789ABCDEFGHJKMNPQRSTVWXYZ"`,
		`"ZYXWVTSRQPNMKJHGFEDCBA9876543210"`},
	{inPseudonym, "shifted", "the check character is constant", "string(keys.Check3736(body))", `"0"`},
	{inPseudonym, "shifted", "one shift for all", shiftSum, "17" + " + 0*int(binary.BigEndian.Uint64(mac[:8]))"},
	{inPseudonym, "shifted", "shifts of one day", shiftSum, "1 + int(binary.BigEndian.Uint64(mac[:8])%1)"},
	{inPseudonym, "shifted", "shifts of a week at most", shiftSum, "1 + int(binary.BigEndian.Uint64(mac[:8])%7)"},
	{inPseudonym, "shifted", "shifts of whole weeks", shiftSum, "7 + 7*int(binary.BigEndian.Uint64(mac[:8])%51)"},
	{inPseudonym, "shifted", "shifts begin at none", shiftSum, "int(binary.BigEndian.Uint64(mac[:8])%364)"},
	{inPseudonym, "shifted", "shifts from bytes the wrong way round", shiftSum,
		"1 + int(binary.LittleEndian.Uint64(mac[:8])%364)"},
	{inPseudonym, "shifted", "shifts from other bytes", shiftSum, "1 + int(binary.BigEndian.Uint64(mac[8:16])%364)"},
	{inPseudonym, "shifted", "shifts under the subjects' key", "p.mac(p.keyFor(keys.ShiftDay), canonical)",
		"p.mac(p.keyFor(keys.Subject), canonical)"},
	{inTreat, "shifted", "a shift for each session", shifting, "v.shift, err3 = t.names.ShiftDays(s.ID)"},
	{inTreat, "shifted", "no shift on Mondays", shifting, shifting + "; if s.Started.Weekday() == 1 { v.shift = 0 }"},
	{inTreat, "shifted", "a second pseudonym on odd days", naming,
		`v.subject, err2 = t.names.Subject(s.Subject + strings.Repeat("X", s.Started.Day()%2))`},
	{inTreat, "shifted", "sessions are named after more than their id", "t.names.Session(s.ID)",
		`t.names.Session(s.ID + "X")`},
	{inTreat, "shifted", "times move by half the shift", "text(shiftDate(s, v.shift, f.Treatment.Clock))",
		"text(shiftDate(s, v.shift/2, f.Treatment.Clock))"},
	{inTreat, "shifted", "tubes move less than their session", "text(shiftDate(s, v.shift, f.Treatment.Clock))",
		`text(shiftDate(s, v.shift-strings.Count(f.Path, "capped"), f.Treatment.Clock))`},
	{inTreat, "own", "the day without clock stays", "moveDay(v.day, v.shift)", "moveDay(v.day, 0)"},
	{inTreat, "own", "days from the session", "number(daysBetween(v.first, date), nil)",
		"number(daysBetween(v.day, date), nil)"},
	{inTreat, "own", "every session is the first", "daysBetween(v.first, v.day)", "daysBetween(v.day, v.day)"},
	{inTreat, "own", "days from the last session", "day.Before(first)", "day.After(first)"},
	{inTreat, "year-only", "the year before", "strconv.Itoa(v.Started.Year())", "strconv.Itoa(v.Started.Year()-1)"},
	{inTreat, "year-only", "seconds from the end", "elapsedSeconds(v.Started, at)", "elapsedSeconds(v.Ended, at)"},
	{inTreat, "shifted", "the age a year later", "age := ageAt(date, day)", "age := ageAt(date, day.AddDate(1, 0, 0))"},
	{inTreat, "shifted", "a digit more of the region", "\t\t\twidth = 3", "\t\t\twidth = 4"},
	{inTreat, "shifted", "a letter less of the region", "\t\twidth = 2", "\t\twidth = 1"},
	{inTreat, "shifted", "small areas stay", "if zip && slices", `if zip && prefix == "" && slices`},
	{inTreat, "shifted", "one small area is forgotten", "\t\"893\",", ""},
	{inTreat, "shifted", "rounded down", "half := big.NewRat(1, 2)", "half := big.NewRat(0, 1)"},
	{inTreat, "shifted", "the lightest stay", "n.Cmp(big.NewInt(int64(t.From))) < 0:",
		"n.Cmp(big.NewInt(int64(t.From))) < -1:"},
	{inTreat, "shifted", "the lightest get the upper end", "return strconv.Itoa(t.From), nil",
		"return strconv.Itoa(t.To), nil"},
	{inTreat, "shifted", "recordings are numbered from two", "strconv.Itoa(i+1) + \".\" + format",
		"strconv.Itoa(i+2) + \".\" + format"},
	{inTreat, "shifted", "one listed word becomes another", "case treatment.Kind == schema.Keep:\n",
		"case treatment.Kind == schema.Keep && n.Text == \"former\":\n" +
			"\t\treturn &schema.Node{Kind: n.Kind, Text: \"never\"}, nil\n\tcase treatment.Kind == schema.Keep:\n"},
	{inTreat, "year-only", "a dropped serial leaves", "if s.fieldGone {", `if s.fieldGone && s.name != "serial" {`},
	{inTreat, "shifted", "texts are not searched", "case schema.Text:\n\t\tv.search(n, f, pointer)",
		"case schema.Text:"},
	{inSearch, "shifted", "dates in notes stay", moving, "moved := p.text[m.Start:m.End]"},
	{inSearch, "shifted", "dates in notes move by another day", moving,
		"moved, _ := movedDate(p.text[m.Start:m.End], p.shift+1, p.day)"},
	{inSearch, "shifted", "the last letter of a redacted text in EDF stays", masking,
		`strings.Repeat("X", cut.end-cut.start-1) + text[cut.end-1:cut.end]`},
	{inSearch, "shifted", "the first letter of a redacted name stays", `token := "[removed: "`,
		`token := text[cut.start:cut.start+1] + "[removed: "`},
	{inSearch, "shifted", "names in notes are not certain", "(m.Confidence == leak.Sure || p.instead(m) != \"\")",
		"p.instead(m) != \"\""},
	{inSearch, "shifted", "all decisions are to keep", "f.Decision, f.Automatic = d.Action, false",
		`f.Decision, f.Automatic = "keep", false`},
	{inEDF, "shifted", "the true start date in EDF", "day.AddDate(0, 0, -r.shift)", "day.AddDate(0, 0, 0)"},
	{inEDF, "shifted", "texts in EDF are not redacted", "if done.text != text && copy(b[in:], done.text) != " +
		"len(text) {",
		"if done.text != text && len(done.text) != len(text) {"},
	{inEDF, "shifted", "a sample of EDF changes", "\te.ready = e.record\n",
		"\te.record[0] ^= 1\n\te.ready = e.record\n"},
	{inHeader, "shifted", "the patient field stays", "h.Patient = code + unknown", "h.Patient += \"\""},
	{inHeader, "shifted", "the recording field stays", `h.Recording = "Startdate " + day + unknown`, "_ = day"},
	{inHeader, "year-only", "the clock of EDF stays", `"01.01.85", "00.00.00")`, `"01.01.85", h.StartTime)`},
	{inRecording, "shifted", "EDF names the session for the subject", "subject: v.subject,", "subject: v.name,"},
	{inRecording, "shifted", "a digit of CSV changes", "c.check.Write(p[:n])",
		"c.check.Write(p[:n]); for i := 30; i < n; i++ { if p[i] == '7' { p[i] = '8'; break } }"},
	{inRelease, "shifted", "tubes in the order of the day", "\tsortTubes(c.tubes)", "\t_ = sortTubes"},
	{inRelease, "shifted", "no volume in the list of tubes", "t.VolumeML, t.Storage}", `"", t.Storage}`},
	{inRelease, "shifted", "a session is left out", "\t\tc.source[\"sessions/\"", "\t\tif i == 5 { c.files = " +
		"c.files[:len(c.files)-1] }\n\t\tc.source[\"sessions/\""},
	{inDraft, "shifted", "tubes name the operator", "Session: session, Position",
		`Session: value(record, "operator"), Position`},
	{inDraft, "shifted", "another name of the key", "d.keyID = KeyID(key, c.Study.Study)", `d.keyID = KeyID(key, "x")`},
	{inLedger, "shifted", "one value too many is counted", "d.treater.values[i].Load()})",
		"d.treater.values[i].Load() + 1})"},
	{inLedger, "shifted", "redactions count twice", "l.Texts.Redacted++", "l.Texts.Redacted += 2"},
	{inHandling, "shifted", "all but the newest come first", "newest.Sub(at) > d.halfHolding()", "newest.Sub(at) > 0"},
	{inHandling, "shifted", "ambient tubes are usual", `t.Storage == "ambient" ||`, ""},
	{inSummary, "shifted", "figures name the subject", "return r.leaves, s.name })", "return r.leaves, s.subject })"},
	{inOutgoing, "shifted", "the schema lets more of a region leave", "most := 3", "most := 4"},
	{"deid/generation.go", "shifted", "the withdrawn leave", "gone[s.Subject] = true", "gone[s.Subject] = false"},
	{"pack/tar.go", "shifted", "the archive tells another time", "tarTime = 315532800", "tarTime = 315536400"},
}
