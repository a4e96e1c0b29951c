package audit

import (
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/deid/attack"
)

// wallTime reads a shifted time of an invented output.
func wallTime(text any) time.Time {
	t, err := time.Parse(localTime, text.(string)[:19])
	if err != nil {
		panic(err)
	}
	return t
}

// treated gives the dates of an invented output another form, as the treatment would.
func (v *invented) treated(treatment string, form func(day, elapsed int, start time.Time) map[string]any) {
	v.in.Fields = append([]Field{}, v.in.Fields...)
	for i := range v.in.Fields {
		if v.in.Fields[i].Treatment == "shift" {
			v.in.Fields[i].Treatment = treatment
		}
	}
	first := map[string]time.Time{}
	start := func(r map[string]any) time.Time {
		return wallTime(r["started_at"])
	}
	who := func(r map[string]any) string { return r["subject"].(map[string]any)["subject_id"].(string) }
	for _, r := range v.records {
		if f, ok := first[who(r)]; !ok || start(r).Before(f) {
			first[who(r)] = start(r)
		}
	}
	for _, r := range v.records {
		began := start(r)
		day := int(attack.DayOf(began) - attack.DayOf(first[who(r)]))
		tube := r["tubes"].([]any)[0].(map[string]any)
		opened := wallTime(tube["uncapped_at"])
		r["started_at"] = form(day, 0, began)
		tube["uncapped_at"] = form(day, int(opened.Sub(began).Seconds()), began)
	}
}

// TestAnswersAreMeasured: what a change takes from each attacker, by the audit of the plan as
// it is, is what the attackers gain under the changed plan.
func TestAnswersAreMeasured(t *testing.T) {
	for _, c := range []struct {
		change, treatment string
		form              func(day, elapsed int, start time.Time) map[string]any
	}{
		{"days since", "day", func(day, elapsed int, _ time.Time) map[string]any {
			return map[string]any{"day": day, "elapsed_s": elapsed}
		}},
		{"no clock", "shift, no clock", func(_, elapsed int, start time.Time) map[string]any {
			return map[string]any{"date": start.Format(time.DateOnly), "elapsed_s": elapsed}
		}},
	} {
		v := invent(t)
		now := Examine(v.output(t), &v.in)
		v.treated(c.treatment, c.form)
		then := Examine(v.output(t), &v.in)
		found := false
		for _, a := range now.Answers {
			if !strings.HasPrefix(a.Change, c.change) || a.Together {
				continue
			}
			found = true
			for i, e := range a.Effects {
				before, after := now.Attackers[i], then.Attackers[i]
				if e.Attacker != after.Attacker || e.DaysBefore != before.Dating.Exact ||
					e.LinkedBefore != before.Linked ||
					e.DaysAfter != after.Dating.Exact || e.LinkedAfter != after.Linked {
					t.Errorf("%s: %+v, and the changed plan gives %d days, %d linked", c.change, e, after.Dating.Exact,
						after.Linked)
				}
			}
		}
		if !found {
			t.Errorf("%s: not among %d answers", c.change, len(now.Answers))
		}
	}
}

// TestNumbersInOrder: a field is named once and by its path, so that no line for the plan is offered for a
// barcode, by which the laboratory finds the tube.
func TestNumbersInOrder(t *testing.T) {
	by := []*attack.Attack{{Orders: []string{"/tubes/*/barcode", "/tubes/*/barcode (in stacks of 4)"}},
		{Orders: []string{"/kit/unit"}}}
	orders := numbersInOrder(by)
	if !slices.Equal(orders, []string{"/kit/unit", "/tubes/*/barcode"}) {
		t.Fatal(orders)
	}
	a := (&examiner{}).unordered(orders)
	if len(a.Paste) != 1 || a.Paste[0].Field != "/kit/unit" || !strings.Contains(a.Change, "at random") {
		t.Fatalf("%+v", a)
	}
}
