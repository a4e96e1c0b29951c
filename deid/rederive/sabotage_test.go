package rederive_test

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"outbreath/deid/rederive"
)

// A sabotage alters a bag; name says what.
type sabotage struct {
	name  string
	raw   bool // the bag is not signed again
	alter func(t *testing.T, s *scene, b bag) bag
}

// in alters the first file whose path begins and ends so, with f.
func in(name, begin, end string, f func(t *testing.T, s *scene, data string) string) sabotage {
	return sabotage{name, false, func(t *testing.T, s *scene, b bag) bag {
		i := b.find(t, 0, begin, end)
		b.put(i, []byte(f(t, s, string(b[i].data))))
		return b
	}}
}

// swap alters a text in the first record.
func swap(name, pattern, with string) sabotage {
	return in(name, "data/sessions/", ".json", func(t *testing.T, _ *scene, data string) string {
		return swapped(t, data, pattern, with)
	})
}

func swapped(t *testing.T, data, pattern, with string) string {
	t.Helper()
	re := regexp.MustCompile(pattern)
	at := re.FindStringIndex(data)
	if at == nil {
		t.Fatalf("nothing matches %s", pattern)
	}
	return data[:at[0]] + re.ReplaceAllString(data[at[0]:at[1]], with) + data[at[1]:]
}

// table alters a table with the plain replacement of its first match.
func table(name, file, pattern, with string) sabotage {
	return in(name, "data/"+file, "", func(t *testing.T, _ *scene, data string) string {
		return swapped(t, data, pattern, with)
	})
}

// at overwrites bytes of the EDF recording.
func at(name string, offset int, with string) sabotage {
	return in(name, "data/recordings/", ".edf", func(t *testing.T, _ *scene, data string) string {
		if offset < 0 {
			offset += len(data)
		}
		if data[offset:offset+len(with)] == with {
			t.Fatal("this changes nothing")
		}
		return data[:offset] + with + data[offset+len(with):]
	})
}

// records are alterations of what a record says.
var records = []sabotage{
	swap("a time a day off", `("started_at": "[0-9-]{9})[0-8]`, "${1}9"),
	swap("a time a second off", `("ended_at": "[^"]*:)([0-9])[0-9]`, "${1}${2}x"),
	in("dates unshifted", "data/sessions/", ".json", func(t *testing.T, s *scene, data string) string {
		return swapped(t, data, `"uncapped_at": "[0-9-]{10}`, `"uncapped_at": "`+
			s.col.Sessions[0].Started.Format("2006-01-02"))
	}),
	swap("an age instead of a band", `"birth_date": "[^"]*"`, `"birth_date": "47-47"`),
	swap("a band around the true age", `"birth_date": "[^"]*"`, `"birth_date": "45-51"`),
	swap("a birth date", `"birth_date": "[^"]*"`, `"birth_date": "1979-04-05"`),
	swap("another sex", `"sex": "(f?e?male|other|unknown)"`, `"sex": "unknown-$1"`),
	swap("a whole postal code", `"postal_code": "([^"]*)"`, `"postal_code": "${1}00"`),
	swap("a height that is not rounded", `"height_cm": ([0-9]+)`, `"height_cm": ${1}.5`),
	swap("a height as text", `"height_cm": ([0-9]+)`, `"height_cm": "$1"`),
	swap("a kept number written otherwise", `"volume_ml": ([0-9]+)`, `"volume_ml": ${1}.0`),
	swap("another subject", `"subject_id": "....`, `"subject_id": "0000`),
	swap("another check character", `("subject_id": "[^"]*-)[^"]`, "${1}_"),
	swap("another operator", `"operator": "....`, `"operator": "0000`),
	swap("another session", `"session_id": "....`, `"session_id": "0000`),
	swap("a word more in the notes", `("notes": "[^"]*)"`, "${1} Whitlock\""),
	swap("a note of a record number", `("notes": ")[^"]*"`, "${1}MRN 4471923\""),
	swap("a member that the plan does not name", `"sex":`, `"mrn": "4471923", "sex":`),
	swap("a member twice", `"sex": ("[^"]*")`, `"sex": $1, "sex": $1`),
	swap("a value gone", `\n *"outcome": "[^"]*",`, ""),
	swap("blanks between tokens", `"outcome": `, `"outcome":  `),
	swap("an escape for a letter", `"refrigerated"`, `"re\u0066rigerated"`),
	swap("members in another order", `("outcome": "[^"]*"),(\s*)("fraction": "[^"]*")`, "$3,$2$1"),
	swap("a tube more", `"tubes": \[`, `"tubes": [{"barcode": "LK07-9999"},`),
	swap("another name of a recording", `"file": "recordings/[^"]*"`, `"file": "recordings/trace-0001.csv"`),
	in("a byte behind the record", "data/sessions/", ".json", func(_ *testing.T, _ *scene, data string) string {
		return data + " "
	}),
	in("no JSON", "data/sessions/", ".json", func(_ *testing.T, _ *scene,
		data string) string {
		return data[:len(data)/2]
	}),
	{"two records exchanged", false, func(t *testing.T, _ *scene, b bag) bag {
		i, k := b.find(t, 0, "data/sessions/", ""), b.find(t, 1, "data/sessions/", "")
		a, c := b[i].data, b[k].data
		b.put(i, c)
		b.put(k, a)
		return b
	}},
	{"a record missing", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/sessions/", "")
		return slices.Delete(b, i, i+1)
	}},
	{"a record under the name of nobody", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/sessions/", "")
		e := entryOf("data/sessions/0000-0000-0000-0000-0.json", b[i].data)
		return slices.Insert(b, i, e)
	}},
	{"a record under the site's own name", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/sessions/", "")
		return slices.Insert(b, i, entryOf("data/sessions/WEIR-V0001.json", b[i].data))
	}},
}

