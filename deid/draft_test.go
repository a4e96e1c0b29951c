package deid

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

// The codes of a record's equipment are no identifiers in the record's texts. In a value
// that tubes.csv holds too, only the codes of its own row are none.
func TestDeclaredAt(t *testing.T) {
	const serial, own, other = "MRN-3041892", "MRN-3041893", "MRN-3041894"
	study := &schema.Study{Study: "LARK-2", Site: "WEIR"}
	d := &draft{c: &schema.Collection{Study: study}, searcher: testSearcher(true)}
	s := &treated{declared: leak.Declare("LARK-2", "WEIR", serial, own, other),
		tubes: []ClearedTube{{Barcode: own}, {Barcode: other, Position: own}}}
	excused := func(pointer, text string) bool {
		p := place{file: "sessions/1.json", pointer: pointer, text: text, declared: d.declaredAt(pointer, s)}
		return len(d.searcher.matches(&p, text)) == 0
	}
	for _, text := range []string{serial, own, other} {
		p := place{file: "sessions/1.json", text: text}
		if len(d.searcher.matches(&p, text)) == 0 {
			t.Fatalf("%s does not look like an identifier", text)
		}
	}
	for _, c := range []struct {
		pointer, text string
		want          bool
	}{
		{"/notes", serial, true}, {"/notes", own, true}, {"/notes", other, true}, {"/notes", "MRN-3041895", false},
		{"/fraction", serial, false}, {"/fraction", own, false},
		{"/tubes/0/storage", own, true}, {"/tubes/0/barcode", own, true}, {"/tubes/0/storage", other, false},
		{"/tubes/0/storage", serial, false}, {"/tubes/1/storage", other, true}, {"/tubes/1/storage", own, true},
		{"/tubes/2/storage", serial, true}, {"/tubes/x/storage", other, true}, // no rows of tubes.csv
	} {
		if got := excused(c.pointer, c.text); got != c.want {
			t.Errorf("%s at %s is excused: %v", c.text, c.pointer, got)
		}
	}
}

// What a record declares are the texts and numbers of its equipment and tubes.
func TestDeclared(t *testing.T) {
	doc, err := schema.ParseJSON([]byte(`{"kit":{"lot":"L1","unit":7},"sampler":{"serial":"","firmware":null},
		"subject":{"subject_id":"S-1"},"tubes":[{"barcode":"T1","position":1},{"barcode":true,"position":"B"},{}]}`))
	if err != nil {
		t.Fatal(err)
	}
	got := declared(&schema.Study{Study: "LARK-2", Site: "WEIR"}, doc)
	if !slices.Equal(got, []string{"LARK-2", "WEIR", "L1", "7", "T1", "1", "B"}) {
		t.Errorf("%q", got)
	}
}

// tubes.csv has the texts and numbers of a treated record, and "" for what does not leave.
func TestTubesOfRecord(t *testing.T) {
	doc, err := schema.ParseJSON([]byte(`{"fraction":"end-tidal","tubes":[{"barcode":"T1","position":1,"volume_ml":5e2,
		"storage":null},{"barcode":"T2","position":"B","storage":{"a":"b"}}]}`))
	if err != nil {
		t.Fatal(err)
	}
	want := []ClearedTube{{Barcode: "T1", Session: "P", Position: "1", Fraction: "end-tidal", VolumeML: "5e2"},
		{Barcode: "T2", Session: "P", Position: "B", Fraction: "end-tidal"}}
	if got := tubesOf("P", doc); !slices.Equal(got, want) {
		t.Errorf("%+v", got)
	}
}

