package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestDateInText redacts a date in the notes: it moves with the subject's other
// dates, so that the note still tells the truth about the interval; a birthday
// is taken out.
func TestDateInText(t *testing.T) {
	j := newJob(t, smallDemo)
	record := filepath.Join(j.collection, j.truth.Sessions[0].File)
	data, err := os.ReadFile(record)
	if err != nil {
		t.Fatal(err)
	}
	day := j.truth.Sessions[0].Started.Format("2006-01-02")
	birth := j.truth.Roster[j.truth.Sessions[0].Row]["birth_date"]
	note := `"notes": "repeated ` + day + `, born ` + birth + `, friend born 1971-08-23"`
	changed := regexp.MustCompile(`"notes": "[^"]*"`).ReplaceAllString(string(data), note)
	if changed == string(data) {
		t.Fatal("the record has no notes")
	}
	write(t, record, []byte(changed))
	_, out, _ := runHere("check", j.collection, "--keys", j.site, "--json")
	var doc struct{ Leaks []struct{ ID string } }
	if err := json.Unmarshal([]byte(out), &doc); err != nil || len(doc.Leaks) != 3 {
		t.Fatalf("%v, %d findings, want 3\n%s", err, len(doc.Leaks), out)
	}
	args := []string{"review", j.collection, "--keys", j.site}
	for _, l := range doc.Leaks {
		args = append(args, "--decide", l.ID+"=redact")
	}
	must(t, args...)
	j.seal(t)
	must(t, "open", j.shipment, "--into", j.at("opened"), "--keys", j.lab)
	found := 0
	for name, data := range files(t, j.at("opened")) {
		if !strings.HasPrefix(name, "data/sessions/") || !strings.Contains(string(data), "repeated ") {
			continue
		}
		found++
		var r struct {
			Notes     string
			StartedAt string `json:"started_at"`
		}
		if err := json.Unmarshal(data, &r); err != nil {
			t.Fatal(err)
		}
		if want := "repeated " + r.StartedAt[:10] + ", born [removed: date]"; !strings.HasPrefix(r.Notes, want) ||
			strings.Contains(r.Notes, birth[:4]) || strings.Contains(r.Notes, "1971") ||
			strings.Contains(r.Notes, day) {
			t.Errorf("the note leaves as %q, want %q...", r.Notes, want)
		}
	}
	if found != 1 {
		t.Errorf("%d records with the note", found)
	}
}
