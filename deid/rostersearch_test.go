package deid

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

// searchedWith returns the result of the roster search for a payload in pieces.
func searchedWith(t testing.TB, c *Cleared, files map[string][]byte, piece int) error {
	t.Helper()
	r, err := c.RosterSearch()
	if err != nil {
		t.Fatal(err)
	}
	return searchedBy(r, files, piece)
}

func searchedBy(r *RosterSearch, files map[string][]byte, piece int) error {
	i := NewInspection(demo.Study, demo.Site)
	i.roster = r
	for name, data := range files {
		w := i.File(name)
		for p := range slices.Chunk(data, piece) {
			w.Write(p)
		}
		w.Close()
	}
	return r.Err()
}

// Invented collections of every kind leave without a false alarm.
func TestRosterSearchOfClean(t *testing.T) {
	seeds := 40
	if testing.Short() {
		seeds = 4
	}
	for seed := range seeds {
		plan := schema.Builtin()[seed%len(schema.Builtin())]
		t.Run(fmt.Sprint(seed, plan), func(t *testing.T) {
			dir, _ := invented(t, demo.Options{Seed: uint64(seed), RecordingSeconds: 10, Subjects: 14 + seed,
				Sessions: 18 + seed})
			usePlan(t, dir, plan)
			c, err := Release(treat(t, load(t, dir)), nil)
			if err != nil {
				t.Fatal(err)
			}
			files := payload(t, c)
			for _, piece := range []int{777, 1 << 20} {
				if err := searchedWith(t, c, files, piece); err != nil {
					t.Error(err)
				}
			}
		})
	}
}

// A thousand recordings of noise and of curves hold no name by chance, also where
// record numbers are digits alone.
func TestRosterSearchOfRecordings(t *testing.T) {
	dir, _ := invented(t, demo.Options{RecordingSeconds: 10, Subjects: 300, Sessions: 4})
	col := load(t, dir)
	for i, row := range col.Roster.Rows {
		row["mrn"] = fmt.Sprint(10_000_000 + i*277_777)
	}
	c, err := Release(treat(t, col), nil)
	if err != nil {
		t.Fatal(err)
	}
	header := payload(t, c)[find(t, c, "recordings/", ".edf")][:1024]
	runs := 1000
	if testing.Short() {
		runs = 50
	}
	r, err := c.RosterSearch()
	if err != nil {
		t.Fatal(err)
	}
	for seed := range runs {
		rnd := rand.New(rand.NewPCG(uint64(seed), 1))
		edf, csv := slices.Clone(header), []byte("t_s,co2_kpa,pressure_pa\n")
		piece := 100 + rnd.IntN(1<<17)
		slow := 1 + rnd.Float64()*5000
		for i := range 4000 {
			v := int16(rnd.Uint32())
			if seed%2 == 0 {
				v = int16(30000*math.Sin(float64(i)/slow) + rnd.NormFloat64()*slow/50)
			}
			edf = binary.LittleEndian.AppendUint16(edf, uint16(v))
			if i%4 == 0 {
				csv = fmt.Appendf(csv, "%d,%d.%06d,%d\n", 10_000_000+i*277_777/4%83_000_000, v, rnd.IntN(1e6),
					rnd.IntN(1e8))
			}
		}
		if err := searchedBy(r, map[string][]byte{"recordings/a.edf": edf, "recordings/a.csv": csv},
			piece); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
	}
}

// find returns the first file of c with that beginning and end.
func find(t testing.TB, c *Cleared, prefix, suffix string) string {
	t.Helper()
	for _, f := range c.Files() {
		if strings.HasPrefix(f.Name, prefix) && strings.HasSuffix(f.Name, suffix) {
			return f.Name
		}
	}
	t.Fatalf("no %s*%s", prefix, suffix)
	return ""
}

