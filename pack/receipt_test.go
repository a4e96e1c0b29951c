package pack

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

func sampleVerdict(d Decision) *Verdict {
	v := &Verdict{Shipment: "WEIR-0012", Decision: d, Study: "LARK-2", Site: "WEIR", Sealed: "2026-03-06",
		Parts:  []Part{{partName("WEIR-0012", 0, 1), 12345, strings.Repeat("0a", 32)}},
		Checks: []Check{{Name: checkSignature, OK: true, Detail: "signed"}}}
	v.Archive = ArchiveDigest(v.Parts)
	switch d {
	case Discrepancies:
		v.Recorded = []string{"T-1", "T-2"}
		v.compareTubes([]string{"T-1", "T-3"})
	case Rejected:
		v.Checks = append(v.Checks, Check{Name: checkArchive, OK: false, Detail: "damaged"})
	}
	return v
}

var intakeTime = time.Date(2026, 3, 9, 14, 5, 6, 7, time.FixedZone("", 3600))

func TestReceipt(t *testing.T) {
	for _, d := range []Decision{Accepted, Discrepancies, Rejected} {
		r, err := NewReceipt(sampleVerdict(d), "harbour-lab", "I. Intake", []string{"lid <dented> & cold"}, intakeTime)
		if err != nil {
			t.Fatal(d, err)
		}
		text := r.Format()
		again, err := ParseReceipt(text)
		if err != nil || !bytes.Equal(again.Format(), text) ||
			again.At.Format(time.RFC3339Nano) != "2026-03-09T13:05:06Z" {
			t.Errorf("%s: %v\n%s", d, err, text)
		}
		if d == Discrepancies && (len(r.Tubes.Missing) != 1 || len(r.Objections) != 1) {
			t.Errorf("%s", text)
		}
	}
}

// What could not be believed is not receipted.
func TestReceiptOfUnsigned(t *testing.T) {
	v := &Verdict{Shipment: "WEIR-0012", Decision: Rejected, Checks: []Check{{Name: checkSignature, OK: false,
		Detail: "unknown"}}}
	if r, err := NewReceipt(v, "lab", "x", nil, intakeTime); err != nil || r.Archive != "" || r.Site != "" {
		t.Error(r, err)
	}
	v.Shipment = "a folder"
	if _, err := NewReceipt(v, "lab", "x", nil, intakeTime); err == nil {
		t.Error("a receipt without a number")
	}
	for name, remark := range map[string]string{"lines": "a\nb", "control": "\x1b[2J", "long": strings.Repeat("a",
		maxRemark+1), "not UTF-8": "\xff"} {
		if _, err := NewReceipt(sampleVerdict(Accepted), "lab", "x", []string{remark}, intakeTime); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if _, err := NewReceipt(sampleVerdict(Accepted), "lab", "", nil, intakeTime); err == nil {
		t.Error("a receipt by nobody")
	}
}

func TestParseReceiptRefuses(t *testing.T) {
	r, err := NewReceipt(sampleVerdict(Discrepancies), "harbour-lab", "I. Intake", nil, intakeTime)
	if err != nil {
		t.Fatal(err)
	}
	good := string(r.Format())
	for name, edit := range map[string][2]string{
		"decision alone":    {`"discrepancies"`, `"accepted"`},
		"statement":         {"accepts it with", "accepts all"},
		"number":            {`"shipment": "WEIR-0012"`, `"shipment": "WEIR-0013"`},
		"digest":            {`"archive_sha256": "0a`, `"archive_sha256": "0b`},
		"digest of a part":  {`"sha256": "0a`, `"sha256": "0b`},
		"no site":           {`"site": "WEIR"`, `"site": ""`},
		"other site":        {`"site": "WEIR"`, `"site": "HOLM"`},
		"blank":             {`: "LARK-2"`, `:  "LARK-2"`},
		"unknown name":      {`"study"`, `"Study"`},
		"name twice":        {`"study"`, `"study": "LARK-2", "study"`},
		"later version":     {"receipt-1", "receipt-2"},
		"other document":    {"outbreath-receipt-1", "outbreath-shipment-1"},
		"no time":           {"2026-03-09T13:05:06Z", "0001-01-01T00:00:00Z"},
		"time with offset":  {"2026-03-09T13:05:06Z", "2026-03-09T14:05:06+01:00"},
		"list gone":         {`"remarks": []`, `"remarks": null`},
		"objections gone":   {`"name": "tubes"`, `"name": "tubes\n"`},
		"something after":   {"}\n}\n", "}\n}\n{}"},
		"without line feed": {`Z"` + "\n}\n", `Z"` + "\n}"},
	} {
		bad := strings.Replace(good, edit[0], edit[1], 1)
		if name == "something after" {
			bad = good + "{}"
		}
		if bad == good {
			t.Fatalf("%s: nothing was changed", name)
		}
		if _, err := ParseReceipt([]byte(bad)); err == nil {
			t.Errorf("%s: taken", name)
		} else if strings.Contains(err.Error(), "LARK") || strings.Contains(err.Error(), "Intake") {
			t.Errorf("%s: content in %v", name, err)
		}
	}
	if _, err := ParseReceipt(make([]byte, MaxReceipt+1)); err == nil {
		t.Error("too long: taken")
	}
}

func FuzzReceipt(f *testing.F) {
	for _, d := range []Decision{Accepted, Discrepancies, Rejected} {
		r, err := NewReceipt(sampleVerdict(d), "harbour-lab", "I. Intake", []string{"cold"}, intakeTime)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(r.Format())
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if r, err := ParseReceipt(data); err == nil && !bytes.Equal(r.Format(), data) {
			t.Errorf("a second spelling is taken: %q", data)
		}
	})
}
