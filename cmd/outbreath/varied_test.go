package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

// varied returns a collection whose records hold the values at which treatments are most easily wrong: ages
// about 90, extreme and half-way figures, postal codes of small areas, times about midnight, parts of seconds,
// spellings of one id, notes with names and dates, texts in EDF. All findings are decided, half to keep.
func varied(t *testing.T, plan string) *job {
	t.Helper()
	j := newJob(t, demo.Options{Subjects: 16, Sessions: 24, RecordingSeconds: 5})
	rows := varyRoster(t, filepath.Join(j.collection, "roster.csv"))
	files, err := filepath.Glob(filepath.Join(j.collection, "sessions", "*.json"))
	if err != nil || len(files) < 12 {
		t.Fatal(err, len(files))
	}
	for i, path := range files {
		var record map[string]any
		data, err := os.ReadFile(path)
		if err == nil {
			err = json.Unmarshal(data, &record)
		}
		if err != nil {
			t.Fatal(err)
		}
		varyRecord(record, i, rows)
		if data, err = json.MarshalIndent(record, "", "  "); err != nil {
			t.Fatal(err)
		}
		write(t, path, data)
	}
	for _, p := range []planting.Place{planting.InAnnotation, planting.InTransducer} {
		if _, err := planting.Put(j.collection, planting.Identifier{Session: "sessions/0004.json", Place: p, Row: 4,
			Column: "mrn"}); err != nil {
			t.Fatal(err)
		}
	}
	varyEDF(t, j)
	plans := map[string]string{"own": "own.json"}
	if file := plans[plan]; file != "" {
		write(t, filepath.Join(j.collection, file), ownPlan(t))
		plan = file
	}
	study := filepath.Join(j.collection, "study.json")
	data, err := os.ReadFile(study)
	if err != nil {
		t.Fatal(err)
	}
	write(t, study, bytes.Replace(data, []byte(`"shifted"`), []byte(`"`+plan+`"`), 1))
	j.decide(t)
	j.withdraw(t, 11)
	return j
}

// varyEDF puts words into the reserved field of the first signal of the EDF recording.
//
// Source: EDF specification, header record: per signal 224 bytes come before the reserved ones.
func varyEDF(t *testing.T, j *job) {
	t.Helper()
	path := filepath.Join(j.collection, "recordings", "trace-0004.edf")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	copy(data[256+3*224:], "room 12, bed 3")
	copy(data[192+5:], " unit 77")
	write(t, path, data)
}

// varyRoster changes birth dates and postal codes, and returns the rows by subject.
func varyRoster(t *testing.T, path string) map[string]map[string]string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	births := []string{"1936-03-02", "1936-03-20", "1937-03-01", "1931-07-04", "1956-03-04", "1981-02-28", "2004-02-29"}
	codes := []string{"03601", "89301", "94107-1234", "10457", "SW1A 1AA", "60614", "D-10115"}
	rows := map[string]map[string]string{}
	for i, line := range lines[1:] {
		row := map[string]string{}
		for c, column := range lines[0] {
			switch column {
			case "birth_date":
				line[c] = births[i%len(births)]
			case "postal_code":
				line[c] = codes[i%len(codes)]
			}
			row[column] = line[c]
		}
		rows[row["subject_id"]] = row
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	if err := w.WriteAll(lines); err != nil {
		t.Fatal(err)
	}
	write(t, path, out.Bytes())
	return rows
}

func varyRecord(record map[string]any, i int, rows map[string]map[string]string) {
	subject := record["subject"].(map[string]any)
	row := rows[subject["subject_id"].(string)]
	subject["birth_date"], subject["postal_code"] = row["birth_date"], row["postal_code"]
	subject["height_cm"] = []any{131.4, 142.5, 167.5, 172.49, 201, 177}[i%6]
	subject["weight_kg"] = []any{31, 62.5, 151, 77.49, 80, 97.5}[i%6]
	if i >= 16 && i%2 == 0 {
		subject["subject_id"] = strings.ToLower(strings.ReplaceAll(subject["subject_id"].(string), "-", " "))
	}
	record["room_c"], record["room_kpa"] = 20.5+float64(i%4)/4, 100.5
	tube := record["tubes"].([]any)[0].(map[string]any)
	if i == 22 { // not in the order of the days
		for _, item := range record["tubes"].([]any) {
			tube := item.(map[string]any)
			tube["barcode"] = strings.Replace(tube["barcode"].(string), "LK07", "LK06", 1)
		}
	}
	started, _ := time.Parse(time.RFC3339, record["started_at"].(string))
	tube["conditioned_at"] = started.AddDate(0, 0, -1).Format(time.DateOnly) + "T08:15:00.25-05:00"
	tube["cycles"] = i % 30
	if i%7 == 2 {
		tube["storage"] = "ambient"
	}
	if i%6 == 1 {
		record["notes"] = "told " + row["family_name"] + " (" + row["mrn"] +
			") to come back on 2026-03-20. reading of 4 March 2026 kept"
	}
	moveBy := time.Duration(0)
	if i%8 == 5 { // the session crosses midnight
		start, _ := time.Parse(time.RFC3339, record["started_at"].(string))
		moveBy = time.Date(start.Year(), start.Month(), start.Day(), 23, 58, 0, 0, start.Location()).Sub(start)
	}
	moveTimes(record, moveBy, i%5 == 2)
}