// recordings are alterations of recordings, their names and their figures.
var recordings = []sabotage{
	in("a digit in a CSV recording", "data/recordings/", ".csv", func(t *testing.T, _ *scene, data string) string {
		return swapped(t, data, `\n([0-9.]+),([0-9.]+),`, "\n$1,${2}1,")
	}),
	in("a line more in a CSV recording", "data/recordings/", ".csv", func(_ *testing.T, _ *scene, data string) string {
		return data + "4471923,1,1\n"
	}),
	in("a line less in a CSV recording", "data/recordings/", ".csv", func(_ *testing.T, _ *scene, data string) string {
		return data[:strings.LastIndexByte(data[:len(data)-1], '\n')+1]
	}),
	in("another line end", "data/recordings/", ".csv", func(_ *testing.T, _ *scene, data string) string {
		return strings.Replace(data, "\n", "\r\n", 1)
	}),
	in("another column", "data/recordings/", ".csv", func(_ *testing.T, _ *scene, data string) string {
		return strings.Replace(data, "t_s", "t_S", 1)
	}),
	at("an EDF patient name", 8, "Whitlock"),
	at("an EDF patient's sex and birth date", 30, "F 05-APR-1979"),
	at("an EDF recording field", 88+12, "02"),
	at("an EDF technician", 88+24, "kestrel"),
	at("an EDF start date", 168, "31.12.99"),
	at("an EDF start time", 176, "23.59.59"),
	at("an EDF reserved field", 192+10, "4471923"),
	at("an EDF duration", 244, "9"),
	at("an EDF label", 256+8, "Whitlock"),
	at("EDF bytes behind the file's end", -1, "x"),
	{"EDF transducer", false, func(t *testing.T, _ *scene, b bag) bag { return inSignal(t, b, 16, 80, "by Tamsin") }},
	{"EDF prefiltering", false, func(t *testing.T, _ *scene, b bag) bag {
		return inSignal(t, b, 136, 80,
			"N:4471923Hz")
	}},
	{"EDF reserved of a signal", false, func(t *testing.T, _ *scene, b bag) bag {
		return inSignal(t, b, 224, 32,
			"79-04-05")
	}},
	{"EDF physical maximum", false, func(t *testing.T, _ *scene, b bag) bag {
		return inSignal(t, b, 112, 8,
			"447192")
	}},
	{"EDF digital minimum", false, func(t *testing.T, _ *scene, b bag) bag { return inSignal(t, b, 120, 8, "-19790") }},
	{"an EDF sample", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/recordings/", ".edf")
		ns, _ := strconv.Atoi(strings.TrimSpace(string(b[i].data[252:256])))
		b[i].data[256*(1+ns)+5] ^= 0x40
		return b
	}},
	{"an EDF annotation", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/recordings/", ".edf")
		k := bytes.LastIndex(b[i].data, []byte("\x14\x14\x00"))
		if k < 0 {
			t.Fatal("no annotation")
		}
		copy(b[i].data[k+3:], "+1\x14Tamsin\x14\x00")
		return b
	}},
	{"EDF bytes in the padding of annotations", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/recordings/", ".edf")
		b[i].data[len(b[i].data)-1] = 7
		return b
	}},
	{"a recording missing", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/recordings/", ".csv")
		return slices.Delete(b, i, i+1)
	}},
	{"two recordings exchanged", false, func(t *testing.T, _ *scene, b bag) bag {
		i, k := b.find(t, 0, "data/recordings/", ".csv"), b.find(t, 1, "data/recordings/", ".csv")
		a, c := b[i].data, b[k].data
		b.put(i, c)
		b.put(k, a)
		return b
	}},
	{"a recording under its old name", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/recordings/", ".csv")
		return slices.Insert(b, i+1, entryOf("data/recordings/trace-0001.csv", b[i].data))
	}},
	table("a note in the figures", "recordings/summary.json", "not a medical reading", "of Tamsin Whitlock"),
	table("a member more in the figures", "recordings/summary.json", `"seconds":`, `"mrn": 4471923, "seconds":`),
	table("a name in the figures", "recordings/summary.json", `"session": "....`, `"session": "0000`),
	table("a long number in the figures", "recordings/summary.json", `"samples": [0-9]+`, `"samples": 44719230000017`),
}

