package schema

import (
	"reflect"
	"testing"
)

// The annotation of a treatment is read as that treatment.
func TestAnnotation(t *testing.T) {
	for _, s := range []string{"keep", "drop", "pseudonym subject", "pseudonym kit", "shift", "shift, hour",
		"shift, no clock", "day", "year", "age-band 10", "region",
		"region 2", "round 15", "round 5, 140 to 200", "text", "recording"} {
		want, err := ParseTreatment(s)
		if err != nil {
			t.Fatal(err)
		}
		got, message := parseTreatment(want.Annotation())
		if got != want || message != "" {
			t.Errorf("%s: %+v %s", s, got, message)
		}
	}
}

// A built-in plan and one with references and alternatives are written as they were read, but for
// the changed field.
func TestAmended(t *testing.T) {
	var plans []*Plan
	for _, name := range Builtin() {
		p, err := LoadPlan(name)
		if err != nil {
			t.Fatal(err)
		}
		plans = append(plans, p)
	}
	for _, p := range plans {
		data, err := p.Amended("own.json", nil)
		if err != nil {
			t.Fatal(p.Name, err)
		}
		same, err := ParsePlan("own.json", data)
		if err != nil || !reflect.DeepEqual(same.Fields, p.Fields) || !reflect.DeepEqual(same.Columns(), p.Columns()) {
			t.Errorf("%s: written without a change, it is another plan (%v)", p.Name, err)
		}
		band := Treatment{Kind: AgeBand, Width: 20}
		data, err = p.Amended("own.json", map[string]Retreatment{"/subject/birth_date": {band, "For the test."}})
		if err != nil {
			t.Fatal(p.Name, err)
		}
		other, err := ParsePlan("own.json", data)
		if err != nil {
			t.Fatal(p.Name, err)
		}
		for i, f := range other.Fields {
			want := p.Fields[i]
			if f.Path == "/subject/birth_date" {
				want.Treatment, want.Why = band, "For the test."
			}
			if !reflect.DeepEqual(f, want) {
				t.Errorf("%s: %+v, want %+v", p.Name, f, want)
			}
		}
	}
	if _, err := plans[0].Amended("own.json", map[string]Retreatment{"/none": {}}); err == nil {
		t.Error("a field that the plan does not have was changed")
	}
	drop := map[string]Retreatment{"/tubes/*/barcode": {Treatment{Kind: Drop}, ""}}
	if _, err := plans[0].Amended("own.json", drop); err == nil || Allows("/tubes/*/barcode", Treatment{Kind: Drop}) {
		t.Error("a barcode was dropped, which the tool itself reads")
	}
}
