package rederive_test

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"outbreath/deid/rederive"
	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

var options = demo.Options{Subjects: 5, Sessions: 7, RecordingSeconds: 5}

// edit replaces text in a file of the collection.
func edit(t *testing.T, file, old, new string) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(data), old) {
		t.Fatalf("%s does not hold %q", filepath.Base(file), old)
	}
	if err := os.WriteFile(file, []byte(strings.Replace(string(data), old, new, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
}

// notes sets the notes of a record.
func notes(t *testing.T, dir, file, text string) {
	t.Helper()
	path := filepath.Join(dir, "sessions", file)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	s := string(data)
	if i := strings.Index(s, `"notes"`); i >= 0 {
		s = s[:i] + `"notes": "` + text + "\"\n}\n"
	} else {
		s = strings.TrimRight(strings.TrimSpace(s), "}")
		s = strings.TrimSpace(s) + `, "notes": "` + text + "\"}\n"
	}
	if err := os.WriteFile(path, []byte(s), 0o600); err != nil {
		t.Fatal(err)
	}
}

// Each built-in plan is computed again to the last byte.
func TestPlans(t *testing.T) {
	for _, plan := range []string{"shifted", "limited", "year-only"} {
		t.Run(plan, func(t *testing.T) {
			s := newScene(t, options, "keep", func(dir string) {
				edit(t, filepath.Join(dir, "study.json"), `"shifted"`, `"`+plan+`"`)
			})
			r := holds(t, s)
			for _, sort := range r.Sorts {
				if sort.Name != rederive.Summary && sort.Name != rederive.Treatment && sort.Name != rederive.TagFiles &&
					sort.Values.NotTested > 0 {
					t.Errorf("%s: %d values are not tested", sort.Name, sort.Values.NotTested)
				}
			}
		})
	}
}

// ownPlan makes a plan of the built-in one, with other treatments by field name.
func ownPlan(t *testing.T, dir string, treatments map[string]string) {
	t.Helper()
	plan := string(schema.BuiltinSchema())
	for name, deid := range treatments {
		_, rest, ok := strings.Cut(plan, `"`+name+`": {`)
		if !ok {
			t.Fatalf("the plan has no %s", name)
		}
		at := len(plan) - len(rest)
		plan = plan[:at] + regexp.MustCompile(`"deid": ("[a-z-]+"|\{[^}]*\}|\{"shift": \{[^}]*\}\})`).
			ReplaceAllLiteralString(rest[:strings.Index(rest, `"why"`)], `"deid": `+deid) +
			rest[strings.Index(rest, `"why"`):]
	}
	if err := os.WriteFile(filepath.Join(dir, "own.json"), []byte(plan), 0o600); err != nil {
		t.Fatal(err)
	}
	edit(t, filepath.Join(dir, "study.json"), `"shifted"`, `"own.json"`)
}

// Plans of a study's own, with each treatment that the built-in ones do not have.
func TestOwnPlans(t *testing.T) {
	times := func(deid string) map[string]string {
		return map[string]string{"started_at": deid, "ended_at": deid, "uncapped_at": deid, "capped_at": deid,
			"at": deid}
	}
	codes := map[string]string{"unit": `{"pseudonym": "kit"}`, "lot": `{"pseudonym": "lot"}`,
		"serial": `{"pseudonym": "sampler"}`, "birth_date": `"year"`,
		"postal_code": `{"region": 1}`, "height_cm": `{"round": 7}`, "notes": `"drop"`}
	days := times(`"day"`)
	days["birth_date"] = `"day"`
	moved := times(`"shift"`)
	moved["birth_date"] = `"shift"`
	for name, treatments := range map[string]map[string]string{
		"hours": times(`{"shift": {"clock": "hour"}}`), "no clock": times(`{"shift": {"clock": "drop"}}`),
		"clock": times(`{"shift": {"clock": "keep"}}`), "days": days, "codes": codes, "moved": moved,
		"dropped": times(`"drop"`), "less": {"sex": `"drop"`, "content": `"drop"`},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t, options, "keep", func(dir string) { ownPlan(t, dir, treatments) })
			r := holds(t, s)
			if r.Total.Values.Rederived < 1000 {
				t.Errorf("only %d values", r.Total.Values.Rederived)
			}
		})
	}
}