// A decision to redact has an effect in free text, in a name and in a recording, and none in
// study.json nor in a field that is kept.
func TestCanRedact(t *testing.T) {
	d := &Draft{draft{c: &schema.Collection{Plan: planWith(t, `,
		"notes":{"type":"string","deid":"text","why":"w"},
		"list":{"type":"array","items":{"type":"object","additionalProperties":false,"properties":{
			"note":{"type":"string","deid":"text","why":"w"}}}}`)}}}
	for _, c := range []struct {
		file, pointer string
		want          bool
	}{
		{"study.json", "/contact", false}, {"study.json", "", false}, {"recordings/a.edf", "", true},
		{"sessions/1.json", "/notes", true}, {"sessions/1.json", "/fraction", false},
		{"sessions/1.json", "/session_id", false}, {"sessions/1.json", "/unknown", false},
		{"sessions/1.json", "/list/0/note", true}, {"sessions/1.json", "/list/9/note", true},
		{"sessions/1.json", "/list/10/note", true}, {"sessions/1.json", "/list/x/note", false},
		{"sessions/1.json", "/list/:/note", false}, {"sessions/1.json", "/list/.5/note", false},
		{"sessions/1.json", "/list//note", false}, {"sessions/1.json", "/tubes/0/storage", false},
	} {
		if got := d.CanRedact(leak.Finding{File: c.file, Pointer: c.pointer}); got != c.want {
			t.Errorf("%s%s: %v", c.file, c.pointer, got)
		}
	}
}

// Without a key findings have no id, and several of them are no collision.
func TestFindingsWithoutKey(t *testing.T) {
	dir, _ := invented(t, demo.Small())
	for _, name := range []string{"0001", "0002"} {
		file := filepath.Join(dir, "sessions", name+".json")
		edit(t, file, `"notes": "`, `"notes": "wrote to zofia.wasik@example.org, `)
	}
	d, err := Treat(load(t, dir), nil)
	if err != nil {
		t.Fatal(err)
	}
	list := findings(t, d, nil)
	if len(list) < 2 || slices.ContainsFunc(list, func(f leak.Finding) bool { return f.ID != "" }) {
		t.Errorf("%+v", list)
	}
}