// inSignal overwrites a field of the first signal of the EDF recording.
func inSignal(t *testing.T, b bag, before, width int, with string) bag {
	t.Helper()
	i := b.find(t, 0, "data/recordings/", ".edf")
	ns, err := strconv.Atoi(strings.TrimSpace(string(b[i].data[252:256])))
	if err != nil {
		t.Fatal(err)
	}
	copy(b[i].data[256+before*ns:], fmt.Sprintf("%-*s", width, with))
	return b
}

// lists are alterations of the other files of the payload.
var lists = []sabotage{
	table("another barcode in tubes.csv", "tubes.csv", `\n[^,]+,`, "\nMRN4471923,"),
	table("another session in tubes.csv", "tubes.csv", `\n([^,]+),....`, "\n$1,0000"),
	table("another volume in tubes.csv", "tubes.csv", `,500,`, ",501,"),
	table("quotation marks in tubes.csv", "tubes.csv", `,500,`, `,"500",`),
	table("a column more in tubes.csv", "tubes.csv", `storage\n`, "storage,note\n"),
	in("a row more in tubes.csv", "data/tubes.csv", "", func(_ *testing.T, _ *scene, data string) string {
		return data + "LK99,,,,,\n"
	}),
	in("rows in another order", "data/tubes.csv", "", func(_ *testing.T, _ *scene, data string) string {
		rows := strings.SplitAfter(data, "\n")
		rows[1], rows[2] = rows[2], rows[1]
		return strings.Join(rows, "")
	}),
	table("another mark in handling.csv", "handling.csv", "(?m),(usual|first)$", ",Friday"),
	table("a column more in handling.csv", "handling.csv", `analyse\n`, "analyse,note\n"),
	{"a discrepancy of a known tube", false, func(t *testing.T, _ *scene, b bag) bag {
		return slices.Insert(b, 0, entryOf("data/discrepancies.csv",
			[]byte("barcode,kind,reason\nXX-1,missing,lost\n")))
	}},
	{"a discrepancy of another kind", false, func(t *testing.T, _ *scene, b bag) bag {
		return slices.Insert(b, 0, entryOf("data/discrepancies.csv", []byte("barcode,kind,reason\nXX-1,Tamsin,lost\n")))
	}},
	table("a description in the schema", "session.schema.json", `"description": "[^"]*"`, `"description": "of Tamsin"`),
	table("an example in the schema", "session.schema.json", `"type": "object",`,
		`"examples": ["Tamsin"], "type": "object",`),
	table("another pattern in the schema", "session.schema.json", `\{0,31\}`, "{0,99}"),
	table("a field dropped from the schema", "session.schema.json", `"sex"\n`, `"mrn"`+"\n"),
	table("another treatment", "treatment.json", `"treatment": "age-band 5"`, `"treatment": "keep"`),
	table("another reason in treatment.json", "treatment.json", `"why": "[^"]*"`, `"why": "because of Tamsin"`),
	table("another count", "treatment.json", `"values": [0-9]+`, `"values": 4471923`),
	table("another count of texts", "treatment.json", `"searched": [0-9]+`, `"searched": 1`),
	table("another key", "treatment.json", `"key_id": "....`, `"key_id": "0000`),
	table("another study", "treatment.json", `"study": "[^"]*"`, `"study": "TAMSIN"`),
	table("a caution more", "treatment.json", `"cautions": \[`, `"cautions": ["call Tamsin",`),
	table("a program that says more", "treatment.json", `"program": "outbreath`, `"program": "outbreath for Tamsin`),
	table("a place that was not settled", "treatment.json", `"settled": \[\]`,
		`"settled": [{"file": "tubes.csv", "pointer": "/1/0", "class": ""}]`),
	table("a mask that is none", "treatment.json", `"removed": \[\]`,
		`"removed": [{"file": "tubes.csv", "pointer": "", "start": 1, "end": 2}]`),
	table("a member more in treatment.json", "treatment.json", `"texts":`, `"subjects": "Tamsin", "texts":`),
	{"a file of another kind", false, func(t *testing.T, _ *scene, b bag) bag {
		return slices.Insert(b, 0, entryOf("data/roster.csv", []byte("subject_id\n")))
	}},
	{"tubes.csv missing", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/tubes.csv", "")
		return slices.Delete(b, i, i+1)
	}},
}

