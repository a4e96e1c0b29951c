package sessionlog

import (
	"bytes"
	"testing"

	"outbreath/schema/sheet"
)

// FuzzRead reads any text as a log: nothing panics, equal logs give equal readings, and a
// record that nothing is asked or objected about is one that the plan takes.
func FuzzRead(f *testing.F) {
	f.Add([]byte(joined(plainLog[0])))
	f.Add([]byte(oneColumn("weight", "68,5", "1.234,5")))
	f.Add([]byte(replaced("date", "13/03/26", "Mo 2. M\u00e4rz 2026", "46083")))
	f.Add([]byte(replaced("start", "9.1", "0910", "9 h 10", "24:00", "12:00 am")))
	f.Add([]byte("subject id,vorname,nachname,geb\n0041,A,B,01.02.10\n"))
	f.Add([]byte("tube A volume,tube B volume,session,tube 1,tube 99\n1,2,3,4,5\n"))
	f.Add([]byte(replaced("start", "1e999999999", "1/3", "0x1p9"))) // this took minutes
	in := inputs(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		tables, err := sheet.Read("log.csv", data)
		if err != nil || len(data) > 4096 {
			return
		}
		r := Read(tables, in, nil)
		if again := Read(tables, in, nil); told(r) != told(again) || understood(r) != understood(again) ||
			bytesOf(in.Plan, r) != bytesOf(in.Plan, again) {
			t.Errorf("two readings differ:\n%s\n%s", told(r), told(again))
		}
		if len(r.Doubts)+len(r.Problems) > 0 {
			return
		}
		for _, rec := range r.Records {
			doc := in.Plan.Outline().Record(rec.Values)
			for _, p := range in.Plan.Validate("r", doc) {
				if !bytes.HasPrefix([]byte(p.Pointer), []byte("/recordings")) {
					t.Errorf("nothing is asked, and the plan does not take the record: %+v", p)
				}
			}
		}
	})
}
