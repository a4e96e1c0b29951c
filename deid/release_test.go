package deid

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"outbreath/deid/leak"
	"outbreath/keys"
	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// invented writes an invented collection.
func invented(t testing.TB, o demo.Options) (dir string, truth *demo.Truth) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "collection")
	truth, err := demo.Write(dir, o)
	if err != nil {
		t.Fatal(err)
	}
	return dir, truth
}

// load reads a collection without problems.
func load(t testing.TB, dir string) *schema.Collection {
	t.Helper()
	c, err := schema.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Root.Close() })
	if len(c.Errors()) > 0 || len(c.Sessions) == 0 {
		t.Fatalf("%d sessions; %+v", len(c.Sessions), c.Errors())
	}
	return c
}

func treat(t testing.TB, c *schema.Collection) *Draft {
	t.Helper()
	d, err := Treat(c, testKey())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func findings(t testing.TB, d *Draft, dec *leak.Decisions) []leak.Finding {
	t.Helper()
	list, err := d.Findings(dec)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// payload opens and reads every file that was released.
func payload(t testing.TB, c *Cleared) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	for _, f := range c.Files() {
		r, err := f.Open()
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		data, err := io.ReadAll(r)
		if err != nil || int64(len(data)) != f.Size && f.Size != -1 {
			t.Fatalf("%s: %d of %d bytes, %v", f.Name, len(data), f.Size, err)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		files[f.Name] = data
	}
	if len(files) != len(c.Files()) || len(files) == 0 {
		t.Fatalf("%d names for %d files", len(files), len(c.Files()))
	}
	return files
}

// usePlan changes the plan in study.json.
func usePlan(t testing.TB, dir, plan string) {
	t.Helper()
	edit(t, filepath.Join(dir, "study.json"), `"plan": "shifted"`, `"plan": "`+plan+`"`)
}

func edit(t testing.TB, file, old, new string) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(data, []byte(old)) {
		t.Fatalf("nothing to change in %s", filepath.Base(file))
	}
	if err := os.WriteFile(file, bytes.Replace(data, []byte(old), []byte(new), 1), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestReleaseOfEveryPlan(t *testing.T) {
	for _, plan := range schema.Builtin() {
		t.Run(plan, func(t *testing.T) {
			dir, truth := invented(t, demo.Options{RecordingSeconds: 20})
			usePlan(t, dir, plan)
			c := load(t, dir)
			d := treat(t, c)
			if list := findings(t, d, nil); len(list) > 0 {
				t.Fatalf("the clean collection has findings: %+v", list)
			}
			if problems, err := broken(t, d); err != nil || len(problems) > 0 {
				t.Fatal(problems, err)
			}
			cleared, err := Release(d, nil)
			if err != nil {
				t.Fatal(err)
			}
			files := payload(t, cleared)
			if cleared.Sessions() != len(truth.Sessions) || cleared.Recordings() != len(truth.Sessions)+1 ||
				len(cleared.Tubes()) != 2*len(truth.Sessions) || cleared.Study() != c.Study {
				t.Errorf("%d sessions, %d recordings, %d tubes", cleared.Sessions(), cleared.Recordings(),
					len(cleared.Tubes()))
			}
			checkNames(t, cleared, truth)
			checkOutgoing(t, files)
			checkNobody(t, files, truth)
			checkTubes(t, files, truth)
			checkLedger(t, files, c, len(truth.Sessions))
			if again, err := Release(treat(t, load(t, dir)), nil); err != nil {
				t.Error(err)
			} else if diff := cmp.Diff(files, payload(t, again)); diff != "" {
				t.Errorf("the second release differs: %s", diff)
			}
		})
	}
}

func checkNames(t *testing.T, c *Cleared, truth *demo.Truth) {
	var names []string
	for _, f := range c.Files() {
		names = append(names, f.Name)
	}
	if !slices.IsSorted(names) {
		t.Error("the files are not ordered by name")
	}
	p := NewPseudonymiser(testKey(), demo.Study)
	want := []string{"handling.csv", "recordings/summary.json", "session.schema.json", "treatment.json", "tubes.csv"}
	for _, s := range truth.Sessions {
		name, err := p.Session(s.ID)
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, "sessions/"+name+".json")
		for i, r := range s.Recordings {
			want = append(want, fmt.Sprintf("recordings/%s-%d.%s", name, i+1, r.Format))
		}
	}
	slices.Sort(want)
	if diff := cmp.Diff(want, names); diff != "" {
		t.Error(diff)
	}
}

// checkOutgoing validates what leaves against the schema that leaves with it.
func checkOutgoing(t *testing.T, files map[string][]byte) {
	v, err := schema.CompileOutgoing(files["session.schema.json"])
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for name, data := range files {
		if !strings.HasPrefix(name, "sessions/") {
			continue
		}
		n++
		doc, err := schema.ParseJSON(data)
		if err != nil {
			t.Fatal(err)
		}
		if problems := v.Validate(name, doc); len(problems) > 0 {
			t.Errorf("%+v", problems)
		}
		for i, r := range doc.Member("recordings").Items {
			if file := r.Member("file").Text; files[file] == nil {
				t.Errorf("%s names recording %d, which is not there", name, i)
			}
		}
	}
	if n == 0 {
		t.Error("no record")
	}
}

// checkNobody looks for every value of the roster and every identifier in
// every byte that leaves.
func checkNobody(t *testing.T, files map[string][]byte, truth *demo.Truth) {
	values := map[string]bool{}
	for _, row := range truth.Roster {
		for column, v := range row {
			switch column {
			case "sex", "country": // they leave, or occur in the schema's words
			case "birth_date", "postal_code":
				if !bytes.Contains(files["treatment.json"], []byte(`"plan": "limited"`)) {
					values[v] = true
				}
			default:
				values[v] = true
			}
		}
	}
	for _, s := range truth.Sessions {
		values[s.ID], values[s.Operator], values[s.File] = true, true, true
		for _, r := range s.Recordings {
			values[r.File] = true
		}
	}
	for name, data := range files {
		low := bytes.ToLower(data)
		for v := range values {
			if bytes.Contains(low, bytes.ToLower([]byte(v))) || strings.Contains(name, v) {
				t.Errorf("%s holds %q", name, v)
			}
		}
	}
	if len(values) < 100 {
		t.Errorf("only %d values looked for", len(values))
	}
}

func checkTubes(t *testing.T, files map[string][]byte, truth *demo.Truth) {
	data := files["tubes.csv"]
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil || bytes.Contains(data, []byte("\r")) {
		t.Fatal(err)
	}
	// contract
	if !slices.Equal(rows[0], []string{"barcode", "session", "position", "fraction", "volume_ml", "storage"}) {
		t.Errorf("header %q", rows[0])
	}
	rows = rows[1:]
	if !slices.IsSortedFunc(rows, func(a, b []string) int { return strings.Compare(a[0], b[0]) }) {
		t.Error("not ordered by barcode")
	}
	var want []string
	for _, s := range truth.Sessions {
		want = append(want, s.Tubes...)
	}
	slices.Sort(want)
	var got []string
	for _, r := range rows {
		got = append(got, r[0])
		if files["sessions/"+r[1]+".json"] == nil {
			t.Errorf("tube of session %s, which is not there", r[1])
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func checkLedger(t *testing.T, files map[string][]byte, c *schema.Collection, sessions int) {
	l, err := ParseLedger(files["treatment.json"])
	if err != nil {
		t.Fatal(err)
	}
	if l.Study != demo.Study || l.Site != demo.Site || l.Plan != c.Plan.Name || len(l.KeyID) != 9 ||
		len(l.Cautions) == 0 ||
		l.Recordings != (RecordingLedger{sessions, 1, 0}) || l.Texts.Findings+l.Texts.Redacted+l.Texts.Kept != 0 ||
		l.Texts.Searched < 5*sessions {
		t.Errorf("%+v", l)
	}
	if len(l.Fields) != len(c.Plan.Fields) {
		t.Fatalf("%d fields for %d", len(l.Fields), len(c.Plan.Fields))
	}
	for i, f := range l.Fields {
		p := c.Plan.Fields[i]
		if f.Path != p.Path || f.Treatment != p.Treatment.String() || f.Why != p.Why || f.Risk != p.Risk {
			t.Errorf("%+v for %+v", f, p)
		}
		if want := map[bool]int64{true: int64(sessions),
			false: 2 * int64(sessions)}[!strings.Contains(f.Path, "*")]; p.Required &&
			!strings.HasPrefix(f.Path, "/interr") && !strings.HasPrefix(f.Path, "/recordings") && f.Values != want {
			t.Errorf("%s: %d values, want %d", f.Path, f.Values, want)
		}
	}
	if !bytes.Equal(l.Encode(), files["treatment.json"]) {
		t.Error("treatment.json does not come back")
	}
	for _, bad := range []string{"", "{}", `{"format":"outbreath-treatment-2"}`,
		string(files["treatment.json"]) + "x"} {
		if _, err := ParseLedger([]byte(bad)); err == nil {
			t.Errorf("%.40q is accepted", bad)
		}
	}
}

// A planted identifier stops the release; a decision, and nothing else, lets
// the rest go. In free text a sure one is taken out without a decision.
func TestPlanted(t *testing.T) {
	for _, test := range []struct {
		place     planting.Place
		column    string
		canRedact bool
	}{
		{planting.InNotes, "family_name", true},
		{planting.InNotes, "phone", true},
		{planting.InNotes, "mrn", true},
		{planting.InNotes, "email", true},
		{planting.InFileName, "family_name", true},
		{planting.InAnnotation, "email", true},
		{planting.InAnnotation, "family_name", true},
		{planting.InAnnotation, "given_name", true},
		{planting.InKeptField, "mrn", false},
	} {
		t.Run(string(test.place)+" "+test.column, func(t *testing.T) {
			dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
			in := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
			planted, err := planting.Put(dir, planting.Identifier{Place: test.place,
				Session: truth.Sessions[in].File, Row: truth.Sessions[in].Row, Column: test.column})
			if err != nil {
				t.Fatal(err)
			}
			d := treat(t, load(t, dir))
			list := findings(t, d, nil)
			if len(list) == 0 {
				t.Fatal("not found")
			}
			text, _ := json.Marshal(list)
			// the name of a file is its place
			if bytes.Contains(bytes.ToLower(text), bytes.ToLower([]byte(planted.Value))) &&
				test.place != planting.InFileName {
				t.Error("the findings hold the identifier")
			}
			for _, f := range list {
				if certain := test.place == planting.InNotes && f.Confidence == leak.Sure; f.Automatic != certain ||
					f.Open() == certain {
					t.Errorf("%+v", f)
				}
				if f.ID == "" || d.CanRedact(f) != test.canRedact {
					t.Errorf("%+v, can be redacted %v", f, d.CanRedact(f))
				}
				switch test.place {
				case planting.InFileName:
					if !strings.Contains(f.File[f.Start:f.End], planted.Value) &&
						!strings.Contains(planted.Value, f.File[f.Start:f.End]) {
						t.Errorf("%+v is not where it was planted", f)
					}
				default:
					if f.File != planted.File || f.Pointer != planted.Pointer || f.Start >= planted.End ||
						f.End <= planted.Start {
						t.Errorf("%+v is not where it was planted: %s %d to %d", f, planted.File, planted.Start,
							planted.End)
					}
				}
			}
			waiting := slices.DeleteFunc(slices.Clone(list), func(f leak.Finding) bool { return !f.Open() })
			var open *FindingsError
			undecided, err := Release(d, nil)
			switch {
			case len(waiting) > 0:
				if !errors.As(err, &open) || len(open.Findings) != len(waiting) ||
					strings.Contains(err.Error(), planted.Value) {
					t.Fatalf("released undecided: %v", err)
				}
			case err != nil:
				t.Fatal(err)
			default:
				checkNobody(t, payload(t, undecided), truth)
				if l, err := ParseLedger(payload(t, undecided)["treatment.json"]); err != nil ||
					l.Texts.Certain != len(list) || l.Texts.Redacted != len(list) {
					t.Errorf("%+v, %v", l.Texts, err)
				}
			}

			redact := decide(t, "redact", list...)
			cleared, err := Release(d, redact)
			if !test.canRedact {
				var queries *schema.QueriesError
				if !errors.As(err, &queries) || queries.Problems[0].Rule != "leak.redact" ||
					strings.Contains(err.Error(), planted.Value) {
					t.Fatalf("a kept field was redacted: %v", err)
				}
				if list := findings(t, d, redact); !list[0].Open() {
					t.Error("a decision without effect settled the finding")
				}
			} else {
				if err != nil {
					t.Fatal(err)
				}
				checkNobody(t, payload(t, cleared), truth)
				checkOutgoing(t, payload(t, cleared))
				l, err := ParseLedger(payload(t, cleared)["treatment.json"])
				if err != nil || l.Texts.Redacted != len(list) || l.Texts.Kept != 0 || l.Texts.Findings != len(list) {
					t.Errorf("%+v, %v", l.Texts, err)
				}
			}
			cleared, err = Release(d, decide(t, "keep", list...))
			if err != nil {
				t.Fatal(err)
			}
			files := payload(t, cleared)
			left := slices.ContainsFunc(cleared.Files(),
				func(f File) bool { return bytes.Contains(files[f.Name], []byte(planted.Value)) })
			if left == (test.place == planting.InFileName) {
				t.Errorf("kept, and in what leaves: %v", left)
			}

			// Without a key there is no id, no decision and no release.
			c := load(t, dir)
			blind, err := Treat(c, nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range findings(t, blind, decide(t, "keep", list...)) {
				if f.ID != "" || !f.Open() && !f.Automatic {
					t.Errorf("%+v", f)
				}
			}
			if _, err := Release(blind, decide(t, "keep", list...)); !errors.Is(err, errNoKey) {
				t.Errorf("released without a key: %v", err)
			}
		})
	}
}

// A key of another site makes other ids: no decision is carried over by chance.
func TestFindingIDIsKeyed(t *testing.T) {
	dir, truth := invented(t, demo.Small())
	if _, err := planting.Put(dir, planting.Identifier{Place: planting.InNotes, Session: truth.Sessions[0].File,
		Column: "family_name"}); err != nil {
		t.Fatal(err)
	}
	other, err := Treat(load(t, dir), keys.NewPseudonymKey([32]byte{9}))
	if err != nil {
		t.Fatal(err)
	}
	a, b := findings(t, treat(t, load(t, dir)), nil), findings(t, other, nil)
	if len(a) == 0 || len(a) != len(b) || a[0].ID == b[0].ID {
		t.Errorf("%+v, %+v", a, b)
	}
}

func TestStudyIsSearched(t *testing.T) {
	dir, truth := invented(t, demo.Small())
	edit(t, filepath.Join(dir, "study.json"), `"contact": "`,
		`"contact": "ask `+truth.Roster[0]["given_name"]+" "+truth.Roster[0]["family_name"]+", ")
	d := treat(t, load(t, dir))
	list := findings(t, d, nil)
	if len(list) == 0 || list[0].File != "study.json" || list[0].Pointer != "/contact" ||
		list[0].Action != "review" || d.CanRedact(list[0]) {
		t.Fatalf("%+v", list)
	}
	if _, err := Release(d, nil); !errors.As(err, new(*FindingsError)) {
		t.Error(err)
	}
	if _, err := Release(d, decide(t, "keep", list...)); err != nil {
		t.Error(err)
	}
}

// A collection with errors is not released, even if a caller forgets to ask.
func TestReleaseRefusesErrors(t *testing.T) {
	dir, _ := invented(t, demo.Small())
	edit(t, filepath.Join(dir, "sessions", "0002.json"), `"site": "WEIR"`, `"site": "OTHER"`)
	c, err := schema.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Root.Close()
	if len(c.Errors()) == 0 {
		t.Fatal("no error")
	}
	var queries *schema.QueriesError
	if _, err := Release(treat(t, c), nil); !errors.As(err, &queries) || len(queries.Problems) < len(c.Errors()) {
		t.Error(err)
	}
}

// Two spellings of one session would take each other's file name.
func TestSessionTwice(t *testing.T) {
	dir, truth := invented(t, demo.Small())
	edit(t, filepath.Join(dir, "sessions", "0002.json"), truth.Sessions[1].ID, strings.ToLower(truth.Sessions[0].ID))
	c, err := schema.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Root.Close()
	var queries *schema.QueriesError
	if _, err := Treat(c, testKey()); !errors.As(err, &queries) || queries.Problems[0].Rule != "session.twice" {
		t.Error(err)
	}
}

func TestTubesCSVRefusesFormulas(t *testing.T) {
	for _, bad := range []string{"=1", "+1+1", "-A1", "@x", "\tx", "\rx"} {
		for i := range 6 {
			row := []string{"a", "b", "c", "d", "e", "f"}
			row[i] = bad
			_, err := tubesCSV([]ClearedTube{{row[0], row[1], row[2], row[3], row[4], row[5], false}})
			if !errors.As(err, new(*schema.QueriesError)) {
				t.Errorf("%q in column %d: %v", bad, i, err)
			}
		}
	}
	got, err := tubesCSV([]ClearedTube{{"a,b", "s", `q"`, "x", "5e2", "1=2", false}})
	// RFC 4180, 2.6 and 2.7
	if want := "barcode,session,position,fraction,volume_ml,storage\n\"a,b\",s,\"q\"\"\",x,5e2,1=2\n"; err != nil ||
		string(got) != want {
		t.Errorf("%q, %v", got, err)
	}
}

// A finding of the last search stops the release, regardless of the first search.
func TestLastSearch(t *testing.T) {
	dir, truth := invented(t, demo.Small())
	d := treat(t, load(t, dir))
	s := d.sessions[0]
	s.json = bytes.Replace(s.json, []byte(`"notes": "`), []byte(`"notes": "`+truth.Roster[0]["family_name"]+" "), 1)
	if _, err := Release(d, nil); !errors.As(err, new(*FindingsError)) {
		t.Errorf("released: %v", err)
	}
}

// For random records of the default schema, no identifier that the plan drops,
// pseudonymises, shortens or moves is in the payload, and the payload fits its schema.
func TestNothingComesThrough(t *testing.T) {
	for _, name := range schema.Builtin() {
		plan, err := schema.LoadPlan(name)
		if err != nil {
			t.Fatal(err)
		}
		rapid.Check(t, func(t *rapid.T) {
			record, secrets := randomRecord(t, plan)
			doc, err := schema.ParseJSON(record)
			if err != nil {
				t.Fatal(err)
			}
			if problems := plan.Validate("r.json", doc); len(problems) > 0 {
				t.Fatalf("the generator made a record that is not valid: %+v", problems)
			}
			started, err := parseTime(doc.Member("started_at").Text)
			if err != nil {
				t.Fatal(err)
			}
			c := &schema.Collection{
				Study: &schema.Study{Study: "LARK-2", Site: "WEIR", Contact: "x"}, Plan: plan, Roster: &schema.Roster{},
				Sessions: []*schema.Session{{
					File: "sessions/1.json", Doc: doc, ID: doc.Member("session_id").Text,
					Subject: doc.At("/subject/subject_id").Text, Started: started,
				}},
			}
			d, err := Treat(c, testKey())
			if err != nil {
				t.Fatal(err)
			}
			list, err := d.Findings(nil)
			if err != nil {
				t.Fatal(err)
			}
			var lines []byte
			for _, f := range list {
				lines = append(lines, leak.Decision{ID: f.ID, Action: "keep", Reason: "r", Who: "w"}.Format()...)
			}
			dec, err := leak.ParseDecisions(lines)
			if err != nil {
				t.Fatal(err)
			}
			cleared, err := Release(d, dec)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range cleared.Files() {
				r, err := f.Open()
				if err != nil {
					t.Fatal(err)
				}
				data, err := io.ReadAll(r)
				if err != nil {
					t.Fatal(err)
				}
				for _, secret := range secrets {
					if contains(data, secret) {
						t.Fatalf("%s: %q is in %s", name, secret, data)
					}
				}
			}
		})
	}
}

var figures = regexp.MustCompile(`^[0-9]+$`)

// contains reports whether data holds secret in any case. A postal code of digits counts
// only as a whole number: the schema has a limit of 100000.
func contains(data []byte, secret string) bool {
	if figures.MatchString(secret) {
		return regexp.MustCompile(`(^|[^0-9])` + secret + `($|[^0-9])`).Match(data)
	}
	return bytes.Contains(bytes.ToLower(data), bytes.ToLower([]byte(secret)))
}

// randomRecord returns a valid record, and those of its values that must not leave under
// plan.
func randomRecord(t *rapid.T, plan *schema.Plan) (record []byte, secrets []string) {
	gone := func(path string) bool {
		f, ok := plan.Field(path)
		if !ok {
			t.Fatal("no field " + path)
		}
		switch f.Treatment.Kind {
		case schema.Keep, schema.Text, schema.Round:
			return false
		}
		return true
	}
	secret := func(path, value string) string {
		if gone(path) {
			secrets = append(secrets, value)
		}
		return value
	}
	id := rapid.StringMatching(`[A-Za-z]{3,6}[-_/ ][A-Za-z0-9]{6,10}`)
	word := rapid.StringMatching(`[a-z]{8,12} [a-z]{8,12}`)
	when := func(path, label string) string {
		s := fmt.Sprintf("%04d-%02d-%02dT%02d:%02d:%02d%s%s", rapid.IntRange(1990, 2090).Draw(t, label+" year"),
			rapid.IntRange(1, 12).Draw(t, label+" month"),
			rapid.IntRange(1, 28).Draw(t, label+" day"), rapid.IntRange(0, 23).Draw(t, label+" hour"),
			rapid.IntRange(0, 59).Draw(t, label+" minute"),
			rapid.IntRange(0, 59).Draw(t, label+" second"),
			rapid.SampledFrom([]string{"", ".5", ".123"}).Draw(t, label+" fraction"),
			rapid.SampledFrom([]string{"Z", "+02:00", "-05:00", "+14:00", "+05:45"}).Draw(t, label+" offset"))
		secret(path, s)
		return s
	}
	maybe := func(m map[string]any, name string, v any) {
		if rapid.Bool().Draw(t, "has "+name) {
			m[name] = v
		}
	}
	subject := map[string]any{
		"subject_id": secret("/subject/subject_id", id.Draw(t, "subject")),
		"birth_date": secret("/subject/birth_date", fmt.Sprintf("%04d-%02d-%02d",
			rapid.IntRange(1880, 1989).Draw(t, "born"), rapid.IntRange(1, 12).Draw(t, "born month"),
			rapid.IntRange(1, 28).Draw(t, "born day"))),
		"sex": rapid.SampledFrom([]string{"female", "male", "other", "unknown"}).Draw(t, "sex"),
	}
	maybe(subject, "postal_code", secret("/subject/postal_code",
		rapid.StringMatching(`[1-9][0-9]{4}|[A-Z]{2}[0-9]{2} [0-9][A-Z]{2}`).Draw(t, "postal code")))
	maybe(subject, "smoking_status", "former")
	maybe(subject, "height_cm", float64(rapid.IntRange(300, 2600).Draw(t, "height"))/10)
	maybe(subject, "weight_kg", rapid.IntRange(1, 400).Draw(t, "weight"))
	r := map[string]any{
		"session_id": secret("/session_id", id.Draw(t, "session")), "study": "LARK-2", "site": "WEIR",
		"operator": secret("/operator", id.Draw(t, "operator")), "subject": subject,
		"started_at": when("/started_at", "start"), "ended_at": when("/ended_at", "end"), "outcome": "complete",
		"fraction": "whole",
		"kit": map[string]any{"lot": "L" + rapid.StringMatching(`[0-9]{3}`).Draw(t, "lot"),
			"unit": rapid.IntRange(0, 99).Draw(t, "unit")},
		"sampler": map[string]any{"serial": secret("/sampler/serial",
			"serial-7"+rapid.StringMatching(`[A-Za-z]{9,16}`).Draw(t, "serial")), "firmware": "3.2",
			"checks": []any{map[string]any{"name": "flow", "passed": rapid.Bool().Draw(t, "passed")}}},
	}
	var tubes []any
	for i := range rapid.IntRange(1, 3).Draw(t, "tubes") {
		tubes = append(tubes, map[string]any{
			"barcode": fmt.Sprintf("T%04d", i), "position": i, "uncapped_at": when("/tubes/*/uncapped_at", "open"),
			"capped_at": when("/tubes/*/capped_at", "closed"),
			"volume_ml": 500, "storage": "frozen",
		})
	}
	r["tubes"], r["recordings"] = tubes, []any{}
	maybe(r, "interruptions", []any{map[string]any{
		"at": when("/interruptions/*/at", "at"), "cause": secret("/interruptions/*/cause", word.Draw(t, "cause")),
		"note": secret("/interruptions/*/note", word.Draw(t, "note")),
	}})
	maybe(r, "notes", secret("/notes", word.Draw(t, "notes")))
	record, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	return record, secrets
}
