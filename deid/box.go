package deid

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// DiscrepanciesName is the payload file that lists the tubes on which box and
// records disagree, with the packer's reasons. It is absent when they agree.
const DiscrepanciesName = "discrepancies.csv"

// Kinds of a [Discrepancy].
const (
	TubeMissing    = "missing"    // in a record, not in the box
	TubeUnexpected = "unexpected" // in the box, not in any record
	TubeTwice      = "twice"      // more often in the box than in the records
)

// A Discrepancy is a tube on which box and records disagree, and the packer's
// reason for sending the box nevertheless.
type Discrepancy struct {
	Barcode string `json:"barcode"`
	Kind    string `json:"kind"`
	Reason  string `json:"reason"`
}

// maxReason bounds a reason, in bytes.
const maxReason = 500

// Tubes returns the tubes of the treated records, ordered by barcode.
func (d *Draft) Tubes() []ClearedTube { return d.tubes() }

func (d *draft) tubes() []ClearedTube {
	var all []ClearedTube
	for _, s := range d.sessions {
		all = append(all, s.tubes...)
	}
	sortTubes(all)
	return all
}

func sortTubes(tubes []ClearedTube) {
	slices.SortFunc(tubes, func(a, b ClearedTube) int {
		return cmp.Or(cmp.Compare(a.Barcode, b.Barcode), cmp.Compare(a.Session, b.Session))
	})
}

// NamesSomebody reports whether a scanned code is a value of the roster: the packer
// scanned a wristband or a patient's label instead of a tube. Such a code must not
// be shown.
func (d *Draft) NamesSomebody(scanned string) bool {
	return slices.ContainsFunc(d.searcher.scan.Scan(scanned, nil),
		func(m leak.Match) bool { return strings.HasPrefix(m.Basis, "roster: ") })
}

// A ReasonError reports why a reason may not leave. Class is "" when the fault is
// something other than an identifier.
type ReasonError struct {
	Barcode string
	Class   leak.Class
	Message string
}

func (e *ReasonError) Error() string {
	return fmt.Sprintf("the reason for tube %.100q %s", e.Barcode, e.Message)
}

// Reason checks that a reason may leave: one line in which the search finds nothing
// but the barcode. No decision can keep a finding here; the packer rewords the reason
// instead. The error is a *[ReasonError].
func (d *Draft) Reason(barcode, reason string) error {
	refuse := func(class leak.Class, message string) error { return &ReasonError{barcode, class, message} }
	switch {
	case d.NamesSomebody(barcode):
		return &ReasonError{"(withheld)", "", "cannot be given: the scanned code is in the roster and is not a " +
			"tube's barcode"}
	case strings.TrimSpace(reason) == "":
		return refuse("", "is empty: say why the box is sent as it is")
	case oneLine(reason, maxReason) != nil:
		return refuse("", oneLine(reason, maxReason).Error())
	case schema.Formula(reason) || schema.Formula(barcode):
		return refuse("", "or its barcode begins with = + - @, which a spreadsheet would run as a formula")
	}
	study := d.c.Study
	for _, m := range d.searcher.scan.Scan(reason, leak.Declare(barcode, study.Study, study.Site)) {
		return refuse(m.Class, "may hold "+leak.Article(m.Class.Words().Removed)+": leave it out")
	}
	return nil
}

// State puts discrepancies into the shipment, in place of any stated before. It
// returns the *[ReasonError] of the first reason that does not pass [Draft.Reason],
// and then changes nothing.
func (d *Draft) State(list []Discrepancy) error {
	list = slices.Clone(list)
	slices.SortFunc(list, func(a, b Discrepancy) int {
		return cmp.Or(cmp.Compare(a.Barcode, b.Barcode), cmp.Compare(a.Kind, b.Kind))
	})
	for _, x := range list {
		if err := d.Reason(x.Barcode, x.Reason); err != nil {
			return err
		}
	}
	d.stated = list
	return nil
}

// discrepanciesCSV returns discrepancies.csv (RFC 4180, but lines end with LF).
func discrepanciesCSV(list []Discrepancy) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"barcode", "kind", "reason"})
	for _, x := range list {
		w.Write([]string{x.Barcode, x.Kind, x.Reason})
	}
	w.Flush()
	return b.Bytes(), w.Error()
}
