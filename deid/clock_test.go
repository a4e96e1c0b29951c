package deid

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"outbreath/keys"
	"outbreath/schema"
)

// treatedLeaf treats a value, in JSON, of a field of a plan of its own.
func treatedLeaf(t rapid.TB, leaf, value string) (string, error) {
	t.Helper()
	plan := planWith(t, `,"leaf":`+leaf)
	tr, err := newTreater(plan, nil, NewPseudonymiser(testKey(), "LARK-2"))
	if err != nil {
		t.Fatal(err)
	}
	s := session(`{` + coreRecord + `,"leaf":` + value + `}`)
	tr.firstOf([]*schema.Session{s, {Subject: "s 1", Started: s.Started.AddDate(0, 0, -9)},
		{Subject: "S-2", Started: s.Started.AddDate(-1, 0, 0)}})
	v, err := tr.visit(s)
	if err != nil {
		t.Fatal(err)
	}
	v.shift = 40
	out := tr.record(v)
	if len(v.faults) > 0 {
		return "", fmt.Errorf("%s", v.faults[0].Message)
	}
	var b bytes.Buffer
	if err := json.Compact(&b, out.Member("leaf").Encode()); err != nil {
		t.Fatal(err)
	}
	return b.String(), nil
}

// The session began on 2 March 2026 at 08:20:00.5 in UTC-5; 40 days before is 21 January (by the
// calendar), and the subject's first session was nine days before.
func TestTimesThatLeave(t *testing.T) {
	for _, test := range [][4]string{
		{"date-time", `"shift"`, "2026-03-02T08:21:11.250-05:00", `"2026-01-21T08:21:11.250"`},
		{"date-time", `"shift"`, "2026-03-02T13:21:11Z", `"2026-01-21T13:21:11"`},
		{"date-time", `"shift"`, "2026-03-02t13:21:11z", `"2026-01-21T13:21:11"`},
		{"date-time", `{"shift":{"clock":"keep"}}`, "2026-03-02T08:21:11+05:45", `"2026-01-21T08:21:11"`},
		{"date-time", `{"shift":{"clock":"hour"}}`, "2026-03-02T08:21:11.250-05:00", `"2026-01-21T08"`},
		{"date-time", `{"shift":{"clock":"drop"}}`, "2026-03-02T08:22:11-05:00",
			`{"date":"2026-01-21","elapsed_s":131}`}, // 130.5, half away from zero, as in the year treatment
		{"date-time", `{"shift":{"clock":"drop"}}`, "2026-03-03T00:00:00-05:00", // the session's day, not its own
			`{"date":"2026-01-21","elapsed_s":56400}`},
		{"date", `"shift"`, "2026-03-02", `"2026-01-21"`},
		{"date", `{"shift":{"clock":"hour"}}`, "2026-03-02", `"2026-01-21"`},
		{"date", `{"shift":{"clock":"drop"}}`, "2026-03-03", `"2026-01-22"`},
		{"date", `"day"`, "2026-03-02", `9`},
		{"date", `"day"`, "2026-02-20", `-1`},
		{"date", `"day"`, "2026-02-21", `0`},
		{"date-time", `"day"`, "2026-03-02T13:22:11Z", `{"day":9,"elapsed_s":131}`},
		{"date-time", `"day"`, "2026-03-01T08:20:00-05:00", `{"day":9,"elapsed_s":-86401}`},
	} {
		leaf := fmt.Sprintf(`{"type":"string","format":%q,"deid":%s,"why":"w"}`, test[0], test[1])
		if got, err := treatedLeaf(t, leaf, strconv.Quote(test[2])); err != nil || got != test[3] {
			t.Errorf("%s under %s: %s, %v, want %s", test[2], test[1], got, err, test[3])
		}
	}
}

