package deid

import (
	"strings"
	"testing"

	"outbreath/schema"
)

// Every field that does not leave as it is shows what happens to it: the value
// before occurs nowhere in the value after.
func TestExamples(t *testing.T) {
	for _, name := range schema.Builtin() {
		plan, err := schema.LoadPlan(name)
		if err != nil {
			t.Fatal(err)
		}
		examples, err := Examples(plan)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(examples) != len(plan.Fields) {
			t.Fatalf("%s: %d examples for %d fields", name, len(examples), len(plan.Fields))
		}
		shown := 0
		for i, e := range examples {
			f := plan.Fields[i]
			if f.Treatment.Kind == schema.Keep {
				if e != (Example{}) {
					t.Errorf("%s %s: an example for a field that is kept", name, f.Path)
				}
				continue
			}
			shown++
			if e.Before == "" || (e.After == "") != (f.Treatment.Kind == schema.Drop) ||
				strings.Contains(e.After, e.Before) {
				t.Errorf("%s %s (%s): %q -> %q", name, f.Path, f.Treatment, e.Before, e.After)
			}
		}
		if shown < 8 {
			t.Errorf("%s: only %d examples", name, shown)
		}
	}
}
