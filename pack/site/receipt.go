package site

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
)

// Facts of an entry "receipt", in addition to those of package custody.
const (
	factLaboratory      = "laboratory"
	factReceivedBy      = "received_by"
	factReceiptSum      = "receipt_sha256"
	factArchive         = "archive_sha256"
	factRemarks         = "remarks"
	factUnproven        = "decision_unproven"
	factTubesMatched    = "tubes_matched"
	factTubesMissing    = "tubes_missing"
	factTubesUnexpected = "tubes_unexpected"
)

// oneDay is how far the clocks of site and laboratory may differ.
const oneDay = 24 * time.Hour

// A ReceiptReason says why a receipt does not count here.
type ReceiptReason string

// Reasons of a *[ReceiptError].
const (
	ReceiptUnknown      ReceiptReason = "unknown"       // the log knows no such shipment
	ReceiptElsewhere    ReceiptReason = "elsewhere"     // it is about a shipment of another study or site
	ReceiptFuture       ReceiptReason = "future"        // it is dated more than a day from now
	ReceiptEarly        ReceiptReason = "early"         // it is dated more than a day before the shipment was sealed
	ReceiptOtherArchive ReceiptReason = "other-archive" // it names other bytes than those that were sealed
	ReceiptOtherReader  ReceiptReason = "other-reader"  // the shipment was not encrypted to the laboratory that signs
)

// A ReceiptError says that a receipt, whose signature is good, is not about what left
// from here. Nothing was recorded.
type ReceiptError struct {
	Reason     ReceiptReason
	Shipment   string
	Laboratory string
	At         time.Time // of the receipt, UTC
}

func (e *ReceiptError) Error() string {
	switch e.Reason {
	case ReceiptUnknown:
		return fmt.Sprintf("the receipt is about shipment %s, which the log of this collection does "+
			"not know", e.Shipment)
	case ReceiptElsewhere:
		return "the receipt is about a shipment of another study or site"
	case ReceiptFuture:
		return "the receipt is dated in the future"
	case ReceiptEarly:
		return fmt.Sprintf("the receipt is dated %s, before %s "+
			"was sealed", e.At.Local().Format(time.DateOnly), e.Shipment)
	case ReceiptOtherArchive:
		return fmt.Sprintf("the receipt is about another archive than the one that was sealed here as %s", e.Shipment)
	}
	return fmt.Sprintf("the receipt is signed by %s, but %s was not encrypted to that laboratory; nothing was recorded",
		e.Laboratory, e.Shipment)
}

// An Acknowledgement is what became of a receipt.
type Acknowledgement struct {
	Known   bool             // it was recorded before, and nothing was added
	Proven  bool             // it shows which shipment it is about; a rejection of a label not believed does not
	GivenUp bool             // the site had given the shipment up
	State   custody.Shipment // of the shipment, as the log now has it; a newer receipt may count instead of this one
}

// Acknowledge records a laboratory's receipt, whose signature was checked against the
// laboratories that the site trusts. sum is the SHA-256 (hex) of the receipt as it was
// read; e says who and when. The error may be a *[ReceiptError].
func (l *Log) Acknowledge(r *pack.Receipt, sum string, e custody.Entry) (*Acknowledgement, error) {
	proven, err := l.belongs(r, e.When)
	if err != nil {
		return nil, err
	}
	a := &Acknowledgement{Proven: proven}
	a.Known = slices.ContainsFunc(l.Entries, func(old custody.Entry) bool {
		return old.What == custody.Receipt && old.Facts[factReceiptSum] == sum
	})
	if !a.Known {
		e.What, e.Shipment, e.Why = custody.Receipt, r.Shipment, "signed receipt of laboratory "+r.Laboratory
		e.Facts = receiptFacts(r, sum, proven)
		if err := l.Append(e); err != nil {
			return nil, err
		}
	}
	_, a.GivenUp = l.Of(r.Shipment, custody.GivenUp)
	a.State = l.shipment(r.Shipment, l.o.Collection.Study.ReceiptDays)
	return a, nil
}

