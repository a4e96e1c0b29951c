package deid

import (
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"outbreath/schema"

	"github.com/google/go-cmp/cmp"
)

// Two bands, against the newest session and never against the clock. That
// ambient and long-kept tubes go first is common practice, no source.
func TestHandling(t *testing.T) {
	newest := time.Date(2026, 11, 24, 9, 0, 0, 0, time.FixedZone("", 3600))
	bands := func(plan *schema.Plan) map[string]string {
		d := &draft{c: &schema.Collection{Plan: plan, Study: &schema.Study{HoldingDays: 7}}}
		var tubes []ClearedTube
		for name, age := range map[string]time.Duration{"NEW": 0, "HALF": 84 * time.Hour,
			"OLD": 84*time.Hour + time.Second, "AMBIENT": time.Hour} {
			d.sessions = append(d.sessions, &treated{name: name, ended: newest.Add(-age)})
			storage := "refrigerated"
			if name == "AMBIENT" {
				storage = "ambient"
			}
			tubes = append(tubes, ClearedTube{Barcode: "T-" + name, Session: name, Storage: storage})
		}
		d.markFirst(tubes)
		data, err := handlingCSV(tubes)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(data))).ReadAll()
		if err != nil || len(rows) != 5 || strings.Join(rows[0], ",") != "barcode,analyse" {
			t.Fatalf("%q, %v", rows, err)
		}
		got := map[string]string{}
		for i, r := range rows[1:] {
			if r[0] != tubes[i].Barcode {
				t.Error("not in the order of tubes.csv")
			}
			got[r[0]] = r[1]
		}
		if c := d.handlingCaution(); !strings.Contains(c, "more than 3.5 days") {
			t.Error(c)
		}
		return got
	}
	shifted, err := schema.LoadPlan("shifted")
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]string{"T-NEW": "usual", "T-HALF": "usual", "T-OLD": "first", "T-AMBIENT": "first"}
	if diff := cmp.Diff(want, bands(shifted)); diff != "" {
		t.Error(diff)
	}
	// Where no time of the session leaves, its age does not either.
	want["T-OLD"] = "usual"
	if diff := cmp.Diff(want, bands(&schema.Plan{})); diff != "" {
		t.Error(diff)
	}
}