// A value of the roster in any file is reported with its place and its column, without
// the value.
func TestRosterSearchOfPlanted(t *testing.T) {
	dir, _ := invented(t, demo.Options{RecordingSeconds: 10})
	col := load(t, dir)
	row := col.Roster.Rows[4]
	row["mrn"] = "30417788"
	c, err := Release(treat(t, col), nil)
	if err != nil {
		t.Fatal(err)
	}
	clean := payload(t, c)
	session, csv, edf := find(t, c, "sessions/", ".json"), find(t, c, "recordings/", ".csv"),
		find(t, c, "recordings/", ".edf")
	name, family := row["given_name"]+" "+row["family_name"], row["family_name"]
	const both = "given_name, family_name"
	for _, test := range []struct {
		what, file, value, column string
		old                       string // the value is put after this text
		lost                      int    // bytes after old that the value replaces
	}{
		{"a note", session, strings.ToUpper(name), both, `"notes": "`, 0},
		{"a family name", session, family, "family_name", `"notes": "`, 0},
		{"a record number", session, "30417788", "mrn", `"notes": "`, 0},
		{"a member's name", session, row["email"], "email", `"kit": {` + "\n    \"", 0},
		{"outside of all members", session, row["phone"], "phone", `{`, 0},
		{"a cell", "tubes.csv", row["subject_id"], "subject_id", "refrigerated,", 0},
		{"the handling list", "handling.csv", row["email"], "email", "analyse\n", 0},
		{"a reason in the plan", "treatment.json", name, both, `"why": "`, 0},
		{"a comment in the schema", "session.schema.json", row["street"], "street", `{`, 0},
		{"the figures", "recordings/summary.json", row["mrn"], "mrn", `"file": "`, 0},
		{"a remark in a recording", csv, name, both, "\n# ", 0},
		{"a telephone number in a recording", csv, row["phone"], "phone", "\n0.05,", 0},
		{"the header of a recording", csv, family, "family_name", "t_s,", 0},
		{"a transducer in EDF", edf, "(" + family + ")", "family_name", "infrared cell", len(family) + 2},
		{"samples", edf, name, both, "", len(name)},
		{"samples", edf, row["mrn"], "mrn", "", 8},
	} {
		t.Run(test.what, func(t *testing.T) {
			data := bytes.Replace(slices.Clone(clean[test.file]), []byte("\n0.10,"), []byte("\n# \n0.10,"), 1)
			if strings.HasPrefix(test.file, "tubes") {
				data = bytes.Replace(data, []byte("refrigerated"), []byte("refrigerated,"), 1)
			}
			at := 3001 // among the samples
			if test.old != "" {
				if at = bytes.Index(data, []byte(test.old)); at < 0 {
					t.Fatalf("%s has no %q: %.300s", test.file, test.old, data)
				}
				at += len(test.old)
			}
			bent := slices.Concat(data[:at], []byte(test.value), []byte(" "), data[at+test.lost:])
			if test.lost > 0 {
				bent = slices.Concat(data[:at], []byte(test.value), data[at+test.lost:])
			}
			for _, piece := range []int{1, 100, 4096, 1 << 20} {
				err := searchedWith(t, c, map[string][]byte{test.file: bent}, piece)
				found, ok := errors.AsType[*RosterError](err)
				if !ok {
					t.Fatalf("in pieces of %d: %v", piece, err)
				}
				if !slices.ContainsFunc(found.Hits, func(h RosterHit) bool {
					return h.File == test.file && h.Column == test.column &&
						strings.Contains(test.value, string(bent[h.Start:h.End])) && int(h.Start)-at < 2
				}) {
					t.Errorf("in pieces of %d: %+v", piece, found.Hits)
				}
				for _, secret := range []string{test.value, family, row["mrn"]} {
					if text := fmt.Sprint(err, found.Findings()); strings.Contains(strings.ToLower(text),
						strings.ToLower(secret)) {
						t.Errorf("the value is shown: %s", text)
					}
				}
			}
		})
	}
}

