package leak

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

const good = `{"id":"a1","action":"keep","reason":"ward name","who":"mk","when":"2026-03-01T09:00:00Z"}` + "\n"

func TestParseDecisions(t *testing.T) {
	d, err := ParseDecisions([]byte(good +
		`{"who":"mk","when":"2026-03-01T10:00:00+01:00","id":"b2","action":"redact"}` + "\r\n" +
		`{"id":"a1","action":"redact","reason":"","who":"","when":"2026-03-02T09:00:00.5Z"}` + "\n"))
	if err != nil {
		t.Fatal(err)
	}
	if a, ok := d.Of("a1"); !ok || a.Action != "redact" {
		t.Errorf("the last decision counts, have %+v", a)
	}
	if b, ok := d.Of("b2"); !ok || !b.When.Equal(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)) ||
		b.When.Location() != time.UTC {
		t.Errorf("have %+v", b)
	}
	if _, ok := d.Of("c3"); ok {
		t.Error("a decision nobody took")
	}
	if _, ok := (*Decisions)(nil).Of("a1"); ok {
		t.Error("nil knows a decision")
	}
	if d, err := ParseDecisions(nil); err != nil || len(d.byID) != 0 {
		t.Errorf("empty file: %v", err)
	}
}

func TestParseDecisionsRefuses(t *testing.T) {
	for name, line := range map[string]string{
		"empty line":           "\n",
		"no object":            "[]\n",
		"unknown member":       strings.Replace(good, `"who"`, `"whom"`, 1),
		"other case":           strings.Replace(good, `"who"`, `"Who"`, 1),
		"further member":       strings.Replace(good, `{`, `{"value":"x",`, 1),
		"equal names":          strings.Replace(good, `{`, `{"id":"z",`, 1),
		"no id":                strings.Replace(good, `"id":"a1",`, ``, 1),
		"empty id":             strings.Replace(good, `"a1"`, `""`, 1),
		"long id":              strings.Replace(good, `a1`, strings.Repeat("a", 300), 1),
		"no who":               strings.Replace(good, `"who":"mk",`, ``, 1),
		"no when":              strings.Replace(good, `,"when":"2026-03-01T09:00:00Z"`, ``, 1),
		"bad when":             strings.Replace(good, `2026-03-01T09`, `2026-03-01 09`, 1),
		"bad action":           strings.Replace(good, `keep`, `Keep`, 1),
		"keep without reason":  strings.Replace(good, `"reason":"ward name",`, ``, 1),
		"keep, blank reason":   strings.Replace(good, `ward name`, ` \t`, 1),
		"number":               strings.Replace(good, `"mk"`, `7`, 1),
		"null":                 strings.Replace(good, `"mk"`, `null`, 1),
		"nested":               strings.Replace(good, `"mk"`, `{"a":1}`, 1),
		"two on a line":        strings.TrimSuffix(good, "\n") + good,
		"rest behind":          strings.Replace(good, "}", "} x", 1),
		"not UTF-8":            strings.Replace(good, "ward", "\xff", 1),
		"byte-order mark":      "\ufeff" + good,
		"line longer than all": strings.Replace(good, "ward", strings.Repeat("w", maxLine), 1),
	} {
		if line == good {
			t.Fatalf("%s: the case changes nothing", name)
		}
		_, err := ParseDecisions([]byte(good + line))
		if err == nil || !strings.HasPrefix(err.Error(), "review.jsonl:2: ") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A file cut anywhere but between two lines is refused.
func TestParseDecisionsCut(t *testing.T) {
	data := good + good
	for n := 1; n < len(data); n++ {
		_, err := ParseDecisions([]byte(data[:n]))
		switch {
		case n == len(good):
			if err != nil {
				t.Errorf("cut between lines: %v", err)
			}
		case n < len(good):
			if err == nil || !strings.HasPrefix(err.Error(), "review.jsonl:1: ") {
				t.Errorf("cut at %d: %v", n, err)
			}
		default:
			if err == nil || !strings.HasPrefix(err.Error(), "review.jsonl:2: ") {
				t.Errorf("cut at %d: %v", n, err)
			}
		}
	}
}

// Errors never quote what they object to.
func TestDecisionErrorsQuoteNothing(t *testing.T) {
	for _, member := range []string{"id", "action", "reason", "who", "when", "Grunwald"} {
		line := `{"id":"a","action":"keep","reason":"r","who":"w","when":"2026-03-01T09:00:00Z","` + member +
			`":"Grunwald"}` + "\n"
		if _, err := ParseDecisions([]byte(line)); err == nil || strings.Contains(err.Error(), "Grunwald") {
			t.Errorf("%s: %v", member, err)
		}
	}
}

func TestFormatRoundTrip(t *testing.T) {
	text := rapid.StringN(0, 40, 120)
	rapid.Check(t, func(t *rapid.T) {
		var file []byte
		want := map[string]Decision{}
		for range rapid.IntRange(0, 5).Draw(t, "lines") {
			d := Decision{
				ID:     rapid.StringN(1, 30, 90).Draw(t, "id"),
				Action: rapid.SampledFrom([]string{"redact", "keep"}).Draw(t, "action"),
				Reason: "r" + text.Draw(t, "reason"),
				Who:    text.Draw(t, "who"),
				When:   time.Unix(rapid.Int64Range(0, 1<<36).Draw(t, "s"), rapid.Int64Range(0, 1e9-1).Draw(t, "ns")),
			}
			line := d.Format()
			if bytes.Count(line, []byte("\n")) != 1 || line[len(line)-1] != '\n' {
				t.Fatalf("%q is not one line", line)
			}
			file = append(file, line...)
			d.When = d.When.UTC()
			want[d.ID] = d
		}
		got, err := ParseDecisions(file)
		if err != nil {
			t.Fatal(err)
		}
		for id, d := range want {
			if g, ok := got.Of(id); !ok || g != d {
				t.Fatalf("%+v became %+v", d, g)
			}
		}
		if len(got.byID) != len(want) {
			t.Fatalf("%d decisions became %d", len(want), len(got.byID))
		}
	})
}

func FuzzParseDecisions(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte(good + `{"id":"b","action":"redact","who":"","when":"0001-01-01T00:00:00Z"}` + "\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := ParseDecisions(data)
		if err != nil {
			return
		}
		var again []byte
		for _, dec := range d.byID {
			again = append(again, dec.Format()...)
		}
		e, err := ParseDecisions(again)
		if err != nil {
			t.Fatalf("%q became %q: %v", data, again, err)
		}
		for id, dec := range d.byID {
			if got, ok := e.Of(id); !ok || got != dec {
				t.Fatalf("%+v became %+v", dec, got)
			}
		}
	})
}
