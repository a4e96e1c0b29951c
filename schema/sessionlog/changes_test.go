package sessionlog

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"outbreath/pack/durable"
	"outbreath/schema"
)

// TestMerged is the whole table of three sides that are equal or not.
func TestMerged(t *testing.T) {
	for _, c := range []struct {
		was, is, log string
		want         string
		clash        bool
	}{
		{"1", "1", "1", "1", false},
		{"1", "1", "2", "2", false}, // the log was corrected
		{"1", "2", "1", "2", false}, // the record was
		{"1", "2", "2", "2", false}, // both, to the same
		{"1", "2", "3", "2", true},  // both
		{"1", "1", "", "", false},   // taken out of the log
		{"1", "", "1", "", false},   // taken out of the record
		{"1", "2", "", "2", true},
		{"1", "", "2", "", true},
		{"", "", "1", "1", false},
		{"", "1", "", "1", false}, // only ever in the record
		{"", "1", "2", "1", true}, // no log has said what the record has
	} {
		if got, clash := merged(c.was, c.is, c.log); got != c.want || clash != c.clash {
			t.Errorf("%+v: %q, clash %v", c, got, clash)
		}
	}
}

// A fillTest is a collection that is filled again and again.
type fillTest struct {
	*rapid.T
	root   *os.Root
	dir    string
	in     Inputs
	sealed map[string]string
	answer string // to every doubt; "" to leave them open
}

func (f *fillTest) fill(log map[string]map[string]*schema.Node) *Changes {
	r := &Reading{}
	for _, id := range slices.Sorted(maps.Keys(log)) {
		r.Records = append(r.Records, &Record{ID: id, Where: "sheet sessions, row 2", Values: log[id],
			Places: map[string]string{}})
	}
	settings := &Settings{}
	left := ""
	for range 4 {
		prior, err := ReadFilled(f.root)
		if err != nil {
			f.Fatal(err)
		}
		c, err := r.Compare(f.root, f.in, settings, prior, []string{"b", "a"}, nil,
			func(id string) (string, error) { return f.sealed[id], nil })
		if err != nil {
			f.Fatal(err)
		}
		if len(c.Doubts) == 0 || f.answer == "" {
			if err := c.Write(f.root); err != nil {
				f.Fatal(err)
			}
			return c
		}
		for _, d := range c.Doubts {
			answer := f.answer
			if !slices.ContainsFunc(d.Choices, func(c Choice) bool { return c.Value == answer }) {
				answer = d.Choices[0].Value // another question, such as a code that is another's
			}
			settings.Answer(d, answer)
			left = d.ID
		}
	}
	f.Fatal("the answers did not settle the doubts, the last of which is " + left)
	return nil
}

func (f *fillTest) record(file string) *schema.Node {
	data, err := os.ReadFile(filepath.Join(f.dir, filepath.FromSlash(file)))
	if err != nil {
		f.Fatal(err)
	}
	n, err := schema.ParseJSON(data)
	if err != nil {
		f.Fatal(err)
	}
	return n
}

// values returns those of a record, by pointer.
func valuesOf(n *schema.Node) map[string]*schema.Node {
	out := map[string]*schema.Node{}
	for pointer, text := range leaves(n) {
		out[pointer], _ = schema.ParseJSON([]byte(text))
	}
	return out
}

// TestFillAgain: what was typed into a record and what was changed in the log since are
// both in it after the next run, wherever they did not touch the same field; there the
// record's value stays until a person has chosen; what was sealed never changes; and a
// run after which nothing was changed changes nothing.
func TestFillAgain(t *testing.T) {
	plan, err := schema.LoadPlan("shifted")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	run := 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		f := &fillTest{T: t, dir: filepath.Join(dir, "c"), in: Inputs{Plan: plan, Study: study},
			sealed: map[string]string{}}
		os.RemoveAll(f.dir)
		if err := os.MkdirAll(filepath.Join(f.dir, sessionsDir), 0o700); err != nil {
			t.Fatal(err)
		}
		if f.root, err = durable.OpenFolder(f.dir); err != nil {
			t.Fatal(err)
		}
		defer f.root.Close()

		log := map[string]map[string]*schema.Node{}
		for i := range rapid.IntRange(1, 3).Draw(t, "sessions") {
			v := valuesOf(drawRecord(t, plan, i))
			log[v["/session_id"].Text] = v
		}
		for _, c := range f.fill(log).Sessions {
			if c.What != New {
				t.Fatalf("first: %+v", c)
			}
		}
		for _, c := range f.fill(log).Sessions {
			if c.What != Unchanged {
				t.Fatalf("second: %+v", c)
			}
		}
		id := rapid.SampledFrom(slices.Sorted(maps.Keys(log))).Draw(t, "session")
		file := fileOf(f, id)
		before, err := os.ReadFile(filepath.Join(f.dir, file))
		if err != nil {
			t.Fatal(err)
		}
		if rapid.Bool().Draw(t, "sealed") {
			f.sealed[id] = "WEIR-0001"
		}
		note := func(s string) *schema.Node { return &schema.Node{Kind: schema.String, Text: s} }
		typed := map[string]*schema.Node{}
		for _, pointer := range []string{"/operator", "/notes", "/kit/lot"} {
			if rapid.Bool().Draw(t, "typed "+pointer) && f.sealed[id] == "" && log[id][pointer] != nil {
				typed[pointer] = note("typed-1")
			}
		}
		if len(typed) > 0 {
			v := valuesOf(f.record(file))
			maps.Copy(v, typed)
			doc := plan.Outline().Record(v).Encode()
			if err := os.WriteFile(filepath.Join(f.dir, file), doc, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		changed := map[string]*schema.Node{}
		for _, pointer := range []string{"/operator", "/subject/smoking_status"} {
			if rapid.Bool().Draw(t, "log "+pointer) {
				changed[pointer] = note("log-2")
				log[id][pointer] = changed[pointer]
			}
		}
		f.answer = rapid.SampledFrom([]string{"", "record", "log"}).Draw(t, "answer")
		f.fill(log)
		if f.sealed[id] != "" {
			if after, _ := os.ReadFile(filepath.Join(f.dir, file)); string(after) != string(before) {
				t.Fatal("a sealed record was changed")
			}
			return
		}
		want := valuesOf(mustParse(t, before))
		maps.Copy(want, changed)
		for pointer, n := range typed {
			if changed[pointer] == nil || f.answer != "log" {
				want[pointer] = n
			}
		}
		if got := string(f.record(file).Encode()); got != string(plan.Outline().Record(want).Encode()) {
			t.Fatalf("got\n%s\nwant\n%s", got, plan.Outline().Record(want).Encode())
		}
	})
	if run == 0 {
		t.Fatal("nothing was filled")
	}
}

