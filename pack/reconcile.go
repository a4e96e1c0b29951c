package pack

import (
	"fmt"
	"maps"
	"slices"
)

// Add notes a check from outside the shipment, such as the intake register's. One
// that failed makes decision, [Discrepancies] or [Rejected], the least that v has.
func (v *Verdict) Add(c Check, decision Decision) {
	v.Checks = append(v.Checks, c)
	if !c.OK && v.Decision != Rejected {
		v.Decision = decision
	}
}

// disagree notes a check that failed without rejecting the shipment.
func (v *Verdict) disagree(check, detail string) {
	v.Decision = Discrepancies
	v.Checks = append(v.Checks, Check{Name: check, Detail: detail})
}

// compareTubes compares the box with the records, if it was scanned.
func (v *Verdict) compareTubes(scanned []string) {
	if scanned == nil {
		return
	}
	m := MatchTubes(scanned, v.Recorded)
	v.Tubes = m
	if m.Agrees() {
		v.Checks = append(v.Checks, Check{Name: checkTubes, OK: true,
			Detail: fmt.Sprintf("the box holds the %d tubes of the records and no other", len(m.Matched))})
		return
	}
	m.Explain()
	if len(m.Missing)+len(m.Unexpected) == 0 {
		v.disagree(checkTubes, fmt.Sprintf("all %d tubes were found, but %d read with a carriage return that most "+
			"lines have not: scan these again, and save a new file", len(m.Matched), len(m.Returned)))
		return
	}
	v.disagree(checkTubes, fmt.Sprintf(
		"%d of %d tubes found, %d missing from the box, %d in it that no record has: look for them in the box, "+
			"scan it again, then settle the rest with the site",
		len(m.Matched), len(v.Recorded), len(m.Missing), len(m.Unexpected)))
}

// ComparePool compares the tubes of several boxes, scanned together, with the
// verdicts, which must not have been compared before. Every verdict gets its
// own matched and missing tubes; what nobody has is unexpected in the result,
// which covers all. A rejected shipment has no tubes that could be believed.
func ComparePool(verdicts []*Verdict, scanned []string) *TubeMatch {
	var recorded []string
	for _, v := range verdicts {
		recorded = append(recorded, v.Recorded...)
	}
	pool := MatchTubes(scanned, recorded)
	pool.Explain()
	left := map[string]int{}
	for _, b := range pool.Matched {
		left[b]++
	}
	returned := map[string]int{}
	for _, b := range pool.Returned {
		returned[b]++
	}
	for _, v := range verdicts {
		if v.Decision == Rejected || v.Decision == NotVerified {
			continue
		}
		own := []string{}
		for _, b := range v.Recorded {
			if left[b] > 0 {
				left[b]--
				if returned[b] > 0 {
					returned[b]--
					b += "\r"
				}
				own = append(own, b)
			}
		}
		v.compareTubes(own)
		for i, n := range v.Tubes.Notes { // the pool knows what was scanned instead
			for _, p := range pool.Notes {
				if p.Barcode == n.Barcode && p.Kind == n.Kind {
					v.Tubes.Notes[i] = p
				}
			}
		}
	}
	return pool
}

// Attribute looks for unexpected tubes of each verdict among the records of the
// others: boxes that were swapped, a tube that went into the wrong one. It
// also finds barcodes that two shipments record.
func Attribute(verdicts []*Verdict) {
	homes := map[string][]*Verdict{}
	for _, v := range verdicts {
		for _, b := range v.Recorded {
			homes[b] = append(homes[b], v)
		}
	}
	for _, v := range verdicts {
		v.attribute(homes)
		var shared []string
		other := ""
		for _, b := range v.Recorded {
			if i := slices.IndexFunc(homes[b], func(o *Verdict) bool { return o.Shipment != v.Shipment }); i >= 0 {
				shared, other = append(shared, b), homes[b][i].Shipment
			}
		}
		if len(shared) > 0 {
			v.disagree("barcodes", fmt.Sprintf("%s: recorded in shipment %s too, "+
				"so nobody can tell from the barcode whose sample it is; "+
				"put the tube aside and ask both for the right record", someNames(shared), other))
		}
	}
}

// attribute gives v's unknown tubes to the shipment that records them.
func (v *Verdict) attribute(homes map[string][]*Verdict) {
	if v.Tubes == nil {
		return
	}
	found := map[*Verdict]int{}
	for i := range v.Tubes.Notes {
		n := &v.Tubes.Notes[i]
		if n.Kind != NoteUnknown || len(homes[n.Barcode]) == 0 {
			continue
		}
		home := homes[n.Barcode][0]
		found[home]++
		n.Kind, n.Of = NoteElse, home.Shipment
		n.Detail = fmt.Sprintf("belongs to shipment %s of site %s: put it into that box, and scan both boxes again",
			home.Shipment, home.Site)
	}
	byNumber := func(a, b *Verdict) int { return cmpNames(a.Shipment, b.Shipment) }
	for _, home := range slices.SortedFunc(maps.Keys(found), byNumber) {
		n := found[home]
		text := fmt.Sprintf("; %d of them belong to shipment %s of site %s", n, home.Shipment, home.Site)
		if n == len(home.Recorded) && len(v.Tubes.Matched) == 0 {
			text = fmt.Sprintf("; this is the box of shipment %s of site %s: the boxes were swapped", home.Shipment,
				home.Site)
		}
		for i := range v.Checks {
			if c := &v.Checks[i]; c.Name == checkTubes && !c.OK {
				c.Detail += text
			}
		}
	}
}
