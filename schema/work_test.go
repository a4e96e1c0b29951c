package schema

import (
	"fmt"
	"strings"
	"testing"

	"outbreath/schema/costtest"
)

// The schema in a shipment is input: what it makes checking cost is bounded.
func TestSchemaBounds(t *testing.T) {
	leaf := func(words string) string {
		return `{"type": "object", "additionalProperties": false, "properties": {"a": {"type": "string", ` + words +
			`}}}`
	}
	list := func(n int) string { return `"enum": [` + strings.Repeat(`"x",`, n-1) + `"y"]` }
	many := func(n int, pattern string) string {
		var fields []string
		for i := range n {
			fields = append(fields, fmt.Sprintf(`"f%d": {"type": "string", "pattern": "%s%d"}`, i, pattern, i))
		}
		return `{"type": "object", "additionalProperties": false, "properties": {` + strings.Join(fields, ",") + `}}`
	}
	for name, text := range map[string]string{
		"a pattern of many steps":     leaf(`"pattern": "` + strings.Repeat("(a|b){1000}", 40) + `"`),
		"many patterns of many steps": many(200, "(a|b){300}c"),
		"a pattern of nested steps": leaf(`"pattern": ` +
			`"((a{1,30}){1,30}b?){1,1}((a{1,30}){1,30}b?)((a{1,30}){1,30}b?)(([ab]{1,30}){1,30}b?)(([a-c]{1,30}){1,30}b?)"`),
		"a long list": leaf(list(maxListed + 1)),
	} {
		t.Run(name, func(t *testing.T) {
			costtest.Within(t, 200, func() {
				if _, err := CompileOutgoing([]byte(text)); err == nil {
					t.Error("accepted")
				}
			})
		})
	}
	for name, c := range map[string]struct{ schema, record string }{
		"pattern times text": {leaf(`"pattern": "(a|b){300}$"`), `{"a": "` + strings.Repeat("ab", 1<<19) + `"}`},
		"list times list": {`{"type": "object", "additionalProperties": false, "properties": {"a": {"type": ` +
			`"array", "items": {` + list(50_000) + `, "type": "string"}}}}`,
			`{"a": [` + strings.Repeat(`"z",`, 20_000) + `"z"]}`},
		"entries in pairs": {`{"type": "object", "additionalProperties": false, "properties": {"a": {"type": ` +
			`"array", "uniqueItems": true, "items": {"type": "integer"}}}}`,
			`{"a": [` + strings.Repeat(`1,`, 40_000) + `1]}`},
	} {
		t.Run(name, func(t *testing.T) {
			v, err := CompileOutgoing([]byte(c.schema))
			if err != nil {
				t.Fatal(err)
			}
			n := parse(t, c.record)
			costtest.Within(t, 50, func() {
				if p := v.Validate("x", n); len(p) != 1 || p[0].Rule != "schema.size" {
					t.Error(p)
				}
			})
		})
	}
}

// The built-in plans and their records are far from the bounds.
func TestBuiltinWork(t *testing.T) {
	for _, name := range Builtin() {
		p, err := LoadPlan(name)
		if err != nil {
			t.Fatal(err)
		}
		v, err := CompileOutgoing(p.Outgoing())
		if err != nil {
			t.Fatal(err)
		}
		if n := v.Work(parse(t, `{"session_id": "0000-0000-0000-0000-0", "site": "07", "sex": "female"}`)); n < 10 ||
			n > 10_000 {
			t.Errorf("%s: work %d", name, n)
		}
	}
}
