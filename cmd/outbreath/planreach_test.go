package main

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/deid/audit"
	"outbreath/schema"
	"outbreath/schema/demo"
)

// usePlan names another plan in study.json.
func usePlan(t *testing.T, collection, plan string) {
	t.Helper()
	file := filepath.Join(collection, "study.json")
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var study map[string]any
	if err := json.Unmarshal(data, &study); err != nil {
		t.Fatal(err)
	}
	study["plan"] = plan
	if data, err = json.Marshal(study); err == nil {
		err = os.WriteFile(file, data, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// decoded decodes what a command printed with --json.
func decoded[T any](t *testing.T, out string) T {
	t.Helper()
	var doc T
	if err := json.Unmarshal([]byte(out), &doc); err != nil {
		t.Fatal(err)
	}
	return doc
}

// riskDoc is what these tests read of audit --json.
type riskDoc struct {
	Plan string      `json:"plan"`
	Risk *audit.Risk `json:"risk"`
}

// TestReach: on the demonstration and on 300 subjects, the plan that was written loads, and the
// audit of the collection under it finds that it reaches the target; what is lost is printed.
func TestReach(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		of    demo.Options
		reach string
		leave string
		k, l  int
	}{
		{demo.Options{RecordingSeconds: 5}, "k=5", "0%", 5, 0},
		{demo.Options{RecordingSeconds: 5}, "risk=0.2,l=2", "20%", 5, 2},
		{demo.Options{Subjects: 300, Sessions: 600, RecordingSeconds: 5, SampleHz: 1}, "k=5", "0%", 5, 0},
		{demo.Options{Subjects: 300, Sessions: 600, RecordingSeconds: 5, SampleHz: 1}, "k=5", "5%", 5, 0},
	} {
		j := newJob(t, c.of)
		options := []string{"plan", j.collection, "--keys", j.site, "--reach", c.reach, "--leave-out", c.leave}
		text := must(t, options...)
		for _, want := range []string{"\nwhat is lost:\n", "\nloss: ", " bits a subject", "nothing was written"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is not printed:\n%s", c.reach, want, text)
			}
		}
		file := filepath.Join(j.collection, "plan-found.json")
		out := must(t, append(options, "--write", file, "--json")...)
		doc := decoded[reachResult](t, out)
		if !doc.OK || !doc.Least || doc.Now.K >= c.k || len(doc.Changes) == 0 || doc.Loss <= 0 || doc.Loss > doc.Of {
			t.Fatalf("%s: %s", c.reach, out)
		}
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := schema.ParsePlan("plan-found.json", data)
		if err != nil {
			t.Fatal(err)
		}
		for _, change := range doc.Changes {
			f, _ := plan.Field(change.Field)
			if f.Treatment.String() != change.After || f.Risk != "quasi" ||
				!strings.Contains(f.Why, "Made coarser, from ") {
				t.Errorf("%+v is written as %+v", change, f)
			}
		}
		usePlan(t, j.collection, "plan-found.json")
		for _, f := range doc.LeftOut.Files { // as the screen says
			if err := os.Rename(filepath.Join(j.collection, f), filepath.Join(j.dir, filepath.Base(f))); err != nil {
				t.Fatal(err)
			}
		}
		_, out, errOut := runHere("audit", j.collection, "--keys", j.site, "--json", "--quiet")
		audited := decoded[riskDoc](t, out)
		if errOut != "" || audited.Plan != "plan-found.json" ||
			audited.Risk.Subjects != doc.Subjects-doc.LeftOut.Subjects {
			t.Errorf("%s: the audit is of plan %s, %d subjects: %s", c.reach, audited.Plan, audited.Risk.Subjects,
				errOut)
		}
		if r := audited.Risk; r.K < c.k || r.L < c.l || r.K != doc.After.K || r.L != doc.After.L ||
			r.ProsecutorMax > 0.2 {
			t.Errorf("%s: the audit finds k %d, l %d; told %+v", c.reach, r.K, r.L, doc.After)
		}
		t.Logf("%d subjects, %s, leave out %s: k %d to %d, loss %.2f of %.2f bits, %d left out", doc.Subjects, c.reach,
			c.leave, doc.Now.K, doc.After.K, doc.Loss, doc.Of, doc.LeftOut.Subjects)
	}
}

// TestRiskBySQL: the risk figures of shipments under every built-in plan, and under a plan found,
// are those that SQL computes from the opened shipment. The reference is independent code, a
// GROUP BY in SQLite; no general statistics program for this is packaged in Debian 12.
func TestRiskBySQL(t *testing.T) {
	t.Parallel()
	plans := append(schema.Builtin(), "plan-found.json")
	for _, plan := range plans {
		j := newJob(t, demo.Options{Subjects: 40, Sessions: 60, RecordingSeconds: 5, SampleHz: 1})
		if plan == "plan-found.json" {
			must(t, "plan", j.collection, "--keys", j.site, "--reach", "k=4", "--write",
				filepath.Join(j.collection, plan))
		}
		usePlan(t, j.collection, plan)
		j.seal(t)
		into := j.at("opened")
		must(t, "open", j.shipment, "--into", into, "--keys", j.lab)
		_, out, _ := runHere("audit", j.shipment, "--keys", j.lab, "--json", "--quiet")
		got := decoded[riskDoc](t, out).Risk
		if got == nil || got.Subjects != 40 || len(got.Quasi) == 0 || len(got.Sensitive) == 0 {
			t.Fatalf("%s: %s", plan, out)
		}
		db := valuesInSQL(t, filepath.Join(into, "data"))
		want := func(what string, found float64, query string, args ...any) {
			t.Helper()
			var x float64
			if err := db.QueryRow(query, args...).Scan(&x); err != nil {
				t.Fatalf("%s: %s: %v", plan, what, err)
			}
			if math.Abs(x-found) > 1e-12 {
				t.Errorf("%s: %s is %v, SQL computes %v", plan, what, found, x)
			}
		}
		want("k", float64(got.K), "SELECT min(n) FROM class")
		want("classes", float64(got.Classes), "SELECT count(*) FROM class")
		want("unique", float64(got.Unique), "SELECT count(*) FROM class WHERE n = 1")
		want("greatest prosecutor risk", got.ProsecutorMax, "SELECT max(1.0/n) FROM class")
		want("mean prosecutor risk", got.ProsecutorMean, "SELECT sum(n * (1.0/n)) / sum(n) FROM class")
		want("small cells", float64(got.SmallCount), "SELECT count(*) FROM class WHERE n < 11")
		for _, s := range got.Sensitive {
			want("l of "+s.Field, float64(s.L), `WITH
				d AS (SELECT s.key, count(DISTINCT v.set_of) d, count(*) n FROM subject s
					JOIN value_set v ON v.who = s.who AND v.path = ?1 GROUP BY s.key),
				item AS (SELECT s.key, i.text, count(DISTINCT i.who) m FROM subject s
					JOIN value i ON i.who = s.who AND i.path = ?1 GROUP BY s.key, i.text),
				common AS (SELECT key, max(m) m FROM item GROUP BY key)
				SELECT min(CASE WHEN m = n THEN 1 ELSE d END) FROM d JOIN common USING (key)`, s.Field)
		}
		t.Logf("%s: k %d, %d classes, %d alone", plan, got.K, got.Classes, got.Unique)
		db.Close()
	}
}

// valuesInSQL reads the records of an opened shipment with the standard library alone, and lays
// them into SQLite. In: the folder data. Out: value(who, path, risk, text) and the views
// value_set, subject(who, key) and class(key, n).
func valuesInSQL(t *testing.T, folder string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	exec := func(query string, args ...any) {
		t.Helper()
		if _, err := db.Exec(query, args...); err != nil {
			t.Fatal(err)
		}
	}
	exec(`CREATE TABLE value (who TEXT, path TEXT, risk TEXT, text TEXT)`)
	exec(`CREATE VIEW value_set AS SELECT who, path, risk, group_concat(text, '|' ORDER BY text) set_of
		FROM (SELECT DISTINCT who, path, risk, text FROM value) GROUP BY who, path, risk`)
	exec(`CREATE VIEW subject AS SELECT who, group_concat(CASE risk WHEN 'quasi' THEN path || '=' || set_of ELSE '' END,
		'|' ORDER BY path) key FROM value_set GROUP BY who`)
	exec(`CREATE VIEW class AS SELECT key, count(*) n FROM subject GROUP BY key`)
	data, err := os.ReadFile(filepath.Join(folder, "treatment.json"))
	if err != nil {
		t.Fatal(err)
	}
	ledger := decoded[struct{ Fields []struct{ Path, Risk string } }](t, string(data))
	files, _ := filepath.Glob(filepath.Join(folder, "sessions", "*.json"))
	if len(files) != 60 {
		t.Fatalf("%d records", len(files))
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		record := decoded[map[string]any](t, string(data))
		who := record["subject"].(map[string]any)["subject_id"]
		for _, f := range ledger.Fields {
			if f.Risk == "" {
				continue
			}
			for _, text := range textsAt(record, strings.Split(f.Path[1:], "/")) {
				exec(`INSERT INTO value VALUES (?, ?, ?, ?)`, who, f.Path, f.Risk, text)
			}
		}
	}
	return db
}

// textsAt returns the values at a path of names, "*" for every entry of a list.
func textsAt(v any, path []string) []string {
	if len(path) == 0 {
		return []string{fmt.Sprint(v)}
	}
	var all []string
	switch v := v.(type) {
	case map[string]any:
		if below, ok := v[path[0]]; ok {
			all = textsAt(below, path[1:])
		}
	case []any:
		for _, item := range v {
			all = append(all, textsAt(item, path[1:])...)
		}
	}
	return all
}
