package deid

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/edf"
)

// A smuggler hides values of a roster in a collection, each glued to something,
// and asks whether anybody saw. It knows nothing of how the search works.
type smuggler struct {
	t      *testing.T
	r      *rand.Rand
	glue   func(r *rand.Rand, value string) string
	places []string // of the record: pointers; "edf ..." and "csv header" in recordings
}

// An insertion is one hidden value.
type insertion struct {
	session       int
	place, column string
	value, text   string
	found         string // "", "found", "refused"
}

// notSecret are columns whose values identify nobody: they leave, or may leave, on
// purpose (45 CFR 164.514(b)(2)(i) names neither sex nor country).
var notSecret = map[string]bool{"sex": true, "country": true}

var keptPlaces = []string{"/kit/lot", "/kit/unit", "/sampler/serial", "/sampler/firmware", "/tubes/0/position",
	"/tubes/0/barcode", "/subject/smoking_status"}

var allPlaces = slices.Concat(keptPlaces, []string{"/notes", "/notes", "/notes", "/recordings/0/content",
	"/interruptions/0/cause", "/interruptions/0/note",
	"edf annotation", "edf annotation", "edf label", "edf transducer", "edf prefilter", "csv header", "csv cell"})

// run makes n insertions, one a session, as often as it takes.
func (s *smuggler) run(n int) []insertion {
	s.t.Helper()
	const sessions = 24
	var all []insertion
	for seed := uint64(1); len(all) < n; seed++ {
		dir, truth := invented(s.t, demo.Options{Seed: seed, Subjects: 24, Sessions: sessions, RecordingSeconds: 5,
			NoEDF: true})
		batch := make([]insertion, 0, sessions)
		for i, session := range truth.Sessions {
			for try := 0; try < 200 && len(batch) <= i; try++ {
				if x, ok := s.draw(truth.Roster[s.r.IntN(len(truth.Roster))], i); ok && s.insert(dir, session, &x) {
					batch = append(batch, x)
				}
			}
		}
		if len(batch) != sessions {
			s.t.Fatalf("%d insertions", len(batch))
		}
		s.ask(dir, truth, batch)
		all = append(all, batch...)
	}
	return all[:n]
}

func (s *smuggler) draw(row map[string]string, session int) (insertion, bool) {
	columns := slices.DeleteFunc(slices.Sorted(maps.Keys(row)),
		func(c string) bool { return notSecret[c] || row[c] == "" })
	x := insertion{session: session, column: columns[s.r.IntN(len(columns))], place: s.places[s.r.IntN(len(s.places))]}
	x.value = row[x.column]
	x.text = s.glue(s.r, x.value)
	return x, x.text != "" && x.text != x.value
}

// insert writes x; false where the place cannot hold it at all.
func (s *smuggler) insert(dir string, session demo.Session, x *insertion) bool {
	s.t.Helper()
	file := filepath.Join(dir, filepath.FromSlash(session.File))
	data, err := os.ReadFile(file)
	if err != nil {
		s.t.Fatal(err)
	}
	var record map[string]any
	if err := json.Unmarshal(data, &record); err != nil {
		s.t.Fatal(err)
	}
	if record["interruptions"] == nil || len(record["interruptions"].([]any)) == 0 {
		record["interruptions"] = []any{map[string]any{"at": session.Started.Format(time.RFC3339), "cause": "",
			"note": ""}}
	}
	switch {
	case strings.HasPrefix(x.place, "/"):
		doc, _ := schema.ParseJSON(must(json.Marshal(record)))
		if doc.At(x.place) == nil { // a field that this record does not have
			return false
		}
		text := x.text
		if !slices.Contains(keptPlaces, x.place) {
			text = "valve checked, " + text + " then quiet breathing"
		}
		*doc.At(x.place) = schema.Node{Kind: schema.String, Text: text}
		return os.WriteFile(file, doc.Encode(), 0o600) == nil
	case strings.HasPrefix(x.place, "csv"):
		name := filepath.Join(dir, filepath.FromSlash(session.Recordings[0].File))
		csv, err := os.ReadFile(name)
		if err != nil {
			s.t.Fatal(err)
		}
		line := 0
		if x.place == "csv cell" {
			line = 2
		}
		lines := bytes.SplitAfter(csv, []byte("\n"))
		lines[line] = append([]byte(x.text), lines[line]...)
		return os.WriteFile(name, bytes.Join(lines, nil), 0o600) == nil
	}
	name := "recordings/hidden-" + fmt.Sprint(x.session) + ".edf"
	if !hideInEDF(filepath.Join(dir, filepath.FromSlash(name)), session.Started, x) {
		return false
	}
	record["recordings"] = append(record["recordings"].([]any),
		map[string]any{"file": name, "format": "edf", "content": "pressure"})
	return os.WriteFile(file, must(json.Marshal(record)), 0o600) == nil
}

func must(b []byte, err error) []byte {
	if err != nil {
		panic(err)
	}
	return b
}

