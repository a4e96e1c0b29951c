package main

import (
	"bytes"
	"strings"
)

const (
	inTreatment = "data/treatment.json"
	inSchema    = "data/session.schema.json"
	inTubes     = "data/tubes.csv"
	inFirst     = "data/handling.csv"
	inFigures   = "data/recordings/summary.json"
	codeForm    = `"[0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]"`
)

var alterations = []alteration{
	// values of a record
	{name: "a true day", in: "record", re: `("started_at":\s*")[^T]*`, with: "${1}2026-03-02"},
	{name: "the end in another year", in: "record", re: `("ended_at":\s*")\d{4}`, with: "${1}2020"},
	{name: "another second", in: "record", re: `("capped_at":\s*"[^"]*:\d\d:)\d\d`, with: "${1}07"},
	{name: "more thousandths", in: "record", re: `("started_at":\s*"[^"]*)"`, with: `${1}.123"`},
	{name: "thousandths of nothing", in: "record", re: `("started_at":\s*"[^"]*)"`, with: `${1}.000"`},
	{name: "the offset", in: "record", re: `("started_at":\s*"[^"]*)"`, with: `${1}-05:00"`},
	{name: "a small t in a time", in: "record", re: `("started_at":\s*"[^"]*)T`, with: "${1}t"},
	{name: "a volume with a decimal", in: "record", re: `("volume_ml":\s*\d+)`, with: "${1}.0"},
	{name: "a volume with an exponent", in: "record", re: `("volume_ml":\s*\d+)`, with: "${1}e0"},
	{name: "a volume with a thousandth", in: "record", re: `("volume_ml":\s*\d+)`, with: "${1}.001"},
	{name: "another height", in: "record", re: `("height_cm":\s*)\d+`, with: "${1}155"},
	{name: "another weight", in: "record", re: `("weight_kg":\s*)\d+`, with: "${1}55"},
	{name: "a birth date in a temperature", in: "record", re: `("room_c":\s*\d+)`, with: "${1}.19360302"},
	{name: "minus zero behind a number", in: "record", re: `("room_kpa":\s*\d+)`, with: "${1}.0e-0"},
	{name: "another band", in: "record", re: `("birth_date":\s*)"[^"]*"`, with: `${1}"0-4"`},
	{name: "a band of one year", in: "record", re: `("birth_date":\s*)"[^"]*"`, with: `${1}"77-77"`},
	{name: "another region", in: "record", re: `("postal_code":\s*)"[^"]*"`, with: `${1}"999"`},
	{name: "another sex", in: "record", re: `("sex":\s*)"[^"]*"`, with: `${1}"other"`},
	{name: "a name as a habit", in: "record", re: `("smoking_status":\s*)"[^"]*"`, with: `${1}"smith"`},
	{name: "another fraction", in: "record", re: `("fraction":\s*)"[^"]*"`, with: `${1}"airway"`},
	{name: "another lot", in: "record", re: `("lot":\s*)"[^"]*"`, with: `${1}"L2619"`},
	{name: "a longer firmware", in: "record", re: `("firmware":\s*"3.2.1)"`, with: `${1}.0"`},
	{name: "a check failed", in: "record", re: `("passed":\s*)true`, with: "${1}false"},
	{name: "another number of heatings", in: "record", re: `("cycles":\s*)\d+`, with: "${1}1936"},
	{name: "a letter of a barcode", in: "record", re: `("barcode":\s*")L`, with: "${1}l"},
	{name: "positions under other letters", in: "record", re: `("position":\s*")A`, with: "${1}a"},
	{name: "a note is longer", in: "record", re: `("content":\s*"[^"]*)"`, with: `${1}. Mrs Smith"`},
	{name: "a blank ends a text", in: "record", re: `("content":\s*"[^"]*)"`, with: `${1} "`},
	{name: "a zero-width space in a text", in: "record", re: `("content":\s*"CO2)`, with: "${1}\u200b"},
	{name: "a no-break space in a text", in: "record", re: `("content":\s*"CO2) `, with: "${1}\u00a0"},
	{name: "a Greek letter in a text", in: "record", re: `("content":\s*"C)O`, with: "${1}\u039f"},
	{name: "an id in base64 in a text", in: "record", re: `("content":\s*"[^"]*)"`, with: `${1} V0VJUi0wMDE"`},
	{name: "an id backwards in a text", in: "record", re: `("content":\s*"[^"]*)"`, with: `${1} 100-RIEW"`},
	{name: "a combining accent in a text", in: "record", re: `("content":\s*"CO2)`, with: "${1}\u0301"},
	// pseudonyms
	{name: "two subjects exchanged", do: swapped(`"subject_id":\s*` + codeForm)},
	{name: "two operators exchanged", do: swapped(`"operator":\s*` + codeForm)},
	{name: "two kits exchanged", do: swapped(`"unit":\s*` + codeForm)},
	{name: "two bands exchanged", do: swapped(`"birth_date":\s*"[^"]*"`)},
	{name: "two regions exchanged", do: swapped(`"postal_code":\s*"[^"]*"`)},
	{name: "two starts exchanged", do: swapped(`"started_at":\s*"[^"]*"`)},
	{name: "two serials exchanged", do: swapped(`"serial":\s*"[^"]*"`)},
	{name: "two sessions exchanged", do: exchanged("sessions/", ".json")},
	{name: "a code in small letters", in: "record", re: `("subject_id":\s*"[^"]*)[A-Z]`, with: "${1}a"},
	{name: "a code with another check character", in: "record", re: `("subject_id":\s*"[^"]*-)."`, with: `${1}*"`},
	{name: "the true id", in: "record", re: `("subject_id":\s*)"[^"]*"`, with: `${1}"WEIR-001"`},
	{name: "the true operator", in: "record", re: `("operator":\s*)"[^"]*"`, with: `${1}"op-kestrel"`},
	// the way a record is written
	{name: "a member twice", in: "record", re: `"sex":`, with: `"sex": "other", "sex":`},
	{name: "a member more", in: "record", re: `"sex":`, with: `"x": 1936, "sex":`},
	{name: "a member less", in: "record", re: `"smoking_status":\s*"[^"]*",\s*`, with: ""},
	{name: "members in another order", in: "record", re: `("study":\s*"[^"]*"),(\s*)("site":\s*"[^"]*")`,
		with: "$3,$2$1"},
	{name: "a blank behind a colon", in: "record", re: `"sex":`, with: `"sex": `},
	{name: "a tab before a comma", in: "record", re: `,`, with: "\t,"},
	{name: "an empty line behind a record", do: add("record", "", "\n")},
	{name: "blanks behind a record", do: add("record", "", "  \t \t")},
	{name: "a byte order mark before a record", do: add("record", "\ufeff", "")},
	{name: "a comment behind a record", do: add("record", "", "// 1936-03-02\n")},
	{name: "a second value behind a record", do: add("record", "", "{}\n")},
	{name: "a letter escaped", in: "record", re: `("study":\s*")L`, with: `${1}\u004c`},
	{name: "a solidus escaped", in: "record", re: `"recordings/`, with: `"recordings\/`},
	{name: "a name escaped", in: "record", re: `"sex":`, with: `"s\u0065x":`},
	{name: "a null for a value", in: "record", re: `("smoking_status":\s*)"[^"]*"`, with: "${1}null"},
	{name: "an empty list", in: "record", re: `("sex":)`, with: `"interruptions": [], $1`},
	// lists
	{name: "two tubes exchanged in the list", do: lines(inTubes, 1, 2)},
	{name: "two lines of the first exchanged", do: lines(inFirst, 1, 2)},
	{name: "a tube to analyse first", in: inFirst, re: `usual`, with: "first"},
	{name: "a comment in the list", do: add(inFirst, "", "# 2026-03-02\n")},
	{name: "a byte order mark before the tubes", do: add(inTubes, "\ufeff", "")},
	{name: "a cell in quotes", in: inTubes, re: `,A,`, with: `,"A",`},
	{name: "a blank in a cell", in: inTubes, re: `,A,`, with: ", A,"},
	{name: "a decimal in the list", in: inTubes, re: `,500,`, with: ",500.0,"},
	{name: "another volume in the list", in: inTubes, re: `,500,`, with: ",501,"},
	{name: "another storage in the list", in: inTubes, re: `refrigerated`, with: "frozen"},
	{name: "line ends of another system", do: renewed(inTubes, "\n", "\r\n")},
	{name: "one line end of another system", do: first(inTubes, "\n", "\r\n")},
	{name: "a column more", in: inTubes, re: `storage\n`, with: "storage,day\n"},
	{name: "an empty line behind the tubes", do: add(inTubes, "", "\n")},
	{name: "a line of the tubes twice", in: inTubes, re: `\n([^\n]+\n)`, with: "\n$1$1"},
	{name: "a line of the tubes less", in: inTubes, re: `\n[^\n]+\n`, with: "\n"},
	// treatment.json
	{name: "a count", in: inTreatment, re: `("values": )(\d)`, with: "${1}1${2}"},
	{name: "a reason", in: inTreatment, re: `("why": "[^"]*)"`, with: `${1} See 1936-03-02."`},
	{name: "the program", in: inTreatment, re: `("program": "[^"]*)"`, with: `${1} WEIR-001"`},
	{name: "a program's number as a date", in: inTreatment, re: `"program": "[^"]*"`,
		with: `"program": "outbreath 1936.03.02 go1.26"`},
	{name: "the key's name", in: inTreatment, re: `"key_id": "[^"]*"`, with: `"key_id": "0000-0000"`},
	{name: "a treatment", in: inTreatment, re: `"age-band 5"`, with: `"age-band 10"`},
	{name: "a risk", in: inTreatment, re: `"quasi"`, with: `"sensitive"`},
	{name: "the searched texts", in: inTreatment, re: `("searched": )\d+`, with: "${1}1936"},
	{name: "a caution", in: inTreatment, re: `A clean search`, with: "A clean  search"},
	{name: "a member more in the account", in: inTreatment, re: `"plan":`, with: `"x": 1, "plan":`},
	{name: "a blank in the account", in: inTreatment, re: `"plan":`, with: `"plan" :`},
	{name: "the recordings of the account", in: inTreatment, re: `("edf": )\d+`, with: "${1}2"},
	// the schema
	{name: "a description", in: inSchema, re: `"type":`, with: `"description": "Mrs Smith", "type":`},
	{name: "a comment of the schema", in: inSchema, re: `"type":`, with: `"$$comment": "1936-03-02", "type":`},
	{name: "another limit", in: inSchema, re: `"maximum":\s*200`, with: `"maximum": 201`},
	{name: "a word more", in: inSchema, re: `"female"`, with: `"female", "smith"`},
	{name: "a blank in the schema", in: inSchema, re: `"type":`, with: `"type":  `},
	// recordings
	{name: "a zero behind a figure", in: "csv", re: `(\n0(\.\d+)?,[^,]*)`, with: "${1}0"},
	{name: "a sign before a figure", in: "csv", re: `\n0`, with: "\n+0"},
	{name: "minus nought", in: "csv", re: `\n0`, with: "\n-0"},
	{name: "an exponent", in: "csv", re: `(\n0[^,]*,[^,]*)`, with: "${1}e0"},
	{name: "a last digit", in: "csv", re: `(\.\d*)([02468])\n`, with: "${1}1\n"},
	{name: "a line less", in: "csv", re: `\n[^\n]+\n$`, with: "\n"},
	{name: "a line more", in: "csv", re: `(\n[^\n]+\n)$`, with: "${1}1936.0302,0.1,0.1\n"},
	{name: "lines exchanged", do: lines("csv", 2, 3)},
	{name: "line ends of a recording", do: renewed("csv", "\n", "\r\n")},
	{name: "a blank before a figure", in: "csv", re: `,`, with: ", "},
	{name: "an empty line behind a recording", do: add("csv", "", "\n")},
	{name: "quotes in a recording", in: "csv", re: `\n([^,]*),`, with: "\n\"$1\","},
	{name: "two recordings exchanged", do: exchanged("recordings/", ".csv")},
	{name: "the patient", do: overwrite("edf", 8, "MRN-1936 F 02-MAR-1936 Smith")},
	{name: "the patient's sex", in: "edf", re: ` X X X`, with: " F X X"},
	{name: "the recording field", do: overwrite("edf", 88+22, " X op_kestrel X")},
	{name: "the start date", do: overwrite("edf", 168, "02.03.26")},
	{name: "the start time", do: overwrite("edf", 176, "09.09.09")},
	{name: "the reserved field", do: overwrite("edf", 192+6, "1936")},
	{name: "the reserved field of a signal", do: overwrite("edf", 256+3*224, "1936")},
	{name: "a label", do: overwrite("edf", 256, "CO3")},
	{name: "a transducer", do: overwrite("edf", 256+3*16+80, "Smith")},
	{name: "a prefilter", do: overwrite("edf", 256+3*(16+80+8+8+8+8+8), "LP:9Hz")},
	{name: "zeros before a limit", in: "edf", re: ` 327\.67 `, with: " 327.670"},
	{name: "a sign before the digital limit", in: "edf", re: `32767 `, with: "+32767"},
	{name: "the length of a data record", do: overwrite("edf", 244, "1.0")},
	{name: "the low bit of a sample", do: bit("edf", 256*4+10)},
	{name: "the low bit of the last pressure", do: bit("edf", 256*4+2*40-2)},
	{name: "an annotation", do: first("edf", "start\x14", "Smith\x14")},
	{name: "an annotation more", do: first("edf", "start\x14\x00", "start\x14\x00+1\x14x\x14\x00")},
	{name: "the onset of an annotation", do: first("edf", "+2\x14\x14\x00", "+2\x14\x14\x01")},
	{name: "words behind the annotations", do: overwrite("edf", -8, "1936")},
	{name: "bytes behind the recording", do: add("edf", "", "1936")},
	{name: "a figure of a recording", in: inFigures, re: `(\.\d)`, with: "${1}1"},
	{name: "the note beside the figures", in: inFigures, re: `reading\.`, with: "reading. Smith."},
	{name: "a blank in the figures", in: inFigures, re: `"note":`, with: `"note" :`},
	{name: "a recording's figures less", in: inFigures, re: `,\s*\{[^{}]*\}`, with: ""},
	// files
	{name: "a record less", do: gone("sessions/", ".json")},
	{name: "a recording less", do: gone("recordings/", ".csv")},
	{name: "no list of the first", do: gone("handling", ".csv")},
	{name: "a file more", do: func(u *unsealed) { u.files["data/roster.csv"] = []byte("subject_id\n") }},
	{name: "a recording more", do: func(u *unsealed) {
		n := u.plantedIn("csv")
		u.files[strings.Replace(n, "-1.csv", "-7.csv", 1)] = u.files[n]
	}},
	{name: "a record more", do: stored("record", "data/sessions/0000-0000-0000-0000-0.json")},
	{name: "a list of discrepancies", do: func(u *unsealed) {
		u.files["data/discrepancies.csv"] = []byte("barcode,statement\nLK07-0001-A,missing\n")
	}},
	{name: "a line more of bag-info", do: add("bag-info.txt", "", "Contact-Name: Smith\n")},
	{name: "another organisation", do: add("bag-info.txt", "Source-Organization: Smith\n", "")},
	{name: "another version of the bag", do: renewed("bagit.txt", "1.0", "0.97")},
	// around the bag
	{name: "a time in the archive",
		do: func(u *unsealed) { u.header = func(h []byte) { copy(h[136:], "15140000000") } }},
	{name: "an owner in the archive", do: func(u *unsealed) { u.header = func(h []byte) { copy(h[265:], "smith") } }},
	{name: "a mode in the archive", do: func(u *unsealed) { u.header = func(h []byte) { copy(h[100:], "0000600") } }},
	{name: "words at the end of a header",
		do: func(u *unsealed) { u.header = func(h []byte) { copy(h[500:], "1936") } }},
	{name: "words between files", do: func(u *unsealed) { u.padding = '7' }},
	{name: "a frame that is skipped", do: func(u *unsealed) {
		// RFC 8878, 3.1.2: the frame of a length of four bytes
		u.archive = func(b []byte) []byte { return append(b, "\x50\x2a\x4d\x18\x04\x00\x00\x001936"...) }
	}},
	{name: "a skipped frame before the archive", do: func(u *unsealed) {
		u.archive = func(b []byte) []byte { return append([]byte("\x50\x2a\x4d\x18\x04\x00\x00\x001936"), b...) }
	}},
	{name: "bytes behind the archive", do: func(u *unsealed) {
		u.archive = func(b []byte) []byte { return append(b, "1936"...) }
	}},
	{name: "a word more in the label", do: label("shipment.json", `"study":`, `"subject": "Smith", "study":`)},
	{name: "another study on the label", do: label("shipment.json", "LARK-2", "LARK-3")},
	{name: "a blank in the label", do: label("shipment.json", `"study":`, `"study" :`)},
	{name: "a name in READ-ME-FIRST", do: label("READ-ME-FIRST.txt", "\n", "\nFor Mrs Smith, born 1936-03-02.\n")},
	{name: "a blank in READ-ME-FIRST", do: label("READ-ME-FIRST.txt", "\n", " \n")},
}

// label changes a file that lies beside the archive.
func label(name, old, new string) func(*unsealed) {
	return func(u *unsealed) {
		u.outside = func(files map[string][]byte) {
			files[name] = bytes.Replace(files[name], []byte(old), []byte(new), 1)
		}
	}
}
