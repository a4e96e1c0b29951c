package site

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"outbreath/deid"
	"outbreath/pack"
	"outbreath/schema"
)

// A Box compares the tubes that are packed with those of the records that are about to
// be sealed. It asks nobody: what differs needs a reason, and who can give one is for
// the caller to know.
type Box struct {
	Tubes []deid.ClearedTube // of the records, as they leave

	draft *deid.Draft
	gone  map[string]bool // barcodes of records that are left out
}

// NewBox readies the comparison with a draft. gone are the records of subjects who have
// withdrawn.
func NewBox(d *deid.Draft, gone []*schema.Session) *Box {
	b := &Box{Tubes: d.Tubes(), draft: d, gone: map[string]bool{}}
	for _, s := range gone {
		for _, t := range s.Tubes {
			b.gone[t.Barcode] = true
		}
	}
	return b
}

// goneTubeDetail is what a note says of a tube whose record is left out.
const goneTubeDetail = "belongs to a record that is left out, because consent was withdrawn: " +
	"take the tube out of the box, and ask the privacy officer what becomes of it"

// Compare says how the scanned barcodes differ from those of the records, and why.
func (b *Box) Compare(scanned []string) *pack.TubeMatch {
	var recorded []string
	for _, t := range b.Tubes {
		recorded = append(recorded, t.Barcode)
	}
	m := pack.MatchTubes(scanned, recorded)
	m.Explain()
	for i := range m.Notes {
		if n := &m.Notes[i]; n.Kind == pack.NoteUnknown && b.gone[n.Barcode] {
			n.Detail = goneTubeDetail
		}
	}
	return m
}

// A StrangerError says that a scan is in the roster: it is somebody's wristband or
// label and no tube. It must not be shown.
type StrangerError struct{ At int } // place of the scan, from 1

func (e *StrangerError) Error() string {
	return fmt.Sprintf("barcode %d of the box is not a tube: it is in the roster, and is not shown here", e.At)
}

// Strangers refuses a box in which something unexpected is in the roster. The error
// is a *[StrangerError].
func (b *Box) Strangers(m *pack.TubeMatch, scanned []string) error {
	for _, stranger := range m.Unexpected {
		if !b.NamesSomebody(stranger) {
			continue
		}
		for i, s := range scanned {
			if strings.TrimSuffix(s, "\r") == stranger {
				return &StrangerError{i + 1}
			}
		}
	}
	return nil
}

// NamesSomebody reports whether a scan is in the roster. It must not be shown.
func (b *Box) NamesSomebody(scan string) bool { return b.draft.NamesSomebody(scan) }

// WrongBox reports whether hardly a tube of the box has a record, as of last week's box.
// A box with nothing in it is another matter.
func WrongBox(m *pack.TubeMatch) bool {
	boxed := len(m.Matched) + len(m.Unexpected)
	return len(m.Unexpected) >= 3 && len(m.Matched)*10 < boxed
}

// IsBarcode reports whether a text is a barcode: of a tube that has a record or is among
// those scanned, or one that looks like those of the records, digit for digit.
func (b *Box) IsBarcode(text string, scanned []string) bool {
	if strings.ContainsAny(text, " \t") {
		return false
	}
	if b.gone[text] || slices.Contains(scanned, text) {
		return true
	}
	look := shape(text)
	return slices.ContainsFunc(b.Tubes, func(t deid.ClearedTube) bool {
		return t.Barcode == text || strings.ContainsRune(look, '9') && shape(t.Barcode) == look
	})
}

// shape is a barcode with every digit made 9 and every letter A.
func shape(barcode string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsDigit(r):
			return '9'
		case unicode.IsLetter(r):
			return 'A'
		}
		return r
	}, barcode)
}

// ErrNoSuchTube says that a reason was given for a tube that does not differ.
var ErrNoSuchTube = errors.New("a reason names no tube that is missing or unexpected")

// Given reads reasons as people write them, "BARCODE=TEXT", for the tubes that differ.
// stated are reasons that were given before, which they replace. The error is
// [ErrNoSuchTube].
func Given(m *pack.TubeMatch, given []string, stated []deid.Discrepancy) (reasons map[string]string, err error) {
	reasons = map[string]string{}
	for _, d := range stated {
		reasons[d.Barcode] = d.Reason
	}
	for _, text := range given {
		best := "" // a barcode may hold "="
		for _, n := range m.Notes {
			if strings.HasPrefix(text, n.Barcode+"=") && len(n.Barcode) > len(best) {
				best = n.Barcode
			}
		}
		if best == "" {
			return nil, ErrNoSuchTube
		}
		reasons[best] = text[len(best)+1:]
	}
	return reasons, nil
}

// Differences returns what of a comparison has a reason, and the notes that have none.
// Reasons are by barcode; kept has those of an interrupted run. A misread scan has no
// reason: it is made again.
func Differences(m *pack.TubeMatch, reasons map[string]string, kept *Packing) (
	list []deid.Discrepancy, open []pack.TubeNote) {
	for _, n := range m.Notes {
		d := DifferenceOf(n)
		if n.Kind != pack.NoteReturn {
			d.Reason = cmp.Or(reasons[n.Barcode], kept.Reason(d))
		}
		if d.Reason == "" {
			open = append(open, n)
		} else {
			list = append(list, d)
		}
	}
	return list, open
}

// DifferenceOf makes of a note what travels with the shipment, without a reason.
func DifferenceOf(n pack.TubeNote) deid.Discrepancy {
	d := deid.Discrepancy{Barcode: n.Barcode, Kind: deid.TubeUnexpected}
	switch n.Kind {
	case pack.NoteMissing:
		d.Kind = deid.TubeMissing
	case pack.NoteTwice:
		d.Kind = deid.TubeTwice
	}
	return d
}

// MayLeave reports whether a reason for a tube may leave. The error is a
// *deid.ReasonError.
func (b *Box) MayLeave(barcode, reason string) error { return b.draft.Reason(barcode, reason) }

// State puts the differences, each with its reason, into the shipment.
func (b *Box) State(list []deid.Discrepancy) error { return b.draft.State(list) }
