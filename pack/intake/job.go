package intake

import (
	"context"
	"errors"
	"slices"
	"time"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/register"
)

// A Job is what a laboratory brings to the shipments that arrived. It is used for one
// [Job.Run].
type Job struct {
	// Verify is how each shipment is verified. Tubes and Progress are set by Run.
	// RepairInto and Look are for one shipment.
	Verify pack.VerifyOptions

	// Boxes are the barcodes scanned: one list for each shipment, in the order of the
	// folders, or one for the tubes of all boxes together. None: not compared.
	Boxes [][]string

	Workers  int              // shipments verified at a time; 0: as many as there are processors
	Register *Register        // nil: none is asked
	Receipts *Receipts        // nil: none are written
	Now      func() time.Time // the laboratory's clock

	// Advise returns what a person can do about the reason of a check: its Cause if it is
	// one of [pack.Verify], or an *[Error], *[Answer], *[pack.MediaError] or [ErrNotAsked];
	// "" for nothing. It follows the fact in the check's detail, so that a receipt repeats
	// it. May be nil.
	Advise func(reason error) string

	// Progress is called on any goroutine, never twice at once: with bytes of the
	// archive for one shipment, with shipments for several. May be nil.
	Progress func(done, total int64)

	// Verified is called when all are verified, before anything is entered. May be nil.
	Verified func()
}

// Keys returns how a laboratory with this key folder verifies at the time now: whom it
// trusts, and what it decrypts with. The error is an *[Error] with Fault SiteKeys, or
// that of the key folder.
func Keys(folder *keys.Folder, now time.Time) (o pack.VerifyOptions, err error) {
	if folder.Role() != keys.Lab {
		return o, &Error{Fault: SiteKeys, Path: folder.Dir()}
	}
	o.Now = now
	if o.Allowed, err = folder.Allowed(); err != nil {
		return o, err
	}
	o.Identities, err = folder.Identities()
	return o, err
}

// A Result is what a Job found. Slices by shipment have the order of the folders.
type Result struct {
	Shipments []*pack.Verdict
	Tubes     *pack.TubeMatch // of all boxes, when they were scanned together
	Gaps      []register.Gap  // in the numbering of the sites that the shipments are from; nil without a register
	Receipts  []string        // paths of those written

	Unread    []error   // by shipment: why it was not verified; nil if it was
	Unentered error     // of the register, which did not take all verdicts; then there are no receipts
	Unwritten error     // a *[ReceiptError] of the first receipt that was not written
	Unnamed   []Unnamed // rejected shipments that no receipt can name
}

// A Unnamed is a shipment for which there can be no receipt.
type Unnamed struct {
	Shipment string // its folder's name
	Err      error  // words that follow "it"
}

// Decision returns the worst of all decisions; a shipment that was not verified is worse
// than discrepancies. Boxes that were scanned together and do not agree with the records
// are discrepancies.
func (r *Result) Decision() pack.Decision {
	ranks := []pack.Decision{pack.Accepted, pack.Discrepancies, pack.NotVerified, pack.Rejected}
	worst := 0
	if r.Tubes != nil && !r.Tubes.Agrees() {
		worst = 1
	}
	for _, v := range r.Shipments {
		worst = max(worst, slices.Index(ranks, v.Decision))
	}
	return ranks[worst]
}

// WhyUnread returns the first error of a shipment that was not verified, or nil.
func (r *Result) WhyUnread() error {
	for _, err := range r.Unread {
		if err != nil {
			return err
		}
	}
	return nil
}

// Failed returns what failed after the verification, or nil: the verdicts hold all the
// same.
func (r *Result) Failed() error {
	if r.Unentered != nil {
		return r.Unentered
	}
	return r.Unwritten
}

// errUnpaired is a mistake of the caller, who knows how many files were named.
var errUnpaired = errors.New("the lists of tubes are neither one, nor one for each shipment")

// Run verifies the shipments in dirs, at least one, and does with them what the package
// comment lists. It can unpack one shipment, if [pack.VerifyOptions.Into] says so.
//
// What is wrong with a shipment is in its verdict, and what failed after the
// verification in the Result. The error is for what ended the work before there was a
// Result: the context's, that of a key, and of one shipment alone that it is none
// (*[Error]) or could not be read (*[pack.MediaError]).
func (j *Job) Run(ctx context.Context, dirs []string) (*Result, error) {
	paired := len(j.Boxes) == len(dirs)
	if len(j.Boxes) > 1 && !paired {
		return nil, errUnpaired
	}
	r := &Result{}
	if err := j.verifyAll(ctx, dirs, paired, r); err != nil {
		return nil, err
	}
	if j.Verified != nil {
		j.Verified()
	}
	for _, v := range r.Shipments {
		Advise(v, j.Advise)
	}
	if len(j.Boxes) == 1 && !paired {
		r.Tubes = pack.ComparePool(r.Shipments, j.Boxes[0])
	}
	pack.Attribute(r.Shipments)
	alarms := pack.Contradictions(r.Shipments)
	if err := j.enterAll(ctx, r); err != nil {
		return nil, err
	}
	for i, alarm := range alarms {
		if alarm != nil {
			r.Shipments[i].Add(*alarm, pack.Rejected)
			r.Shipments[i].Disputed = true
		}
	}
	if j.Receipts != nil && r.Unentered == nil {
		r.Unwritten = j.Receipts.writeAll(r, j.Now())
	}
	return r, nil
}

// advised returns the fact that reason states, and what to do about it.
func (j *Job) advised(reason error) string {
	return j.with(reason.Error(), reason)
}

// with returns fact, and what to do about reason.
func (j *Job) with(fact string, reason error) string {
	return follow(fact, ": ", j.Advise, reason)
}

// Advise adds to the checks of v that failed, and to its caution, what advise says about
// the errors behind them: to a verdict of [pack.Verify], once. advise may be nil.
func Advise(v *pack.Verdict, advise func(reason error) string) {
	for i := range v.Checks {
		if c := &v.Checks[i]; c.Cause != nil {
			c.Detail = follow(c.Detail, "; ", advise, c.Cause)
		}
	}
	if v.Caution != "" {
		v.Caution = follow(v.Caution, ": ", advise, pack.ErrUncompared)
	}
}

// follow returns fact, followed by what advise says about reason, if it says anything.
func follow(fact, mark string, advise func(error) string, reason error) string {
	if advise == nil {
		return fact
	}
	if do := advise(reason); do != "" {
		return fact + mark + do
	}
	return fact
}
