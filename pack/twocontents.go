package pack

// checkContradiction names the check of several shipments against each other.
const checkContradiction = "number"

// Contradictions returns, for each of verdicts, the check that it fails because
// another one with other contents has the same number of the same site and study;
// nil for the others. The site signed both, also one whose records are not as they
// must be, and whoever used either could give the samples of one subject to another.
func Contradictions(verdicts []*Verdict) []*Check {
	type number struct{ study, site, shipment string }
	bags := make(map[number]map[string]bool)
	of := func(v *Verdict) number { return number{v.Study, v.Site, v.Shipment} }
	for _, v := range verdicts {
		if v.Bag == "" { // nobody is proven to have signed its contents
			continue
		}
		if bags[of(v)] == nil {
			bags[of(v)] = make(map[string]bool)
		}
		bags[of(v)][v.Bag] = true
	}
	alarms := make([]*Check, len(verdicts))
	for i, v := range verdicts {
		if v.Bag != "" && len(bags[of(v)]) > 1 {
			alarms[i] = &Check{Name: checkContradiction,
				Detail: "ALARM: several shipments here have the number " + v.Shipment +
					" and other contents: keep them apart, use none of them, and ask the site by telephone which " +
					"counts; it may have sealed from two folders, and then it seals the others again under " +
					"free numbers"}
		}
	}
	return alarms
}
