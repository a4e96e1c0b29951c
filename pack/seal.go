package pack

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"

	"outbreath/deid"
	"outbreath/keys/sshsig"
	"outbreath/pack/media"
	"outbreath/pack/repair"
)

// SealOptions are the choices of [Seal].
//
// The folders Media must exist and be apart. Number begins with the site code of the
// collection. All four-digit numbers can be sealed and verified, 0000 too; package
// site begins with 0001.
type SealOptions struct {
	Media      []string // a folder on each medium, one or more; the shipment becomes Media[i]/Number on each
	Number     string   // "07-0012": site code, '-', four digits
	Signer     ssh.Signer
	Recipients []age.Recipient         // not empty
	PartSize   int64                   // bytes; 0: what the file system can hold in one file
	Repair     int                     // repair data, in percent of the archive, 1 to 50; 0: none
	Date       time.Time               // sealing date for the public label; required
	Program    string                  // for the label, in the form of [deid.ProgramForm]; "": not said
	Workers    int                     // compression workers; 0: one a core
	Progress   func(done, total int64) // plain bytes; may be nil

	// BeforeCommit is called when everything has been written and read back,
	// just before the shipment gets its final name. An error stops the sealing.
	BeforeCommit func(*Sealed) error
}

// Sealed is what Seal made. Its JSON form is part of the project's format description.
type Sealed struct {
	OK         bool   `json:"ok"`
	Shipment   string `json:"shipment"`
	Folder     string `json:"folder"` // the first of Copies
	Copies     []Copy `json:"copies"`
	Sessions   int    `json:"sessions"`
	Recordings int    `json:"recordings"`
	Tubes      int    `json:"tubes"`
	Parts      []Part `json:"parts"`
	Repair     *Part  `json:"repair,omitempty"`
	ReadBack   bool   `json:"read_back"`      // of all copies
	Bag        string `json:"bag_sha256"`     // hexadecimal, of tagmanifest-sha256.txt, which fixes the bag
	Archive    string `json:"archive_sha256"` // [ArchiveDigest], which the slip and the receipt name

	// Inside identifies what was sealed of each sort of payload, so that the difference of
	// two bags can be named: "sessions", "recordings", "tubes.csv" ... to the SHA-256 (hex)
	// of their lines in the manifest.
	Inside map[string]string `json:"-"`
}

// A Copy is the shipment on one medium.
type Copy struct {
	Folder   string `json:"folder"`
	ReadBack bool   `json:"read_back"` // false: this system could not be kept from answering out of its memory
}

// A Part is one file of the archive.
type Part struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Seal writes c as shipment o.Number below each of o.Media: all or nothing.
//
// Everything is written into a hidden folder on each medium, synced and read
// back, the signature last; then the folders get their name. On an error, a
// cancelled context included, the hidden folders are removed, and a name that
// one medium has already got is taken away: a person who asked for two copies
// never holds one and believes in the other. What an earlier, killed run left
// on the media is removed first. One Cleared may be sealed several times, one after
// another.
//
// Seal knows neither withdrawals nor which numbers were given: see package site.
//
// The error is a *[TwiceError] if two media are one folder, an *[ExistsError] if a
// medium holds that number already, a *[MediaError] that names the medium if one
// fails, what a payload reader returned (*schema.QueriesError, *deid.FindingsError)
// or the searches of the finished bag did (*deid.RosterError, *deid.InspectionError),
// a *schema.ChangedError if a file changed meanwhile, [ErrParts], [ErrRecipients], the
// context's, or BeforeCommit's. Options that cannot be used give an error without a
// type of its own.
func Seal(ctx context.Context, c *deid.Cleared, o SealOptions) (*Sealed, error) {
	p, err := payloadOf(c)
	if err != nil {
		return nil, err
	}
	return seal(ctx, media.OS{}, p, o)
}