// archives are alterations of the bag around its payload.
var archives = []sabotage{
	header("a true time in the archive", func(e *entry) { e.header.ModTime = time.Unix(1764666000, 0) }),
	header("a part of a second", func(e *entry) { e.header.ModTime = time.Unix(315532800, 1) }),
	header("an owner", func(e *entry) { e.header.Uid = 1000 }),
	header("a group", func(e *entry) { e.header.Gid = 1000 }),
	header("an owner's name", func(e *entry) { e.header.Uname = "tamsin" }),
	header("a group's name", func(e *entry) { e.header.Gname = "ward7" }),
	header("a mode", func(e *entry) { e.header.Mode = 0o600 }),
	header("a link", func(e *entry) { e.header.Linkname = "tamsin" }),
	header("a device", func(e *entry) { e.header.Devminor = 7 }),
	header("a kind", func(e *entry) { e.header.Typeflag = '7' }),
	header("a folder of another name", func(e *entry) { e.header.Name = "TAMSIN/" + e.path }),
	header("a comment in the archive", func(e *entry) { e.header.PAXRecords = map[string]string{"comment": "Tamsin"} }),
	{"files in another order", false, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "data/sessions/", "")
		b[i], b[i+1] = b[i+1], b[i]
		return b
	}},
	{"a label more in bag-info.txt", true, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "bag-info.txt", "")
		b.put(i, append(b[i].data, "Contact-Name: Tamsin\n"...))
		return b
	}},
	{"a date in bag-info.txt", true, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "bag-info.txt", "")
		b.put(i, append([]byte("Bagging-Date: 2026-12-01\n"), b[i].data...))
		return b
	}},
	{"a comment in bagit.txt", true, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "bagit.txt", "")
		b.put(i, append(b[i].data, '\n'))
		return b
	}},
	{"a line more in the manifest", true, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "manifest-sha256.txt", "")
		b.put(i, append(b[i].data, strings.Repeat("0", 64)+"  data/Tamsin\n"...))
		return b
	}},
	{"a digest in capitals", true, func(t *testing.T, _ *scene, b bag) bag {
		i := b.find(t, 0, "manifest-sha256.txt", "")
		b.put(i, bytes.ToUpper(b[i].data))
		return b
	}},
	{"a tag file more", true, func(t *testing.T, _ *scene, b bag) bag {
		return append(b, entryOf("notes.txt", []byte("Tamsin\n")))
	}},
	{"no signature", true, func(t *testing.T, _ *scene, b bag) bag { return b[:len(b)-1] }},
}

// header alters the header of the first record.
func header(name string, f func(*entry)) sabotage {
	return sabotage{name, true, func(t *testing.T, _ *scene, b bag) bag {
		f(&b[b.find(t, 0, "data/sessions/", "")])
		return b
	}}
}

// Every alteration is found, and no message holds what was planted.
func TestSabotage(t *testing.T) {
	s := newScene(t, options, "keep", func(dir string) { notes(t, dir, "0001.json", "quiet, nothing to add") })
	holds(t, s)
	src := s.source(t)
	all := slices.Concat(records, recordings, lists, archives)
	if len(all) < 100 {
		t.Fatalf("only %d alterations", len(all))
	}
	names := map[string]bool{}
	for _, a := range all {
		if names[a.name] {
			t.Errorf("%s: twice", a.name)
		}
		names[a.name] = true
		t.Run(a.name, func(t *testing.T) {
			b := a.alter(t, s, s.bag.clone())
			if !a.raw {
				b = b.signed()
			}
			r := compare(t, src, b)
			if r.OK() || len(r.Mismatches) == 0 {
				t.Errorf("is not found")
			}
			if a.name != "no signature" {
				addsUp(t, r, b)
			}
			for _, m := range append(r.Mismatches, rederive.Mismatch{What: fmt.Sprint(r.NotTested)}) {
				text := strings.ToLower(m.File + m.Field + m.What)
				for _, planted := range []string{"tamsin", "whitlock", "4471923", "1979", "weir-v0001", "trace-0001"} {
					if strings.Contains(text, planted) {
						t.Errorf("a message holds what was planted: %+v", m)
					}
				}
			}
		})
	}
}
