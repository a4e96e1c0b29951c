package schema

import (
	"testing"
	"time"
)

func TestHolding(t *testing.T) {
	f := valid(t)
	f["sessions/0002.json"] = second(t, "/tubes/0/storage", `"ambient"`)
	c := load(t, f.write(t))
	if len(c.Sessions) != 2 || len(c.Problems) != 0 {
		t.Fatalf("%d sessions, problems %v", len(c.Sessions), c.Problems)
	}
	end := c.Sessions[0].Ended
	for _, s := range c.Sessions {
		if s.Ended.After(end) {
			end = s.Ended
		}
	}
	day := 24 * time.Hour
	for _, test := range []struct {
		name          string
		now           time.Time
		held, ambient int
	}{
		{"before it ended", end.Add(-time.Hour * 100), 0, 0},
		{"the same day", end.Add(time.Minute), 0, 0},
		{"the day after", end.Add(day), 0, 1},
		{"just below four fifths of 30 days", end.Add(24*day - time.Hour), 0, 1},
		{"four fifths", end.Add(24 * day), 2, 1},
		{"at the limit", end.Add(30 * day), 2, 1},
		{"over the limit", end.Add(31 * day), 2, 1},
	} {
		count := map[string]int{}
		for _, p := range c.Holding(test.now) {
			count[p.Rule]++
			if p.Severity != Warning || p.Line == 0 {
				t.Errorf("%s: %+v", test.name, p)
			}
		}
		if count["tube.held"] != test.held || count["tube.ambient"] != test.ambient {
			t.Errorf("%s: %v, want %d held and %d ambient", test.name, count, test.held, test.ambient)
		}
	}
}

// The text that begin writes as a contact must not get onto a medium; in an
// empty collection it is no query yet.
func TestContactToWrite(t *testing.T) {
	f := valid(t)
	f["study.json"] = `{"study": "LARK-2", "site": "WEIR", "contact": "WRITE HERE the telephone"}`
	c := load(t, f.write(t))
	if len(c.Problems) != 1 || c.Problems[0].Rule != "study.contact" || c.Problems[0].Severity != Error {
		t.Errorf("problems %v", c.Problems)
	}
}