// moveTimes moves the times of a record and, if summer is set, writes them with the offset of summer.
func moveTimes(v any, by time.Duration, summer bool) {
	switch v := v.(type) {
	case []any:
		for _, item := range v {
			moveTimes(item, by, summer)
		}
	case map[string]any:
		for name, item := range v {
			s, _ := item.(string)
			at, err := time.Parse(time.RFC3339, s)
			if err != nil || name == "conditioned_at" {
				moveTimes(item, by, summer)
				continue
			}
			if at = at.Add(by); summer {
				at = at.In(time.FixedZone("", -4*3600))
			}
			if name == "capped_at" {
				at = at.Add(600 * time.Millisecond)
			}
			v[name] = at.Format(time.RFC3339Nano)
		}
	}
}

// ownPlan returns a study's own plan, with the treatments that no built-in plan has.
func ownPlan(t *testing.T) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "schema", "session.schema.json"))
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for field, deid := range map[string]string{
		"ended_at": `{"shift": {"clock": "drop"}}`, "uncapped_at": `{"shift": {"clock": "drop"}}`,
		"capped_at": `{"shift": {"clock": "hour"}}`, "conditioned_at": `"day"`, "at": `"day"`,
		"birth_date": `"year"`, "lot": `{"pseudonym": "lot"}`, "serial": `{"pseudonym": "sampler"}`,
		"postal_code": `{"region": 1}`, "firmware": `"drop"`, "weight_kg": `{"round": 10}`,
	} {
		at := strings.Index(text, `"`+field+`": {`)
		from := at + strings.Index(text[at:], `"deid": `)
		to := from + strings.IndexAny(text[from:], "\n")
		end := to
		if risk := strings.Index(text[from:to], `, "risk"`); risk >= 0 {
			end = from + risk
		} else {
			end = to - 1
		}
		text = text[:from] + `"deid": ` + deid + text[end:]
	}
	return []byte(text)
}

// withdraw takes out the subject in a row of the roster.
func (j *job) withdraw(t *testing.T, row int) {
	t.Helper()
	var o, e strings.Builder
	if status := run(context.Background(), []string{"withdraw", j.collection, "--keys", j.site, "--reason",
		"consent withdrawn", "--to", j.at("withdrawal.txt")},
		strings.NewReader(j.truth.Roster[row]["subject_id"]+"\n"), &o, &e); status != 0 {
		t.Fatal(status, o.String(), e.String())
	}
}

// decide settles every finding: the first is redacted, the second kept, and so on; what cannot be redacted is kept.
func (j *job) decide(t *testing.T) {
	t.Helper()
	_, out, errOut := runHere("check", j.collection, "--keys", j.site, "--json")
	var list struct {
		Leaks []struct{ ID, Pointer, Action, Decision string }
	}
	if err := json.Unmarshal([]byte(out), &list); err != nil {
		t.Fatal(err, out, errOut)
	}
	for i, l := range list.Leaks {
		if l.Action != "review" || l.Decision != "" {
			continue
		}
		for _, action := range []string{[]string{"redact", "keep"}[i%2], "keep"} {
			var o, e strings.Builder
			if run(context.Background(), []string{"review", j.collection, "--keys", j.site, "--decide",
				l.ID + "=" + action, "--reason", "not of a subject", "--by", "test"}, strings.NewReader(""), &o,
				&e) != 2 {
				break
			}
			t.Log(o.String(), e.String())
		}
	}
}