// Texts with masks, moved dates and findings that were kept.
func TestTexts(t *testing.T) {
	for _, action := range []string{"redact", "keep"} {
		s := newScene(t, options, action, func(dir string) {
			notes(t, dir, "0001.json", "seen by Dr. Whitlock on 2026-03-03, call +1 646 555 0134 or a@b.example")
			notes(t, dir, "0002.json", "again on 24.03.2026 and 5 April 2026; ward 7, Mr Tamsin 2026-03-05 Whitlock")
			notes(t, dir, "0003.json", "id LARK2-WEIR-001, born 4/5/1979; \\u00e4\\u00f6 \\t tab \\\" quote")
		})
		if len(s.findings) < 6 {
			t.Fatalf("only %d findings", len(s.findings))
		}
		holds(t, s)
	}
}

// A comparison of nothing is no comparison.
func TestNothingIsNotWell(t *testing.T) {
	s := newScene(t, options, "keep", nil)
	for name, b := range map[string]bag{"no file": nil, "tag files only": s.bag[len(s.bag)-5:]} {
		if r := compare(t, s.source(t), b); r.OK() || len(r.Mismatches) == 0 {
			t.Errorf("%s: passes", name)
		}
	}
	src := s.source(t)
	src.Keys = nil
	if _, err := rederive.New(t.Context(), src); err == nil {
		t.Error("no key, and no error")
	}
}

// Every value of the roster, in every place where it does not belong, redacted and kept.
func TestPlanted(t *testing.T) {
	columns := []string{"given_name", "family_name", "birth_date", "mrn", "phone", "email", "street", "city",
		"subject_id", "emergency_contact_name"}
	places := []planting.Place{planting.InNotes, planting.InFileName, planting.InTransducer, planting.InAnnotation}
	for i, action := range []string{"redact", "keep"} {
		s := newScene(t, options, action, func(dir string) {
			for k, column := range columns {
				place := places[(k+i)%len(places)]
				session := "sessions/000" + strconv.Itoa(1+k%7) + ".json"
				if place == planting.InTransducer || place == planting.InAnnotation {
					session = traced(t, dir)
				}
				if _, err := planting.Put(dir, planting.Identifier{Place: place, Session: session, Row: k % 5,
					Column: column}); err != nil {
					t.Fatal(err)
				}
			}
		})
		if len(s.findings) < len(columns)-4 {
			t.Errorf("%s: only %d findings", action, len(s.findings))
		}
		holds(t, s)
	}
	s := newScene(t, options, "keep", func(dir string) { // a name in a kept field is in the tables too
		for k := range 3 {
			if _, err := planting.Put(dir, planting.Identifier{Place: planting.InKeptField, Row: k, Column: "mrn",
				Session: "sessions/000" + strconv.Itoa(1+k) + ".json"}); err != nil {
				t.Fatal(err)
			}
		}
	})
	holds(t, s)
}

// traced returns the record of the session with the EDF recording.
func traced(t *testing.T, dir string) string {
	t.Helper()
	for i := range options.Sessions {
		name := "sessions/000" + strconv.Itoa(1+i) + ".json"
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err == nil && strings.Contains(string(data), `.edf"`) {
			return name
		}
	}
	t.Fatal("no session has an EDF recording")
	return ""
}

// Values at the ends: great ages, small regions, heights beyond the limits, halves,
// parts of seconds, somebody who has just reached a band.
func TestExtremes(t *testing.T) {
	for _, plan := range []string{"shifted", "own.json"} {
		s := newScene(t, options, "keep", func(dir string) {
			if plan == "own.json" {
				ownPlan(t, dir, map[string]string{"birth_date": `"year"`, "room_c": `{"round": 2}`,
					"ended_at": `"year"`})
			}
			for i, values := range [][3]string{{"1928-03-03", "03601", "120.5"}, {"1937-05-01", "89301", "217.4"},
				{"1951-01-15", "98765", "172.5"}} {
				record := filepath.Join(dir, "sessions", "000"+strconv.Itoa(i+1)+".json")
				data, err := os.ReadFile(record)
				if err != nil {
					t.Fatal(err)
				}
				for k, name := range []string{"birth_date", "postal_code"} {
					was := regexp.MustCompile(`"` + name + `": "([^"]*)"`).FindSubmatch(data)
					if was == nil {
						continue
					}
					all, err := filepath.Glob(filepath.Join(dir, "sessions", "*.json"))
					if err != nil {
						t.Fatal(err)
					}
					for _, path := range append(all, filepath.Join(dir, "roster.csv")) {
						text, err := os.ReadFile(path)
						if err == nil {
							err = os.WriteFile(path, bytes.ReplaceAll(text, was[1], []byte(values[k])), 0o600)
						}
						if err != nil {
							t.Fatal(err)
						}
					}
				}
				data, err = os.ReadFile(record)
				if err != nil {
					t.Fatal(err)
				}
				data = regexp.MustCompile(`"height_cm": [0-9.]+`).ReplaceAll(data, []byte(`"height_cm": `+values[2]))
				data = regexp.MustCompile(`("started_at": "[^"]{19})`).ReplaceAll(data, []byte("${1}.400"))
				data = bytes.Replace(data, []byte(`"outcome"`), []byte(`"room_c": 21.5, "outcome"`), 1)
				if err := os.WriteFile(record, data, 0o600); err != nil {
					t.Fatal(err)
				}
			}
		})
		holds(t, s)
	}
}

