package schema

import (
	"testing"

	"pgregory.net/rapid"
)

var anyTreatment = rapid.Custom(func(t *rapid.T) Treatment {
	switch kind := rapid.SampledFrom([]TreatmentKind{Keep, Drop, Pseudonym, Shift, Year, DayCount, AgeBand, Region,
		Round,
		Text, Recording}).Draw(t, "kind"); kind {
	case Pseudonym:
		return Treatment{Kind: kind,
			Purpose: rapid.StringMatching(`subject|session|operator|kit|lot|[a-z][a-z0-9-]{0,31}`).
				Filter(purpose).Draw(t, "purpose")}
	case Shift:
		return Treatment{Kind: kind, Clock: rapid.SampledFrom([]string{"", ClockHour, ClockDrop}).Draw(t, "clock")}
	case AgeBand:
		return Treatment{Kind: kind, Width: rapid.IntRange(1, 50).Draw(t, "width")}
	case Region:
		return Treatment{Kind: kind, Width: rapid.IntRange(0, 3).Draw(t, "width")}
	case Round:
		r := Treatment{Kind: kind, Width: rapid.IntRange(1, 100).Draw(t, "width"), Coded: rapid.Bool().Draw(t, "coded")}
		if r.Coded {
			r.From = r.Width * rapid.IntRange(-20, 20).Draw(t, "from")
			r.To = r.From + r.Width*rapid.IntRange(1, 20).Draw(t, "steps")
		}
		return r
	default:
		return Treatment{Kind: kind}
	}
})

// What String writes, ParseTreatment reads, and nothing else.
func TestParseTreatment(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anyTreatment.Draw(t, "treatment")
		if got, err := ParseTreatment(want.String()); err != nil || got != want {
			t.Fatalf("%q gives %+v, %v; want %+v", want, got, err, want)
		}
	})
	for _, text := range []string{"", "hold", "Keep", "keep ", "keep 5", "pseudonym", "pseudonym Kit",
		"pseudonym shift", "pseudonym finding", "pseudonym state", "pseudonym kit ", "shift,", "shift, keep",
		"shift hour",
		"shift, drop", "shift no clock", "day 1", "age-band",
		"age-band 05", "age-band x",
		"age-band 5 ", "round", "round 5, 140", "round 5, 140 to", "round 5, 140 to 200 cm", "round 5,140 to 200",
		"region 0", "shift 3", " year"} {
		if got, err := ParseTreatment(text); err == nil || got != (Treatment{}) {
			t.Errorf("%q is taken for %+v", text, got)
		}
	}
	// The plans' own, and every one of a plan that is read: see the contract's table of treatments.
	for _, name := range Builtin() {
		p, err := LoadPlan(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range p.Fields {
			if got, err := ParseTreatment(f.Treatment.String()); err != nil || got != f.Treatment {
				t.Errorf("%s %s: %v, %v", name, f.Path, got, err)
			}
		}
	}
}

// A width is taken up to the most that its treatment allows, and the ends of a range are two.
func TestTreatmentBounds(t *testing.T) {
	for text, ok := range map[string]bool{
		`{"age-band": 1}`: true, `{"age-band": 50}`: true, `{"age-band": 51}`: false, `{"age-band": 0}`: false,
		`{"region": 1}`: true, `{"region": 3}`: true, `{"region": 4}`: false, `{"region": "3"}`: false,
		`{"round": 1}`: true, `{"round": 100}`: true, `{"round": 101}`: false, `{"round": -5}`: false,
		`{"round": 5, "from": 140, "to": 145}`: true, `{"round": 5, "from": 140, "to": 140}`: false,
		`{"round": 5, "from": 145, "to": 140}`: false, `{"round": 5, "from": 141, "to": 200}`: false,
		`{"round": 5, "from": 140, "to": 201}`: false, `{"round": 5, "from": 140}`: false,
		`"shift"`: true, `{"shift": {"clock": "keep"}}`: true, `{"shift": {"clock": "hour"}}`: true,
		`{"shift": {"clock": "drop"}}`: true, `{"shift": {"clock": "minute"}}`: false, `{"shift": {}}`: false,
		`{"shift": "hour"}`: false, `{"shift": {"clock": "hour", "zone": "UTC"}}`: false,
		`{"shift": {"clock": 1}}`: false, `{"shift": {"clock": ""}}`: false, `"day"`: true, `{"day": 1}`: false,
		`{"pseudonym": "kit"}`: true, `{"pseudonym": "blood-bag-2"}`: true, `{"pseudonym": "shift"}`: false,
		`{"pseudonym": "finding"}`: false, `{"pseudonym": "key-id"}`: false, `{"pseudonym": "Kit"}`: false,
		`{"pseudonym": "2nd"}`: false, `{"pseudonym": "a23456789012345678901234567890123"}`: false,
		`{"pseudonym": ""}`: false, `{"pseudonym": 1}`: false,
	} {
		n, err := ParseJSON([]byte(text))
		if err != nil {
			t.Fatal(err)
		}
		if got, message := parseTreatment(n); (message == "") != ok {
			t.Errorf("%s: %+v, %q", text, got, message)
		}
	}
}