func seal(ctx context.Context, fsys media.FS, p *payload, o SealOptions) (*Sealed, error) {
	if err := cmp.Or(p.check(o.Number), checkProgram(o.Program)); err != nil {
		return nil, err
	}
	switch {
	case len(o.Media) == 0:
		return nil, errors.New("there is no medium to seal onto")
	case o.Signer == nil:
		return nil, errors.New("there is no signing key")
	case len(o.Recipients) == 0:
		return nil, errors.New("there is no recipient")
	case o.Repair != 0 && (o.Repair < repair.MinPercent || o.Repair > repair.MaxPercent):
		return nil, fmt.Errorf("repair data are %d to %d percent of the archive", repair.MinPercent, repair.MaxPercent)
	case o.Date.IsZero() || o.PartSize < 0:
		return nil, errors.New("the sealing date or the part size cannot be used")
	}
	s := &sealing{p: p, o: &o}
	s.targets = targetsOn(fsys, o.Media, o.Number)
	sealed, err := s.run(ctx)
	for _, t := range s.targets {
		t.end(err != nil)
	}
	if err != nil {
		return nil, s.ofSeveral(err)
	}
	return sealed, nil
}

func targetsOn(fsys media.FS, folders []string, number string) (list []*target) {
	for _, folder := range folders {
		list = append(list, &target{fs: fsys, media: folder, number: number, final: filepath.Join(folder, number)})
	}
	return list
}

// A sealing is one run of seal.
type sealing struct {
	p       *payload
	o       *SealOptions
	targets []*target
}