// A recording that was missing from the folder when it was read keeps the record from
// leaving. A problem that the collection already lists is not repeated.
func TestReleaseAbsentRecording(t *testing.T) {
	for _, listed := range []bool{false, true} {
		dir, _ := invented(t, demo.Small())
		c := load(t, dir)
		c.Sessions[0].Recordings = nil
		want := []string{"treat.recording"}
		if listed {
			c.Problems = append(c.Problems, schema.Problem{Rule: "recording.missing", Severity: schema.Error})
			want = []string{"recording.missing"}
		}
		_, err := Release(treat(t, c), nil)
		var got []string
		for _, p := range Objections(err) {
			got = append(got, p.Rule)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// A record that fits no more once an identifier was taken out of it does not leave.
func TestReleaseProvesAgain(t *testing.T) {
	dir, _ := invented(t, demo.Small())
	c := load(t, dir)
	plan := string(c.Plan.Outgoing())
	d := treat(t, c)
	if _, err := Release(d, nil); err != nil {
		t.Fatal(err)
	}
	outgoing, err := schema.CompileOutgoing([]byte(strings.Replace(plan, `"session_id": {`,
		`"session_id": {"maxLength": 3, `, 1)))
	if err != nil {
		t.Fatal(err)
	}
	d.treater.outgoing = outgoing
	if _, err := Release(d, nil); err != nil {
		t.Fatalf("nothing was taken out: %v", err)
	}
	edit(t, filepath.Join(dir, "sessions", "0001.json"), `"notes": "`, `"notes": "wrote to zofia.wasik@example.org, `)
	d = treat(t, load(t, dir))
	d.treater.outgoing = outgoing
	_, err = Release(d, nil)
	if list := Objections(err); len(list) != 1 || list[0].Rule != "treat.outgoing" || list[0].Pointer != "/session_id" {
		t.Errorf("%v", err)
	}
}

// The last search looks at all that a person typed and that leaves, in kept fields as in text.
func TestWords(t *testing.T) {
	plan := planWith(t, `,
	"notes":{"type":"string","deid":"text","why":"w"}`)
	out, v := treatOne(t, plan, `{`+coreRecord+`,"notes":"one"}`)
	if len(v.faults) > 0 {
		t.Fatal(v.faults)
	}
	tr := &treater{plan: plan}
	again := &visit{Session: v.Session}
	tr.words(again, out)
	pointers := func(v *visit) (list []string) {
		for _, p := range v.places {
			list = append(list, p.pointer+" "+p.text)
		}
		slices.Sort(list)
		return list
	}
	if got, want := pointers(again), pointers(v); !slices.Equal(got, want) || len(got) == 0 {
		t.Errorf("%q, want %q", got, want)
	}
}

// What the searches of the finished bag object to names the file at the site, or the one of the
// bag that is made of none.
func TestObjections(t *testing.T) {
	for source, want := range map[string]string{"": "data/tubes.csv", "sessions/1.json": "sessions/1.json"} {
		for _, err := range []error{
			&RosterError{Hits: []RosterHit{{File: "tubes.csv", Source: source, Start: 3, End: 9, Column: "mrn"}}},
			&InspectionError{Findings: []leak.Finding{{File: "tubes.csv", Start: 3, End: 9, Class: "A"}},
				source: map[string]string{"tubes.csv": source}},
		} {
			list := Objections(err)
			if len(list) != 1 || list[0].File != want || list[0].Severity != schema.Error ||
				!strings.Contains(list[0].Message, "bytes 3 to 9") {
				t.Errorf("%q: %+v", source, list)
			}
		}
	}
	if list := Objections(errors.Join(&schema.QueriesError{Problems: []schema.Problem{{Rule: "a"}, {Rule: "b"}}})); len(
		list) != 2 {
		t.Errorf("%+v", list)
	}
	if Objections(nil) != nil || Objections(os.ErrNotExist) != nil {
		t.Error("an error of another kind objects")
	}
	if a, b := (&FindingsError{make([]leak.Finding, 1)}).Error(), (&FindingsError{make([]leak.Finding,
		2)}).Error(); !strings.HasPrefix(a, "a finding") || !strings.HasPrefix(b, "2 findings") {
		t.Errorf("%s; %s", a, b)
	}
}

// treatment.json says which bytes of a recording are masks, and they are.
func TestRemovedFromRecording(t *testing.T) {
	for column, place := range map[string]planting.Place{"family_name": planting.InAnnotation,
		"email": planting.InAnnotation} {
		dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
		in := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
		_, err := planting.Put(dir, planting.Identifier{Place: place, Session: truth.Sessions[in].File,
			Row: truth.Sessions[in].Row, Column: column})
		if err != nil {
			t.Fatal(err)
		}
		d := treat(t, load(t, dir))
		cleared, err := Release(d, decide(t, "redact", findings(t, d, nil)...))
		if err != nil {
			t.Fatal(err)
		}
		files := payload(t, cleared)
		l, err := ParseLedger(files["treatment.json"])
		if err != nil || len(l.Removed) == 0 {
			t.Fatalf("%+v, %v", l, err)
		}
		for _, r := range l.Removed {
			data := files[r.File]
			if r.Start >= r.End || r.End > int64(len(data)) || strings.Trim(string(data[r.Start:r.End]), "X") != "" ||
				data[r.Start-1] == 'X' || data[r.End] == 'X' {
				t.Errorf("%s: %+v is no mask", column, r)
			}
		}
	}
}

// The last search excuses a text that was settled, and not another one in its place.
func TestLastSearchExcuses(t *testing.T) {
	dir, _ := invented(t, demo.Small())
	d := treat(t, load(t, dir))
	s := d.sessions[0]
	doc, err := schema.ParseJSON(s.json)
	if err != nil {
		t.Fatal(err)
	}
	const text = "wrote to zofia.wasik@example.org"
	doc.At("/notes").Text = text
	for settled, ok := range map[string]bool{text: true, "leak test ok": false, "": false} {
		err := d.last(s, doc.Encode(), map[string]string{"/notes": settled})
		if open, found := errors.AsType[*FindingsError](err); found && len(open.Findings) > 0 == ok || !found && !ok {
			t.Errorf("settled as %q: %v", settled, err)
		}
	}
	if open, ok := errors.AsType[*FindingsError](d.last(s, doc.Encode(), nil)); !ok || len(open.Findings) == 0 {
		t.Error("what nobody settled is excused")
	}
}
