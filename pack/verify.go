package pack

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"filippo.io/age"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack/durable"
)

// VerifyOptions are what the laboratory brings.
type VerifyOptions struct {
	Allowed    *keys.Allowed           // required; a zero one trusts nobody
	Identities []age.Identity          // not empty
	Now        time.Time               // for valid-before in allowed_signers
	Into       string                  // not "": unpack the bag there, completely or not at all; its parent must exist
	Look       Looker                  // not nil, and Into "": is given every file of the bag while it is read
	RepairInto string                  // not "": write a repaired shipment there, if possible; must not exist
	Tubes      []string                // barcodes in the box; nil: not compared; empty, not nil: an empty box
	Slips      []SlipCode              // of the packing slips at hand; none: not compared
	Progress   func(done, total int64) // archive bytes; may be nil; called on another goroutine, never twice at once
}

// A Decision on a shipment.
type Decision string

const (
	Accepted      Decision = "accepted"
	Discrepancies Decision = "discrepancies"
	Rejected      Decision = "rejected"
	NotVerified   Decision = "not verified" // never of Verify: of a path in a batch that could not be read
)

// A Check is one thing that was looked at.
type Check struct {
	Name   string `json:"name"`
	OK     bool   `json:"ok"`
	Detail string `json:"detail"` // what was found, and when not OK what to do

	// Cause is the error behind a check that failed, on which the caller of Verify may
	// advise; nil when Detail says all.
	Cause error `json:"-"`
}

// A Verdict is what Verify found. Its JSON form is part of the project's format description.
//
// Checks are in the order in which they were made. The first that a shipment
// fails ends them, because the later ones build on it; only "search", "slip" and
// "tubes" can fail without rejecting the shipment.
type Verdict struct {
	Shipment string             `json:"shipment"` // as signed; the folder's name as long as that is unknown
	Decision Decision           `json:"decision"`
	Checks   []Check            `json:"checks"`
	Tubes    *TubeMatch         `json:"tubes,omitempty"`
	Stated   []deid.Discrepancy `json:"stated,omitempty"`         // what the site itself says of box and records
	Archive  string             `json:"archive_sha256,omitempty"` // [ArchiveDigest], as signed; "" while unknown
	Damage   *Damage            `json:"damage,omitempty"`         // of the archive as it arrived; nil: none known
	Repaired *Repaired          `json:"repaired,omitempty"`       // the verdict is of that folder
	Caution  string             `json:"caution,omitempty"`        // of the key that signed it
	Path     string             `json:"path,omitempty"`           // of the folder, as named; set by the caller

	// Bag is the SHA-256 (hex) of the bag's tagmanifest-sha256.txt, which fixes all that is
	// inside. It is known once both signatures and all checksums hold, also of a shipment
	// that is rejected for what its records say: it proves what the site signed.
	Bag                         string   `json:"-"`
	Disputed                    bool     `json:"-"` // other contents have its number; set by the caller of Verify
	Parts                       []Part   `json:"-"` // as signed
	Recorded                    []string `json:"-"` // barcodes of the records; nil when rejected
	Study, Site, Sealed         string   `json:"-"`
	Sessions, Recordings, Count int      `json:"-"` // Count: tubes
	Treatment                   []byte   `json:"-"` // data/treatment.json; nil when rejected
}

// Names of the checks of the folder; those inside the archive are in
// unarchive.go.
const (
	checkFinished  = "finished"
	checkSignature = "signature"
	checkFiles     = "files"
	checkLabel     = "label"
	checkArchive   = "archive"
	checkBag       = "bag signature"
	checkSums      = "checksums"
	checkRecords   = "records"
	checkStated    = "stated by site"
	checkSlip      = "slip"
	checkTubes     = "tubes"
	checkSearch    = "search"
	checkRepair    = "repair data"
	checkRepaired  = "repaired"
)

// Bounds of the small files, in bytes.
const (
	maxReadme = 1 << 20
	maxSig    = 16 << 10
)

// Verify reads the shipment folder at dir once. A shipment that must not be
// used is a Verdict with Decision Rejected, not an error; the error is for a
// folder that cannot be read, a cancelled context, options without Allowed or
// Identities, or o.Into that cannot be written (*[ExistsError] when it is there
// already).
func Verify(ctx context.Context, dir string, o VerifyOptions) (*Verdict, error) {
	switch { // a verdict blames the shipment, and this is not its fault
	case o.Allowed == nil:
		return nil, errors.New("there is no list of trusted signers to verify with")
	case len(o.Identities) == 0:
		return nil, errors.New("there is no identity to open the archive with")
	}
	for _, made := range []string{o.Into, o.RepairInto} {
		if made == "" {
			continue
		}
		if err := absentYet(made); err != nil {
			return nil, err
		}
	}
	root, err := durable.OpenFolder(dir)
	if err != nil {
		return nil, readError(dir, err)
	}
	defer root.Close()
	return verify(ctx, root, o, false)
}

// absentYet finds early what newStaging would.
func absentYet(made string) error {
	root, name, err := durable.At(made)
	if err != nil {
		return nil // newStaging reports it
	}
	defer root.Close()
	return absent(root, name)
}

// verify is Verify. staged says that the folder has not got its name yet.
func verify(ctx context.Context, root *os.Root, o VerifyOptions, staged bool) (*Verdict, error) {
	v := &verifying{ctx: ctx, root: root, o: &o, staged: staged,
		verdict: &Verdict{Shipment: folderName(root.Name()), Decision: Rejected, Checks: []Check{}}}
	if err := v.run(); err != nil {
		return v.examine(err)
	}
	return v.verdict, nil
}

func folderName(dir string) string {
	if abs, err := filepath.Abs(dir); err == nil {
		return filepath.Base(abs)
	}
	return filepath.Base(dir)
}

// A verifying is one run of Verify.
type verifying struct {
	ctx     context.Context
	root    *os.Root
	o       *VerifyOptions
	verdict *Verdict
	label   *label
	sums    []sum
	staging *staging
	staged  bool
}

func (v *verifying) pass(check, format string, args ...any) {
	v.verdict.Checks = append(v.verdict.Checks, Check{Name: check, OK: true, Detail: fmt.Sprintf(format, args...)})
}

// disagree notes what a person must look at, though the shipment can be used.
func (v *verifying) disagree(check, format string, args ...any) {
	v.verdict.disagree(check, fmt.Sprintf(format, args...))
}

func (v *verifying) run() error {
	there, err := v.finished()
	if err != nil {
		return err
	}
	if err := v.signature(); err != nil {
		return err
	}
	if err := v.files(there); err != nil {
		return err
	}
	if err := v.labelled(); err != nil {
		return err
	}
	if v.o.Into != "" {
		if v.staging, err = newStaging(v.o.Into); err != nil {
			return err
		}
		defer v.staging.remove()
		if err := v.staging.checkSpace(v.label.archiveBytes()); err != nil {
			return err
		}
	}
	c, err := v.archive()
	if err != nil {
		return err
	}
	if err := v.repairData(); err != nil {
		return err
	}
	if err := v.inside(c); err != nil {
		return err
	}
	v.verdict.Treatment = c.records.ledger
	v.verdict.Recorded = c.records.barcodes
	v.verdict.Decision = Accepted
	v.search(c.records.again)
	v.slip()
	v.verdict.compareTubes(v.o.Tubes)
	v.verdict.takeStated(c.records.stated)
	if err := v.ctx.Err(); err != nil {
		return context.Cause(v.ctx)
	}
	if v.staging != nil {
		return v.staging.commit()
	}
	return nil
}