func (s *sealing) run(ctx context.Context) (*Sealed, error) {
	limit, err := s.prepare()
	if err != nil {
		return nil, err
	}
	made, err := s.archive(ctx, limit)
	if err != nil {
		return nil, err
	}
	sealed := &Sealed{OK: true, Shipment: s.o.Number, Folder: s.targets[0].final,
		Sessions: s.p.sessions, Recordings: s.p.recordings, Tubes: s.p.tubes,
		Bag: hex.EncodeToString(made.bag[:]), Inside: inside(made.listed)}
	lab := &label{Format: labelFormat, Shipment: s.o.Number, Study: s.p.study, Site: s.p.site,
		Sealed: s.o.Date.Format(time.DateOnly), Program: s.o.Program,
		Sessions: s.p.sessions, Recordings: s.p.recordings, Tubes: s.p.tubes}
	for _, q := range s.targets[0].written {
		sealed.Parts = append(sealed.Parts, Part{q.Name, q.Bytes, hex.EncodeToString(q.SHA256[:])})
		lab.Parts = append(lab.Parts, labelPart{q.Name, q.Bytes})
	}
	sealed.Archive = ArchiveDigest(sealed.Parts)
	if err := s.finish(ctx, sealed, lab); err != nil {
		return nil, err
	}
	sealed.ReadBack = true
	for _, t := range s.targets {
		sealed.Copies = append(sealed.Copies, Copy{t.final, t.readBack})
		sealed.ReadBack = sealed.ReadBack && t.readBack
	}
	if s.o.BeforeCommit != nil {
		if err := s.o.BeforeCommit(sealed); err != nil {
			return nil, err
		}
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	for _, t := range s.targets {
		if err := t.commit(); err != nil {
			return nil, err
		}
	}
	return sealed, nil
}

// prepare looks at the media before anything of the collection is read, then
// begins on each. limit is the largest file that all can hold; 0: no limit.
func (s *sealing) prepare() (limit int64, err error) {
	if err := s.look(true); err != nil {
		return 0, err
	}
	limit = s.o.PartSize
	for _, t := range s.targets {
		if err := t.begin(); err != nil {
			return 0, err
		}
		most, err := t.stage.FileLimit()
		if err != nil {
			return 0, mediaError(t.media, err)
		}
		if most > 0 && (limit == 0 || most < limit) {
			limit = most
		}
	}
	return limit, nil
}

// look refuses media that cannot take the shipment; see [target.look].
func (s *sealing) look(tidy bool) error {
	for _, t := range s.targets {
		if err := t.look(tidy); err != nil {
			return err
		}
	}
	if err := s.apart(); err != nil {
		return err
	}
	return s.checkSpace()
}

// apart refuses two folders that are one.
func (s *sealing) apart() error {
	for i, t := range s.targets {
		for _, u := range s.targets[:i] {
			if os.SameFile(t.info, u.info) {
				return &TwiceError{First: u.media, Second: t.media}
			}
		}
	}
	return nil
}

// archive writes the parts, the same onto each medium.
func (s *sealing) archive(ctx context.Context, limit int64) (*archived, error) {
	out := &mediaWriter{targets: s.targets, most: capacity(limit)}
	for _, t := range s.targets {
		t.parts = media.NewParts(t.stage, partName(s.o.Number, 0, 1), limit)
	}
	read := int64(0)
	o := *s.o
	o.Progress = func(done, total int64) {
		read = done
		if s.o.Progress != nil {
			s.o.Progress(done, total)
		}
	}
	made, err := writeArchive(ctx, out, s.p, &o)
	if err == nil {
		err = each(s.targets, func(t *target) (err error) {
			if t.written, err = t.parts.Finish(); err != nil {
				return mediaError(t.media, err)
			}
			return nil
		})
	}
	if full, ok := errors.AsType[*MediaError](err); ok && isFull(err) {
		need := int64(0)
		if read > 0 {
			need = int64(float64(out.written) / float64(read) * float64(s.p.total()))
		}
		for _, t := range s.targets {
			if t.media == full.Path && t.free >= 0 {
				err = fullError(t, max(need, t.free), err)
				break
			}
		}
	}
	return made, err
}

// finish reads the archive back, writes what speaks about it, and signs:
// without the signature nothing is accepted.
func (s *sealing) finish(ctx context.Context, sealed *Sealed, lab *label) error {
	var sums []sum
	for i, q := range s.targets[0].written {
		sums = append(sums, sum{q.Name, q.SHA256})
		for _, t := range s.targets {
			if t.written[i] != q {
				return &MediaError{Path: t.media, Fault: Differs,
					Err: errors.New("took other bytes than the other medium")}
			}
		}
	}
	if err := each(s.targets, func(t *target) error {
		t.readBack = true
		for _, q := range t.written {
			if err := t.check(ctx, q); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		return err
	}
	if s.o.Repair != 0 {
		q, err := s.repairData(ctx)
		if err != nil {
			return err
		}
		sums = append(sums, sum{q.Name, q.SHA256})
		lab.Repair = &labelPart{q.Name, q.Bytes}
		sealed.Repair = &Part{q.Name, q.Bytes, hex.EncodeToString(q.SHA256[:])}
	}
	write := func(name string, data []byte) error {
		sums = append(sums, sum{name, sha256.Sum256(data)})
		return each(s.targets, func(t *target) error { return t.write(ctx, name, data) })
	}
	if err := write(readmeName, readme(lab, s.p.contact)); err != nil {
		return err
	}
	if err := write(labelName, lab.format()); err != nil {
		return err
	}
	text := formatSums(sums)
	if err := write(sumsName, text); err != nil {
		return err
	}
	sig, err := sshsig.Sign(s.o.Signer, shipmentNamespace, text)
	if err != nil {
		return fmt.Errorf("the shipment could not be signed: %w", err)
	}
	if err := write(sigName, sig); err != nil {
		return err
	}
	return each(s.targets, func(t *target) error {
		if err := t.stage.Sync(); err != nil {
			return mediaError(t.media, err)
		}
		return nil
	})
}

// ofSeveral adds what became of the other media when one of several failed.
func (s *sealing) ofSeveral(err error) error {
	failed, ok := errors.AsType[*MediaError](err)
	if !ok || len(s.targets) < 2 {
		return err
	}
	more := *failed
	more.Several = true
	for _, t := range s.targets {
		if t.stuck {
			more.Stuck = append(more.Stuck, t.final)
		}
	}
	more.Err = err
	return &more
}

// capacity returns what maxParts parts of limit bytes hold; 0 for no limit.
func capacity(limit int64) int64 {
	if limit > math.MaxInt64/maxParts {
		return 0
	}
	return limit * maxParts
}

// workers returns how many workers to use when n were asked for.
func workers(n int) int {
	if n <= 0 {
		n = runtime.GOMAXPROCS(0)
	}
	return min(n, pieces)
}
