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

// DiscrepanciesName is where a shipment says which tubes the box and the records
// do not share, and why. It is there only when there are any.
const DiscrepanciesName = "discrepancies.csv"

// Kinds of a [Discrepancy].
const (
	TubeMissing    = "missing"    // a record has it, the box has not
	TubeUnexpected = "unexpected" // the box has it, no record has
	TubeTwice      = "twice"      // the box has it more often than the records
)

// A Discrepancy is a tube that the box and the records do not share, and the
// packer's reason for sending them all the same.
type Discrepancy struct {
	Barcode string `json:"barcode"`
	Kind    string `json:"kind"`
	Reason  string `json:"reason"`
}

// maxReason bounds a reason, in bytes.
const maxReason = 500

// Tubes returns the tubes of the records, as they leave, ordered by barcode.
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

// NamesSomebody reports whether what was scanned from the box is in the roster:
// a wristband or a patient's label instead of a tube. It must not be shown.
func (d *Draft) NamesSomebody(scanned string) bool {
	return slices.ContainsFunc(d.searcher.scan.Scan(scanned, nil),
		func(m leak.Match) bool { return strings.HasPrefix(m.Basis, "roster: ") })
}

// A ReasonError says what keeps a reason from leaving. Class is "" when it is no
// identifier.
type ReasonError struct {
	Barcode string
	Class   leak.Class
	Message string
}

func (e *ReasonError) Error() string {
	return fmt.Sprintf("the reason for tube %.100q %s", e.Barcode, e.Message)
}

// Reason says whether a reason may leave: one line in which the search finds
// nothing but the barcode. Here nothing is decided upon, the packer says it
// otherwise. The error is a *[ReasonError].
func (d *Draft) Reason(barcode, reason string) error {
	refuse := func(class leak.Class, message string) error { return &ReasonError{barcode, class, message} }
	switch {
	case d.NamesSomebody(barcode):
		return &ReasonError{"(withheld)", "", "cannot be given: what was scanned stands in the roster and is no " +
			"tube's barcode"}
	case strings.TrimSpace(reason) == "":
		return refuse("", "is empty: say why the box is sent like this")
	case oneLine(reason, maxReason) != nil:
		return refuse("", oneLine(reason, maxReason).Error())
	case schema.Formula(reason) || schema.Formula(barcode):
		return refuse("", "or its barcode begins with = + - @, which a spreadsheet would run as a formula")
	}
	study := d.c.Study
	for _, m := range d.searcher.scan.Scan(reason, leak.Declare(barcode, study.Study, study.Site)) {
		return refuse(m.Class, "may hold "+leak.Article(m.Class.Words().Removed)+": say it without")
	}
	return nil
}

// State puts discrepancies into the shipment. Every reason must pass [Draft.Reason].
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

// discrepanciesCSV returns discrepancies.csv (RFC 4180, lines end with LF).
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