// shipment returns what the log says of one; days is as in [custody.Journal.Shipments].
func (l *Log) shipment(number string, days int) custody.Shipment {
	for _, s := range l.Shipments(time.Now(), days) {
		if s.Shipment == number {
			return s
		}
	}
	return custody.Shipment{Shipment: number}
}

// belongs checks that a receipt is about a shipment that left from here, is signed by a
// laboratory that it was encrypted to, and names these very bytes. proven is false for a
// rejection whose label could not be believed: nothing shows which shipment it speaks of.
func (l *Log) belongs(r *pack.Receipt, now time.Time) (proven bool, err error) {
	study := l.o.Collection.Study
	refused := func(reason ReceiptReason) (bool, error) {
		return false, &ReceiptError{reason, r.Shipment, r.Laboratory, r.At}
	}
	var copies []custody.Entry
	for _, e := range l.Entries {
		if e.Shipment == r.Shipment && e.What == custody.Sealed {
			copies = append(copies, e)
		}
	}
	switch {
	case len(copies) == 0:
		return refused(ReceiptUnknown)
	case r.Site != "" && (r.Study != study.Study || r.Site != study.Site):
		return refused(ReceiptElsewhere)
	case r.At.After(now.Add(oneDay)):
		return refused(ReceiptFuture)
	case !slices.ContainsFunc(copies, func(e custody.Entry) bool { return !r.At.Before(e.When.Add(-oneDay)) }):
		return refused(ReceiptEarly)
	}
	if r.Archive != "" {
		copies = slices.DeleteFunc(copies, func(e custody.Entry) bool {
			parts := CopyFactsOf(e).Parts
			return slices.ContainsFunc(r.Parts, func(p pack.Part) bool { return parts[p.Name] != p.SHA256 })
		})
	}
	if len(copies) == 0 {
		return refused(ReceiptOtherArchive)
	}
	_, trusted, err := l.o.Folder.Public()
	if err != nil {
		return false, err
	}
	if !slices.ContainsFunc(copies, func(e custody.Entry) bool { return encryptedTo(e, r.Laboratory, trusted) }) {
		return refused(ReceiptOtherReader)
	}
	return r.Archive != "", nil
}

// encryptedTo reports whether the copy that e records was encrypted to a key of the
// laboratory, by the name that the key had then or has now.
func encryptedTo(e custody.Entry, laboratory string, trusted []keys.Trusted) bool {
	return slices.ContainsFunc(CopyFactsOf(e).Readers, func(r Reader) bool {
		return r.Name == laboratory || slices.ContainsFunc(trusted, func(t keys.Trusted) bool {
			return t.Kind == "recipient" && t.Name == laboratory && t.Fingerprint == r.Fingerprint
		})
	})
}

// receiptFacts are what the log keeps of a receipt.
func receiptFacts(r *pack.Receipt, sum string, proven bool) map[string]string {
	f := map[string]string{
		factLaboratory: r.Laboratory, factReceivedBy: r.By, custody.FactReceived: r.At.Format(time.RFC3339),
		factReceiptSum: sum, factArchive: r.Archive, factRemarks: strconv.Itoa(len(r.Remarks)),
	}
	if proven {
		f[custody.FactDecision] = string(r.Decision)
	} else {
		f[factUnproven] = string(r.Decision)
	}
	if r.Tubes != nil {
		f[factTubesMatched] = strconv.Itoa(len(r.Tubes.Matched))
		f[factTubesMissing] = strconv.Itoa(len(r.Tubes.Missing))
		f[factTubesUnexpected] = strconv.Itoa(len(r.Tubes.Unexpected))
	}
	return f
}

// accepted reports whether an entry is a receipt that says that all of the shipment
// arrived.
func accepted(e custody.Entry) bool {
	return e.What == custody.Receipt && e.Facts[custody.FactDecision] == string(pack.Accepted)
}