func mustParse(t *rapid.T, data []byte) *schema.Node {
	n, err := schema.ParseJSON(data)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func fileOf(f *fillTest, id string) string {
	entries, err := os.ReadDir(filepath.Join(f.dir, sessionsDir))
	if err != nil {
		f.Fatal(err)
	}
	for _, e := range entries {
		file := sessionsDir + "/" + e.Name()
		if f.record(file).At("/session_id").Text == id {
			return file
		}
	}
	f.Fatalf("no record of %s", id)
	return ""
}

// TestRosterIsMerged: rows and columns of roster.csv that the log does not have stay.
func TestRosterIsMerged(t *testing.T) {
	plan, err := schema.LoadPlan("shifted")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, sessionsDir), 0o700); err != nil {
		t.Fatal(err)
	}
	const first = "subject_id,given_name,family_name,birth_date,ward\r\n" +
		"W-1,Ada,\"Quill, Ada\",1970-01-31,3\r\nW-2,Bo,Larch,1980-02-01,4\r\n"
	if err := os.WriteFile(filepath.Join(dir, rosterFile), []byte(first), 0o600); err != nil {
		t.Fatal(err)
	}
	root, err := durable.OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	r := &Reading{Roster: &Roster{Columns: []string{"subject_id", "given_name", "family_name", "birth_date", "phone"},
		Rows: []map[string]string{
			{"subject_id": "w-2", "given_name": "Bo", "family_name": "Larch", "birth_date": "1980-02-01",
				"phone": "0199"},
			{"subject_id": "W-3", "given_name": "Cy", "family_name": "Moss", "birth_date": "1990-03-02"}},
		Places: []string{"sheet roster, row 2", "sheet roster, row 3"}}}
	s := &Settings{}
	in := Inputs{Plan: plan, Study: study}
	none := func(string) (string, error) { return "", nil }
	for {
		prior, err := ReadFilled(root)
		if err != nil {
			t.Fatal(err)
		}
		c, err := r.Compare(root, in, s, prior, nil, nil, none)
		if err != nil {
			t.Fatal(err)
		}
		if len(c.Doubts) > 0 { // W-2 or w-2
			for _, d := range c.Doubts {
				s.Answer(d, "record")
			}
			continue
		}
		if c.Roster != (RosterChange{Added: 1, Changed: 1, Left: 1}) {
			t.Errorf("%+v", c.Roster)
		}
		if err := c.Write(root); err != nil {
			t.Fatal(err)
		}
		break
	}
	got, err := os.ReadFile(filepath.Join(dir, rosterFile))
	if err != nil {
		t.Fatal(err)
	}
	const want = "subject_id,given_name,family_name,birth_date,ward,phone\n" +
		"W-1,Ada,\"Quill, Ada\",1970-01-31,3,\nW-2,Bo,Larch,1980-02-01,4,0199\nW-3,Cy,Moss,1990-03-02,,\n"
	if string(got) != want {
		t.Errorf("got\n%s", got)
	}
	if _, problems, err := schema.ParseRoster(got); err != nil ||
		slices.ContainsFunc(problems, func(p schema.Problem) bool {
			return p.Severity == schema.Error
		}) {
		t.Error(problems, err)
	}
	if strings.Contains(string(got), "\r") {
		t.Error("line ends are mixed")
	}
}
