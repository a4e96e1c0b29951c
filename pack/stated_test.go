package pack

import (
	"testing"

	"outbreath/deid"
)

const statedHead = "barcode,kind,reason\n"

// stated reads a list against the records of tubes T1 and T2.
func stated(data string) *records {
	r := &records{tubes: map[string][]string{"T1": nil, "T2": nil}}
	r.discrepancies([]byte(data))
	r.checkStated()
	return r
}

func TestDiscrepancies(t *testing.T) {
	r := stated(statedHead + "T1,missing,broke\nT2,twice,two carry it\nT3,unexpected,\"a spare, clean\"\n")
	if r.problems != 0 || len(r.stated) != 3 ||
		r.stated[2] != (deid.Discrepancy{Barcode: "T3", Kind: deid.TubeUnexpected, Reason: "a spare, clean"}) {
		t.Errorf("%s: %v", r.first, r.stated)
	}
	for name, bad := range map[string]string{
		"empty": "", "no row": statedHead, "other columns": "barcode,reason\nT1,broke\n", "quotation mark": statedHead +
			"T1,missing,\"\n",
		"missing, but not recorded": statedHead + "T3,missing,x\n", "unexpected, but recorded": statedHead +
			"T1,unexpected,x\n",
		"twice, but not recorded": statedHead + "T3,twice,x\n", "other kind": statedHead + "T1,lost,x\n",
		"no reason": statedHead + "T1,missing,\n", "no tube": statedHead + ",unexpected,x\n", "control": statedHead +
			"T1,missing,\x1b[2J\n",
		"tube twice": statedHead + "T1,missing,x\nT1,missing,y\n", "order": statedHead + "T2,missing,x\nT1,missing,y\n",
		"not UTF-8": statedHead + "T1,missing,\xff\n",
	} {
		if r := stated(bad); r.problems == 0 {
			t.Errorf("%s: taken", name)
		}
	}
}

func FuzzDiscrepancies(f *testing.F) {
	f.Add(statedHead + "T1,missing,broke\nT3,unexpected,\"a spare, clean\"\n")
	f.Fuzz(func(t *testing.T, data string) {
		if r := stated(data); r.problems == 0 && len(r.stated) == 0 {
			t.Errorf("%q is taken, and states nothing", data)
		}
	})
}
