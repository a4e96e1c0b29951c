package custody

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestShipments(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		story string // entries a day apart, the last one a day ago
		want  State
		days  int
		open  bool
	}{
		{"sealing", Unfinished, 0, true},
		{"sealing abandoned", Dead, 0, false},
		{"sealing sealed", Given, 1, false},
		{"sealing sealed - -", Given, 3, false},
		{"sealing sealed - - -", Overdue, 4, true},
		{"sealed sealing sealed - -", Given, 3, false}, // sealed again
		{"sealed accepted - - - - -", Acknowledged, 0, false},
		{"sealed accepted sealing sealed", Acknowledged, 0, false},
		{"sealed discrepancies", Discrepancies, 0, true},
		{"sealed discrepancies settled", Discrepancies, 0, false},
		{"sealed discrepancies settled discrepancies", Discrepancies, 0, true},
		{"sealed discrepancies accepted", Acknowledged, 0, false},
		{"sealed rejected", Rejected, 0, true},
		{"sealed rejected sealing sealed", Given, 1, false},
		{"sealed rejected sealing sealed accepted", Acknowledged, 0, false},
		{"sealed settled", Given, 2, false},
		{"abandoned", Dead, 0, false},
		{"sealed abandoned", Given, 2, false}, // it is on the medium
		{"sealed discrepancies abandoned", Discrepancies, 0, true},
		{"sealed discrepancies sealing sealed", Discrepancies, 0, true},
		{"sealed rejected settled", Rejected, 0, false},
		{"sealed rejected settled sealing sealed - - -", Overdue, 4, true},
		{"sealed given-up", Dead, 0, false},
		{"sealing given-up", Dead, 0, false},
		{"sealed given-up accepted", Acknowledged, 0, false}, // a receipt may come all the same
		{"sealed nonsense", Rejected, 0, true},               // a decision of another version
	} {
		j := newJournal("")
		words := strings.Fields(c.story)
		for i, w := range words {
			e := Entry{When: noon.Add(time.Duration(i-len(words)) * day), What: w, Shipment: "07-0001"}
			switch w {
			case "-":
				e.Shipment = ""
			case "accepted", "discrepancies", "rejected", "nonsense":
				e.What, e.Facts = Receipt, map[string]string{FactDecision: w}
			}
			j.Entries = append(j.Entries, e)
		}
		all := j.Shipments(noon, 3)
		if len(all) != 1 || all[0].State != c.want || all[0].Days != c.days || all[0].Open() != c.open {
			t.Errorf("%s: %+v", c.story, all)
		}
	}
}

// Whether a settlement and a giving up count, and from when the days of an entry that replaces a lost one run.
func TestShipmentFacts(t *testing.T) {
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	receipt := map[string]string{FactDecision: "rejected"}
	for name, c := range map[string]struct {
		list []Entry
		want Shipment
	}{
		"settled before anything was objected to": {[]Entry{{What: Sealed, When: at}, {What: Settled}},
			Shipment{State: Given, Sealed: at, Days: 10}},
		"settled": {[]Entry{{What: Sealed, When: at}, {What: Receipt, When: at, Facts: receipt}, {What: Settled}},
			Shipment{State: Rejected, Sealed: at, Receipt: at, Received: at, Settled: true}},
		"a new receipt after it": {[]Entry{{What: Receipt, When: at, Facts: receipt}, {What: Settled},
			{What: Receipt, When: at, Facts: receipt}}, Shipment{State: Rejected, Receipt: at, Received: at}},
		"given up": {[]Entry{{What: Sealed, When: at}, {What: GivenUp}},
			Shipment{State: Dead, Sealed: at, GivenUp: true}},
		"recalled": {[]Entry{{What: Sealed, When: at,
			Facts: map[string]string{FactRecalled: at.AddDate(0, 0, -3).Format(time.RFC3339)}}},
			Shipment{State: Given, Sealed: at.AddDate(0, 0, -3), Days: 13}},
		"recalled at no time": {[]Entry{{What: Sealed, When: at, Facts: map[string]string{FactRecalled: "then"}}},
			Shipment{State: Given, Sealed: at, Days: 10}},
	} {
		c.want.Shipment = "WEIR-0001"
		for i := range c.list {
			c.list[i].Shipment = "WEIR-0001"
		}
		got := (&Journal{Entries: c.list}).Shipments(at.AddDate(0, 0, 10), 14)
		if d := cmp.Diff([]Shipment{c.want}, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// Shipments come in the order in which they first appear, whatever is between.
func TestShipmentsInOrder(t *testing.T) {
	j := &Journal{}
	for _, w := range strings.Fields("2 1 2 - 3 1 3 2") {
		j.Entries = append(j.Entries, Entry{What: Sealed, When: noon, Shipment: strings.Trim(w, "-")})
	}
	var order []string
	for _, s := range j.Shipments(noon, 14) {
		order = append(order, s.Shipment)
	}
	if got := strings.Join(order, " "); got != "2 1 3" {
		t.Error(got)
	}
}

// Receipts may reach the site in any order; one that proves nothing changes nothing.
func TestReceiptsInAnyOrder(t *testing.T) {
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	receipt := func(decision string, minutes int) Entry {
		f := map[string]string{FactReceived: at.Add(time.Duration(minutes) * time.Minute).Format(time.RFC3339)}
		if decision != "" {
			f[FactDecision] = decision
		}
		return Entry{When: at.Add(time.Hour), What: Receipt, Shipment: "WEIR-0001", Facts: f}
	}
	sealed := Entry{When: at, What: Sealed, Shipment: "WEIR-0001"}
	for name, c := range map[string]struct {
		list []Entry
		want State
	}{
		"in order":            {[]Entry{sealed, receipt("rejected", 1), receipt("accepted", 2)}, Acknowledged},
		"the older one later": {[]Entry{sealed, receipt("accepted", 2), receipt("rejected", 1)}, Acknowledged},
		"the newer one later": {[]Entry{sealed, receipt("accepted", 1), receipt("rejected", 2)}, Rejected},
		"proves nothing":      {[]Entry{sealed, receipt("", 3)}, Given},
		"after one":           {[]Entry{sealed, receipt("discrepancies", 1), receipt("", 3)}, Discrepancies},
	} {
		j := &Journal{Entries: c.list}
		if got := j.Shipments(at, 14)[0].State; got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}