// Digits in a row of numbers, in a JSON number or in a pseudonym are nobody's.
func TestRosterSearchOfChance(t *testing.T) {
	dir, _ := invented(t, demo.Options{RecordingSeconds: 10})
	col := load(t, dir)
	row := col.Roster.Rows[3]
	row["mrn"], row["given_name"] = "30417788", "Mara"
	c, err := Release(treat(t, col), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		file, text string
		found      bool
	}{
		{"sessions/a.json", `{"a": "30417788"}`, true},
		{"sessions/a.json", `{"a\"": "30417788"}`, true},
		{"sessions/a.json", `{"a": 30417788}`, false},
		{"sessions/a.json", `{"a": "b\\\"", "c": 30417788}`, false},
		{"recordings/a.csv", "t_s,co2\n30417788,1\n", false},
		{"recordings/a.csv", "t_s,co2\n# 30417788\n", true},
		{"recordings/a.csv", "t_s,co2\n30417788 x\n", true},
		{"sessions/a.json", `{"a": "K8XS-MARA-FD6R-0001-C"}`, false},
		{"sessions/a.json", `{"a": "MARA"}`, true},
		{"sessions/a.json", `{"a": "K8XS-MARA"}`, true},
		{"recordings/a.edf", "0       K8XS-MARA-FD6R-0001-C X X X", false},
		{"recordings/a.edf", "0       X X X Mara", true},
		{"recordings/a.edf", strings.Repeat(" ", 600) + " Mara ", false}, // among the samples
		{"treatment.json", `{"why": "as Mara"}`, false},
		{"treatment.json", `{"why": "as Mara ` + row["family_name"] + `"}`, true},
	} {
		err := searchedWith(t, c, map[string][]byte{test.file: []byte(test.text)}, 7)
		if (err != nil) != test.found {
			t.Errorf("%s %q: %v", test.file, test.text, err)
		}
	}
}

// Where a person decided to keep a finding, it leaves, and there alone.
func TestRosterSearchOfKept(t *testing.T) {
	dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
	for _, place := range []planting.Place{planting.InNotes, planting.InAnnotation,
		planting.InKeptField} {
		s := truth.Sessions[0]
		for _, other := range truth.Sessions {
			if slices.ContainsFunc(other.Recordings, func(r demo.Recording) bool { return r.Format == "edf" }) {
				s = other
			}
		}
		if _, err := planting.Put(dir, planting.Identifier{Place: place, Session: s.File, Row: 4,
			Column: "family_name"}); err != nil {
			t.Fatal(err)
		}
	}
	d := treat(t, load(t, dir))
	dec := decide(t, "keep", findings(t, d, nil)...)
	c, err := Release(d, dec)
	if err != nil {
		t.Fatal(err)
	}
	files := payload(t, c)
	family := strings.ToLower(d.c.Roster.Rows[4]["family_name"])
	n := 0
	for _, data := range files {
		n += bytes.Count(bytes.ToLower(data), []byte(family))
	}
	if n < 3 {
		t.Fatalf("the name is in %d places", n)
	}
	if err := searchedWith(t, c, files, 4096); err != nil {
		t.Error(err)
	}
	for _, name := range []string{find(t, c, "sessions/", ".json"), find(t, c, "recordings/", ".edf"), "tubes.csv"} {
		bent := append(slices.Clone(files[name]), " "+d.c.Roster.Rows[4]["given_name"]+" "+family...)
		if err := searchedWith(t, c, map[string][]byte{name: bent}, 4096); err == nil {
			t.Errorf("%s: a second one passes", name)
		}
	}
}

// Where the first search is blind, this one still sees.
func TestRosterSearchBehindABlindOne(t *testing.T) {
	dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
	if _, err := planting.Put(dir, planting.Identifier{Place: planting.InNotes, Session: truth.Sessions[0].File,
		Row: 4, Column: "family_name"}); err != nil {
		t.Fatal(err)
	}
	col := load(t, dir)
	d, err := Treat(col, testKey())
	if err != nil {
		t.Fatal(err)
	}
	if len(findings(t, d, nil)) == 0 {
		t.Fatal("the first search does not see it either way")
	}
	roster := col.Roster
	col.Roster = &schema.Roster{Columns: roster.Columns}
	d, err = Treat(col, testKey())
	if err != nil {
		t.Fatal(err)
	}
	d.c.Roster = roster
	c, err := Release(d, nil)
	if err != nil {
		t.Fatal(err)
	}
	files := payload(t, c)
	found, ok := errors.AsType[*RosterError](searchedWith(t, c, files, 4096))
	if !ok || found.Hits[0].Column != "family_name" || found.Hits[0].Source != truth.Sessions[0].File {
		t.Errorf("%+v", found)
	}
}