// hideInEDF writes a recording of one data record; false if it cannot hold x.
func hideInEDF(file string, started time.Time, x *insertion) bool {
	h := &edf.Header{Patient: "X X X X", Recording: "Startdate X X X X", StartDate: started.Format("02.01.06"),
		StartTime: started.Format("15.04.05"),
		Reserved:  "EDF+C", Records: 1, RecordDuration: "1", Signals: []edf.Signal{
			{Label: "Pressure", Dimension: "Pa", PhysMin: "-100", PhysMax: "100", DigMin: "-32768", DigMax: "32767",
				Samples: 20},
			{Label: edf.AnnotationLabel, PhysMin: "-1", PhysMax: "1", DigMin: "-32768", DigMax: "32767", Samples: 100},
		}}
	text := ""
	most, into := 150, &text
	switch x.place {
	case "edf label":
		most, into = 16, &h.Signals[0].Label
	case "edf transducer":
		most, into = 80, &h.Signals[0].Transducer
	case "edf prefilter":
		most, into = 80, &h.Signals[0].Prefilter
	}
	if len(x.text) > most {
		return false
	}
	if *into = x.text; into != &text {
		for _, c := range []byte(x.text) {
			if c < 32 || c > 126 {
				return false
			}
		}
	}
	if strings.HasSuffix(x.text, " ") || !utf8.ValidString(x.text) {
		return false
	}
	tals := []edf.TAL{edf.NewTAL("+0", "", "")}
	if text != "" {
		tals = append(tals, edf.NewTAL("+0", "", text))
	}
	a, err := edf.EncodeTALs(200, tals...)
	if err != nil {
		return false
	}
	f, err := os.Create(file)
	if err != nil {
		return false
	}
	err = edf.Write(f, h, [][]byte{append(make([]byte, 40), a...)})
	return errors.Join(err, f.Close()) == nil
}