// A time axis that begins with the time of day begins at 0; nothing else changes.
func TestLateAxis(t *testing.T) {
	s := newScene(t, options, "keep", func(dir string) {
		path := filepath.Join(dir, "recordings", "trace-0001.csv")
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		rows := strings.Split(string(data), "\n")
		for i, row := range rows[1:] {
			if at, rest, ok := strings.Cut(row, ","); ok {
				x, err := strconv.ParseFloat(at, 64)
				if err != nil {
					t.Fatal(err)
				}
				rows[i+1] = strconv.FormatFloat(30045+x, 'f', 2, 64) + "," + rest
			}
		}
		if err := os.WriteFile(path, []byte(strings.Join(rows, "\n")), 0o600); err != nil {
			t.Fatal(err)
		}
	})
	holds(t, s)
	b := s.bag.clone()
	data, err := os.ReadFile(filepath.Join(s.dir, "recordings", "trace-0001.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range b { // the recording as it was
		if strings.HasSuffix(e.path, ".csv") && len(data) > len(e.data) && strings.HasPrefix(string(e.data), "t_s") &&
			strings.Count(string(e.data), "\n") == strings.Count(string(data), "\n") {
			b.put(i, data)
			break
		}
	}
	if r := compare(t, s.source(t), b.signed()); r.OK() {
		t.Error("the times of day pass")
	}
}

// Texts of an EDF header that are not technical leave in no form, and under the plan
// "year-only" no annotation does.
func TestTextsOfEDF(t *testing.T) {
	for _, plan := range []string{"shifted", "year-only"} {
		s := newScene(t, options, "redact", func(dir string) {
			edit(t, filepath.Join(dir, "study.json"), `"shifted"`, `"`+plan+`"`)
			for _, place := range []planting.Place{planting.InTransducer, planting.InAnnotation} {
				if _, err := planting.Put(dir, planting.Identifier{Place: place, Session: traced(t, dir),
					Value: "valve of Tamsin sticks"}); err != nil {
					t.Fatal(err)
				}
			}
		})
		holds(t, s)
		i := s.bag.find(t, 0, "data/recordings/", ".edf")
		if bytes.Contains(s.bag[i].data[:512], []byte("valve")) ||
			plan == "year-only" && bytes.Contains(s.bag[i].data, []byte("valve")) {
			t.Errorf("%s: a text leaves", plan)
		}
		source, err := os.ReadFile(filepath.Join(s.dir, edfOf(t, s.dir)))
		if err != nil {
			t.Fatal(err)
		}
		b := s.bag.clone()
		size := 256 * (1 + int(source[253]-'0'))
		if source[253] == ' ' {
			size = 256 * (1 + int(source[252]-'0'))
		}
		data := append(bytes.Clone(b[i].data[:size]), source[size:]...)
		b.put(i, data)
		if r := compare(t, s.source(t), b.signed()); r.OK() != bytes.Equal(data, s.bag[i].data) {
			t.Errorf("%s: the annotations of the source pass: %v", plan, r.OK())
		}
	}
}

// edfOf returns the EDF recording of the collection.
func edfOf(t *testing.T, dir string) string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "recordings", "*.edf"))
	if err != nil || len(names) == 0 {
		t.Fatal("no EDF recording")
	}
	return "recordings/" + filepath.Base(names[0])
}
