package custody

import (
	"strings"
	"testing"
	"time"
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
		{"sealed nonsense", Rejected, 0, true}, // a decision of another version
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
