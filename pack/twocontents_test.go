package pack

import (
	"strings"
	"testing"
)

// Both contents are proven to be the site's, though the records of one are rejected;
// nothing is proven of one whose checksums do not hold, or that another one signed.
func TestContradictionsOfRejected(t *testing.T) {
	b := newBench(t)
	verdict := func(bend func(f *forged)) *Verdict {
		f := forge(t, b)
		bend(f)
		return b.mustVerify(t, f.write(t, b))
	}
	recording := "data/recordings/" + pseudonym(0) + "-1.csv"
	good := verdict(func(*forged) {})
	bad := verdict(func(f *forged) { f.at(t, recording).data += "9,Marta,3\n" })
	rejectedAt(t, bad, checkRecords)
	if good.Decision != Accepted || good.Bag == "" || bad.Bag == "" || bad.Bag == good.Bag {
		t.Fatalf("%s %q, %s %q", good.Decision, good.Bag, bad.Decision, bad.Bag)
	}
	if bad.Recorded != nil || bad.Treatment != nil {
		t.Error("a rejected shipment gives away barcodes or its treatment")
	}
	for _, order := range [][]*Verdict{{good, bad}, {bad, good}} {
		for i, alarm := range Contradictions(order) {
			if alarm == nil || !strings.Contains(alarm.Detail, "ALARM") {
				t.Errorf("%d of %s first: %v", i, order[0].Decision, alarm)
			}
		}
	}
	again := verdict(func(f *forged) { f.at(t, recording).data += "9,Marta,3\n" })
	if alarms := Contradictions([]*Verdict{bad, again}); alarms[0] != nil || alarms[1] != nil {
		t.Errorf("the same contents twice: %v", alarms)
	}
	forgery := verdict(func(f *forged) { f.signer = newSigner(t) })
	if alarms := Contradictions([]*Verdict{good, forgery}); forgery.Bag != "" || alarms[0] != nil {
		t.Errorf("another signer: %q, %v", forgery.Bag, alarms)
	}
}