// ask marks what the program sees.
func (s *smuggler) ask(dir string, truth *demo.Truth, batch []insertion) {
	s.t.Helper()
	c, err := schema.Load(dir)
	if err != nil {
		s.t.Fatal(err)
	}
	defer c.Root.Close()
	refuse := func(problems []schema.Problem) {
		for i := range batch {
			session := truth.Sessions[batch[i].session]
			for _, p := range problems {
				if p.Severity == schema.Error && (p.File == session.File || p.File == session.Recordings[0].File ||
					p.File == "recordings/hidden-"+fmt.Sprint(batch[i].session)+".edf") {
					batch[i].found = "refused"
				}
			}
		}
		c.Sessions = slices.DeleteFunc(c.Sessions, func(session *schema.Session) bool {
			return slices.ContainsFunc(batch, func(x insertion) bool {
				return x.found == "refused" &&
					truth.Sessions[x.session].File == session.File
			})
		})
	}
	refuse(c.Problems)
	var d *Draft
	for range 2 {
		var queries *schema.QueriesError
		if d, err = Treat(c, testKey()); errors.As(err, &queries) {
			refuse(queries.Problems)
		} else if err != nil {
			s.t.Fatal(err)
		}
	}
	if err != nil {
		s.t.Fatal(err)
	}
	problems, err := d.CheckRecordings(s.t.Context(), nil)
	if err != nil {
		s.t.Fatal(err)
	}
	list, err := d.Findings(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	refuse(problems)
	for i := range batch {
		x := &batch[i]
		if f, ok := c.Plan.Field(x.place); ok && f.Treatment.Kind == schema.Pseudonym && x.found == "" {
			x.found = "found" // nothing of it leaves, and so nobody is asked
		}
		if strings.HasPrefix(x.place, "edf ") && x.place != "edf annotation" && x.found == "" {
			h := &edf.Header{Signals: []edf.Signal{{Label: x.text}}}
			if h.KeepTechnical(); h.Signals[0].Label != x.text {
				x.found = "found" // nor of a text with any word that is not technical
			}
		}
		for _, f := range list {
			in := f.File == truth.Sessions[x.session].File && f.Pointer == x.place ||
				f.File == "recordings/hidden-"+fmt.Sprint(x.session)+".edf"
			if in && x.found == "" {
				x.found = "found"
			}
		}
	}
}

// summarise logs how many of each column and place were found, and those that were not.
func summarise(t *testing.T, all []insertion) (missed int) {
	t.Helper()
	type count struct{ found, refused, all int }
	by := map[string]*count{}
	total := count{}
	for _, x := range all {
		for _, key := range []string{"column " + x.column, "place " + x.place} {
			if by[key] == nil {
				by[key] = &count{}
			}
		}
		for _, c := range []*count{&total, by["column "+x.column], by["place "+x.place]} {
			c.all++
			switch x.found {
			case "found":
				c.found++
			case "refused":
				c.refused++
			}
		}
		if x.found == "" {
			t.Logf("missed: %s in %s: %q", x.column, x.place, x.text)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(by)) {
		t.Logf("%-34s found %4d, refused %4d, of %4d", key, by[key].found, by[key].refused, by[key].all)
	}
	t.Logf("found %d, refused %d, missed %d, of %d", total.found, total.refused, total.all-total.found-total.refused,
		total.all)
	return total.all - total.found - total.refused
}

// glued glues a value to letters, digits and marks, on one side or both.
func glued(r *rand.Rand, value string) string {
	pieces := []string{"x", "geb", "DOB", "ID", "Nr", "tube", "zz", "Q", "mit", "7", "00", "4471", "_", "#", "*",
		"~", "|", "+", "/", "\\", "^", "–", "“", "§", "=", "\"", "$", "%", "..", "--"}
	left, right := pieces[r.IntN(len(pieces))], pieces[r.IntN(len(pieces))]
	switch r.IntN(4) {
	case 0:
		return left + value
	case 1:
		return value + right
	}
	return left + value + right
}

// 1,016 values of the roster, from all its columns that identify somebody, touched by
// letters, digits and marks, in every place from which a text leaves.
func TestGluedValues(t *testing.T) {
	s := &smuggler{t: t, r: rand.New(rand.NewPCG(1016, 1)), glue: glued, places: allPlaces}
	all := s.run(1016)
	if missed := summarise(t, all); missed > 0 {
		t.Errorf("%d of %d leave unseen", missed, len(all))
	}
}

// The initials of a subject are asked about in that subject's record, and nowhere else.
func TestInitialsOfTheSubject(t *testing.T) {
	dir, truth := invented(t, demo.Small())
	own := truth.Roster[truth.Sessions[0].Row]
	first, _ := utf8.DecodeRuneInString(own["given_name"])
	last, _ := utf8.DecodeRuneInString(own["family_name"])
	initials := string(first) + string(last)
	for _, s := range truth.Sessions {
		edit(t, filepath.Join(dir, filepath.FromSlash(s.File)), `"notes": "`, `"notes": "`+initials+` coughed. `)
	}
	list := findings(t, treat(t, load(t, dir)), nil)
	n := 0
	for _, s := range truth.Sessions {
		found := slices.ContainsFunc(list, func(f leak.Finding) bool {
			return f.File == s.File && f.Pointer == "/notes" && f.Start == 0 && f.End == len(initials) &&
				f.Confidence == leak.Possible && f.Open()
		})
		if own := s.Row == truth.Sessions[0].Row; found != own {
			t.Errorf("%s of row %d: found %v; %+v", s.File, s.Row, found, list)
		} else if own {
			n++
		}
	}
	if n == 0 || n == len(truth.Sessions) {
		t.Fatalf("%d of %d records are the subject's", n, len(truth.Sessions))
	}
}

// bent writes a value as somebody might whose keyboard, export or haste bent it, and
// glues it into what such people write: file names, tags, other scripts, numbers
// that run on. A second set of ideas, made when the search was finished.
func bent(r *rand.Rand, value string) string {
	pick := func(list ...string) string { return list[r.IntN(len(list))] }
	switch r.IntN(8) {
	case 0:
		value = strings.ToUpper(value)
	case 1:
		value = strings.ToLower(value)
	case 2:
		value = strings.ReplaceAll(value, " ", pick("_", "", "-", "."))
	case 3:
		cut := r.IntN(len(value)) // something that cannot be seen, in the middle
		for cut < len(value) && !utf8.RuneStart(value[cut]) {
			cut++
		}
		value = value[:cut] + pick("\u00ad", "\u200b", "\u2060", "\U000e0041", "\ufe0f", "\u034f", "\u202e",
			"\x00") + value[cut:]
	case 4:
		var wide strings.Builder
		for _, c := range value {
			if '!' <= c && c <= '~' {
				c += 0xFEE0
			}
			wide.WriteRune(c)
		}
		value = wide.String()
	}
	switch r.IntN(9) {
	case 0:
		return "scan_" + value + "_v2.csv"
	case 1:
		return pick("名", "ж", "ß", "é", "Ω") + value + pick("名", "ж", "é", "")
	case 2:
		return pick("T", "v", "No", "nr.") + fmt.Sprint(r.IntN(1000)) + pick("", "_", ":") + value
	case 3:
		return value + pick("'s", "sche", "ova", "chen", "2nd", "ctrl", "Probe")
	case 4:
		return pick("<", "[", "{", "(", "»") + value + pick(">1", "]2", "}x", ")", "«")
	case 5:
		return value + "/" + value
	case 6:
		return pick("🙂", "→", "✓", "№", "µ", "°") + value + pick("🙂", "→", "²", "™")
	case 7:
		return "kpa" + value + "hz"
	}
	return fmt.Sprint(r.IntN(10)) + value + fmt.Sprint(r.IntN(10))
}

// The same as a stranger would try it.
func TestBentValues(t *testing.T) {
	s := &smuggler{t: t, r: rand.New(rand.NewPCG(2032, 2)), glue: bent, places: allPlaces}
	all := s.run(1016)
	missed := summarise(t, all)
	if missed*50 > len(all) {
		t.Errorf("%d of %d leave unseen", missed, len(all))
	}
}
