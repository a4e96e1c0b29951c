package leak

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"outbreath/schema"
)

type label struct {
	Start, End     int
	Class, Variant string
	Roster         bool
}

type note struct {
	ID    string
	Text  string
	Spans []label
}

func readRoster(t testing.TB, file string) *schema.Roster {
	t.Helper()
	f, err := os.Open(file)
	if os.IsNotExist(err) {
		t.Skipf("%s is absent", file)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", file, len(rows), err)
	}
	r := &schema.Roster{Columns: rows[0]}
	for _, row := range rows[1:] {
		m := make(map[string]string)
		for i, v := range row {
			if v = strings.TrimSpace(v); v != "" {
				m[rows[0][i]] = v
			}
		}
		r.Rows = append(r.Rows, m)
	}
	return r
}

func readNotes(t testing.TB, file string) []note {
	t.Helper()
	f, err := os.Open(file)
	if os.IsNotExist(err) {
		t.Skipf("%s is absent", file)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var ns []note
	for s := bufio.NewScanner(f); s.Scan(); {
		var n note
		if err := json.Unmarshal(s.Bytes(), &n); err != nil {
			t.Fatal(err)
		}
		ns = append(ns, n)
	}
	if len(ns) == 0 {
		t.Fatalf("%s holds no notes", file)
	}
	return ns
}

// The floors are what this version reaches; raise them, never lower them.
func TestLabelledSample(t *testing.T) {
	const dir = "../../../shared/leak-sample/"
	s := New(readRoster(t, dir+"roster.csv"))
	var hit, all [2]int // on the roster, not on it
	clean, alarms := 0, 0
	type count struct{ hit, all int }
	classes := map[string]*count{}
	out, _ := os.Create(os.Getenv("LEAK_FINDINGS")) // for the scorer beside the sample
	for _, n := range readNotes(t, dir+"notes.jsonl") {
		ms := s.Scan(n.Text, nil)
		checkMatches(t, n.Text, ms)
		for _, m := range ms {
			if out != nil {
				json.NewEncoder(out).Encode(map[string]any{"id": n.ID, "start": m.Start, "end": m.End, "basis": m.Basis,
					"confidence": m.Confidence})
			}
		}
		if len(n.Spans) == 0 {
			clean++
			alarms += len(ms)
			for _, m := range ms {
				t.Logf("%s: false alarm %s (%s): %q in %q", n.ID, m.Basis, m.Confidence, n.Text[m.Start:m.End], n.Text)
			}
		}
		for _, l := range n.Spans {
			k := 1
			if l.Roster {
				k = 0
			}
			all[k]++
			found := false
			for _, m := range ms {
				found = found || m.Start < l.End && l.Start < m.End
			}
			for _, key := range []string{l.Class, l.Class + ", " + l.Variant} {
				if classes[key] == nil {
					classes[key] = new(count)
				}
				classes[key].all++
				if found {
					classes[key].hit++
				}
			}
			if found {
				hit[k]++
			} else {
				t.Logf("%s: missed %s %q in %q", n.ID, l.Variant, n.Text[l.Start:l.End], n.Text)
			}
		}
		for _, m := range ms {
			right := len(n.Spans) == 0
			for _, l := range n.Spans {
				right = right || m.Start < l.End && l.Start < m.End
			}
			if !right {
				t.Logf("%s: beside the labels %s (%s): %q in %q", n.ID, m.Basis, m.Confidence, n.Text[m.Start:m.End],
					n.Text)
			}
		}
	}
	for _, key := range slices.Sorted(maps.Keys(classes)) {
		c := classes[key]
		t.Logf("%-45s %5.1f %% of %d", key, 100*float64(c.hit)/float64(c.all), c.all)
		if !strings.Contains(key, ",") && float64(c.hit) < 0.95*float64(c.all) {
			t.Errorf("%s: below the floor of its class", key)
		}
	}
	known, unknown := float64(hit[0])/float64(all[0]), float64(hit[1])/float64(all[1])
	rate := 1000 * float64(alarms) / float64(clean)
	t.Logf("found %.1f %% of %d on the roster, %.1f %% of %d not on it; %.1f false alarms per 1,000 clean notes",
		100*known, all[0], 100*unknown, all[1], rate)
	if known < 0.99 || unknown < 0.95 || rate > 5 {
		t.Error("below the floors")
	}
}

// checkMatches fails where Scan breaks its promise on order and offsets.
func checkMatches(t interface {
	Helper()
	Fatalf(string, ...any)
}, text string, ms []Match) {
	t.Helper()
	end := 0
	for _, m := range ms {
		if m.Start < end || m.End <= m.Start || m.End > len(text) {
			t.Fatalf("%d to %d, after %d, of %d bytes", m.Start, m.End, end, len(text))
		}
		if !border(text, m.Start) || !border(text, m.End) {
			t.Fatalf("%d to %d is not at rune borders", m.Start, m.End)
		}
		if rank(m.Confidence) == 0 || m.Class == "" || m.Basis == "" {
			t.Fatalf("incomplete match %+v", m)
		}
		end = m.End
	}
}