// Whatever the offset, nothing of it leaves under a treatment that moves, counts or reduces.
func TestOffsetNeverLeaves(t *testing.T) {
	treatments := []string{`"shift"`, `{"shift":{"clock":"hour"}}`, `{"shift":{"clock":"drop"}}`, `"day"`, `"year"`}
	rapid.Check(t, func(t *rapid.T) {
		treatment := rapid.SampledFrom(treatments).Draw(t, "treatment")
		local := time.Unix(rapid.Int64Range(1_000_000_000, 4_000_000_000).Draw(t, "at"), 0).UTC()
		leaf := `{"type":"string","format":"date-time","deid":` + treatment + `,"why":"w"}`
		treated := func(offset string) string {
			out, err := treatedLeaf(t, leaf, strconv.Quote(local.Format("2006-01-02T15:04:05")+offset))
			if err != nil {
				t.Fatal(err)
			}
			return out
		}
		minutes := 15 * rapid.IntRange(-12*4, 14*4).Draw(t, "quarters")
		sign, size := '+', minutes
		if minutes < 0 {
			sign, size = '-', -minutes
		}
		out := treated(fmt.Sprintf("%c%02d:%02d", sign, size/60, size%60))
		var whole string
		if json.Unmarshal([]byte(out), &whole) == nil {
			if out != treated("Z") || strings.Trim(whole, "T:-0123456789") != "" ||
				strings.ContainsAny(whole[len("2006-01-02"):], "+-Z") {
				t.Fatalf("%s leaves as %s", local, out)
			}
			return
		}
		var parts map[string]any
		if err := json.Unmarshal([]byte(out), &parts); err != nil || len(parts) != 2 {
			t.Fatal(out)
		}
		if date, ok := parts["date"].(string); ok && len(date) != len(time.DateOnly) {
			t.Fatalf("%s leaves as %s", local, out)
		}
	})
}

// One code has one pseudonym, however it is written: as a number or a text, in any case, with
// blanks and hyphens.
//
// The value was computed with Python's hmac and hashlib: HKDF-SHA256 of the key that testKey
// returns, without salt, info "outbreath/1/kit/LARK-2", then HMAC-SHA256 of "17".
func TestCodesOfAnyKind(t *testing.T) {
	const leaf = `{"type":["string","integer"],"deid":{"pseudonym":"kit"},"why":"w"}`
	const want = `"ZVH0-T5Z8-J6FV-6C5H-C"`
	for _, value := range []string{`17`, `"17"`, `17.0`, `1.7e1`, `" 1-7"`, `"１７"`} {
		if got, err := treatedLeaf(t, leaf, value); err != nil || got != want {
			t.Errorf("%s: %s, %v, want %s", value, got, err, want)
		}
	}
	for _, value := range []string{`-17`, `""`, `"--"`, `1e70`} {
		if got, err := treatedLeaf(t, leaf, value); err == nil {
			t.Errorf("%s leaves as %s", value, got)
		}
	}
	other, err := treatedLeaf(t, strings.Replace(leaf, "kit", "lot", 1), `17`)
	if err != nil || other == want {
		t.Errorf("a lot and a kit of one number: %s, %v", other, err)
	}
	p := NewPseudonymiser(testKey(), "LARK-2")
	rapid.Check(t, func(t *rapid.T) {
		n := strconv.Itoa(rapid.IntRange(0, 1e9).Draw(t, "n"))
		a, err1 := treatedLeaf(t, leaf, n)
		b, err2 := treatedLeaf(t, leaf, strconv.Quote(n))
		c, err3 := p.Code("kit", n)
		if err1 != nil || err2 != nil || err3 != nil || a != b || a != strconv.Quote(c) {
			t.Fatalf("%s: %s, %s, %s", n, a, b, c)
		}
	})
}

// Every purpose for which a key is derived is either that of a pseudonym or cannot be named by a
// plan: what one key gives for two uses could be compared.
func TestReservedPurposes(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "../keys/pseudonym.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok {
			return true
		}
		if kind, ok := spec.Type.(*ast.Ident); !ok || kind.Name != "Purpose" {
			return true
		}
		value, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
		if err != nil {
			t.Fatal(err)
		}
		seen++
		made := value == string(keys.Subject) || value == string(keys.Session) || value == string(keys.Operator)
		if _, err := schema.ParseTreatment("pseudonym " + value); (err == nil) != made {
			t.Errorf("a plan may name the purpose %q: %t", value, err == nil)
		}
		return true
	})
	if seen < 9 {
		t.Errorf("found %d purposes, there are nine or more", seen)
	}
}
