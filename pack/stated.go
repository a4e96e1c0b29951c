package pack

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"outbreath/deid"
)

// maxStated is more tubes than a box is out by.
const maxStated = 10_000

// discrepancies reads discrepancies.csv.
func (r *records) discrepancies(data []byte) {
	if tooLong(data, maxStated) {
		r.problem("data/%s is not in the form of the list", deid.DiscrepanciesName)
		return
	}
	in := csv.NewReader(bytes.NewReader(data))
	in.FieldsPerRecord = 3
	rows, err := in.ReadAll()
	if err != nil || len(rows) < 2 || !equalRows(rows[0], []string{"barcode", "kind", "reason"}) {
		r.problem("data/%s is not in the form of the list", deid.DiscrepanciesName)
		return
	}
	for i, row := range rows[1:] {
		if r.formula(deid.DiscrepanciesName, i+1, row) {
			return
		}
		text := strings.Join(row, "")
		ordered := i == 0 || strings.Join(row[:2], "\x00") > strings.Join(rows[i][:2], "\x00")
		readable := utf8.ValidString(text) && !strings.ContainsFunc(text, isControl)
		if !ordered || !readable || row[0] == "" || row[2] == "" {
			r.problem("data/%s: row %d is not one tube and a reason, occurs twice or is out of order",
				deid.DiscrepanciesName, i+1)
			return
		}
		r.stated = append(r.stated, deid.Discrepancy{Barcode: row[0], Kind: row[1], Reason: row[2]})
	}
}

// checkStated compares what the site states with its own list of tubes.
func (r *records) checkStated() {
	for _, x := range r.stated {
		_, recorded := r.tubes[x.Barcode]
		switch {
		case (x.Kind == deid.TubeMissing || x.Kind == deid.TubeTwice) && recorded:
		case x.Kind == deid.TubeUnexpected && !recorded:
		default:
			r.problem("data/%s says of a tube what data/%s does not bear out", deid.DiscrepanciesName, tubesName)
			return
		}
	}
}

// takeStated takes over what the site itself says of the box: the shipment is
// not simply accepted then, and notes on the same tubes repeat the reason.
func (v *Verdict) takeStated(list []deid.Discrepancy) {
	if len(list) == 0 {
		return
	}
	v.Stated = list
	found := 0
	for _, x := range list {
		if v.Tubes == nil {
			break
		}
		for i := range v.Tubes.Notes {
			if n := &v.Tubes.Notes[i]; n.Barcode == x.Barcode {
				n.Detail += "; the site says: " + x.Reason
			}
		}
		if x.Kind == deid.TubeMissing && slices.Contains(v.Tubes.Matched, x.Barcode) {
			found++
		}
	}
	text := fmt.Sprintf("the site itself states %d tubes that box and records do not share, with its reasons: "+
		"settle each with the site", len(list))
	if found > 0 {
		text += fmt.Sprintf("; %d of those that it calls missing are in the box", found)
	}
	v.disagree(checkStated, text)
}
