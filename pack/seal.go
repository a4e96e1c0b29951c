package pack

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"time"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"

	"outbreath/deid"
	"outbreath/keys/sshsig"
	"outbreath/pack/media"
)

// SealOptions are the choices of [Seal].
type SealOptions struct {
	Media      string // folder on the medium; the shipment becomes Media/Number
	Number     string // "07-0012": site code, '-', four digits
	Signer     ssh.Signer
	Recipients []age.Recipient         // not empty
	PartSize   int64                   // bytes; 0: what the file system can hold in one file
	Date       time.Time               // sealing date for the public label
	Workers    int                     // compression workers; 0: one a core
	Progress   func(done, total int64) // plain bytes; may be nil

	// BeforeCommit is called when everything has been written and read back,
	// just before the shipment gets its final name. An error stops the sealing.
	BeforeCommit func(*Sealed) error
}

// Sealed is what Seal made. Its JSON form is the contract's.
type Sealed struct {
	OK         bool   `json:"ok"`
	Shipment   string `json:"shipment"`
	Folder     string `json:"folder"`
	Sessions   int    `json:"sessions"`
	Recordings int    `json:"recordings"`
	Tubes      int    `json:"tubes"`
	Parts      []Part `json:"parts"`
	ReadBack   bool   `json:"read_back"`      // false: this system could not be kept from answering out of its memory
	Bag        string `json:"bag_sha256"`     // of the tar stream inside: equal for equal input, keys and number
	Archive    string `json:"archive_sha256"` // [ArchiveDigest], which the slip and the receipt name
}

// A Part is one file of the archive.
type Part struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Seal writes c as shipment o.Number below o.Media: all or nothing.
//
// Everything is written into a hidden folder on the medium, synced and read
// back, the signature last; then the folder gets its name. On an error, a
// cancelled context included, the hidden folder is removed. What an earlier,
// killed run left on the medium is removed first.
//
// The error is an *[ExistsError] if the medium holds that number already, a
// *[MediaError] if the medium fails, and what a payload reader returned
// (*schema.QueriesError, *deid.FindingsError) otherwise.
func Seal(ctx context.Context, c *deid.Cleared, o SealOptions) (*Sealed, error) {
	study := c.Study()
	p := &payload{
		study: study.Study, site: study.Site, contact: study.Contact,
		files:    c.Files(),
		sessions: c.Sessions(), recordings: c.Recordings(), tubes: len(c.Tubes()),
	}
	return seal(ctx, media.OS{}, p, o)
}

func seal(ctx context.Context, fsys media.FS, p *payload, o SealOptions) (*Sealed, error) {
	if err := p.check(o.Number); err != nil {
		return nil, err
	}
	switch {
	case o.Signer == nil:
		return nil, errors.New("there is no signing key: see keys new")
	case len(o.Recipients) == 0:
		return nil, errors.New("there is no recipient: ask the laboratory for its recipient.txt, then use keys trust")
	case o.Date.IsZero() || o.PartSize < 0:
		return nil, errors.New("the sealing date or the part size cannot be used")
	}
	s := &sealing{fs: fsys, p: p, o: &o, final: filepath.Join(o.Media, o.Number)}
	if err := s.prepare(); err != nil {
		return nil, err
	}
	defer s.release()
	sealed, err := s.run(ctx)
	if err != nil {
		os.RemoveAll(s.stage) // a pulled stick cannot be cleaned; the next run sweeps it
		return nil, err
	}
	return sealed, nil
}

// A sealing is one run of seal.
type sealing struct {
	fs           media.FS
	p            *payload
	o            *SealOptions
	final, stage string
	release      func() // of the hold on stage
	free         int64  // bytes on the medium at the start; 0: unknown
}

// prepare looks at the medium before anything of the collection is read.
func (s *sealing) prepare() error {
	if info, err := os.Stat(s.o.Media); err != nil {
		return mediaError(s.o.Media, err)
	} else if !info.IsDir() {
		return mediaError(s.o.Media, errors.New("is not a folder"))
	}
	if err := absent(s.final); err != nil {
		return err
	}
	if err := sweep(s.o.Media); err != nil {
		return mediaError(s.o.Media, err)
	}
	free, err := s.fs.Free(s.o.Media)
	if err != nil {
		return mediaError(s.o.Media, err)
	}
	// Recordings shrink to a third as a rule, flat ones to much less: only
	// what cannot fit is refused here. Some file systems answer 0 for unknown.
	if least := s.p.total() / 64; free > 0 && free < least {
		return &MediaError{Path: s.o.Media, Err: fmt.Errorf("has %d bytes free; the shipment needs at least %d", free, least),
			Do: "use an empty or a larger medium"}
	}
	s.free = free
	random := make([]byte, 8)
	rand.Read(random)
	s.stage = filepath.Join(s.o.Media, ".outbreath-"+s.o.Number+"-"+hex.EncodeToString(random))
	if err := s.fs.Mkdir(s.stage); err != nil {
		return mediaError(s.o.Media, err)
	}
	if s.release, _, err = media.Hold(s.stage); err != nil {
		return mediaError(s.o.Media, err)
	}
	return nil
}

func (s *sealing) run(ctx context.Context) (*Sealed, error) {
	limit := s.o.PartSize
	if limit == 0 {
		var err error
		if limit, err = s.fs.FileLimit(s.stage); err != nil {
			return nil, mediaError(s.o.Media, err)
		}
	}
	sealed := &Sealed{OK: true, Shipment: s.o.Number, Folder: s.final,
		Sessions: s.p.sessions, Recordings: s.p.recordings, Tubes: s.p.tubes, ReadBack: true}
	parts, tarSum, err := s.archive(ctx, limit)
	if err != nil {
		return nil, err
	}
	sealed.Bag = hex.EncodeToString(tarSum[:])
	lab := &label{Format: labelFormat, Shipment: s.o.Number, Study: s.p.study, Site: s.p.site, Sealed: s.o.Date.Format(time.DateOnly),
		Sessions: s.p.sessions, Recordings: s.p.recordings, Tubes: s.p.tubes}
	for _, q := range parts {
		sealed.Parts = append(sealed.Parts, Part{q.Name, q.Bytes, hex.EncodeToString(q.SHA256[:])})
		lab.Parts = append(lab.Parts, labelPart{q.Name, q.Bytes})
	}
	sealed.Archive = ArchiveDigest(sealed.Parts)
	if err := s.finish(ctx, sealed, lab, parts); err != nil {
		return nil, err
	}
	if s.o.BeforeCommit != nil {
		if err := s.o.BeforeCommit(sealed); err != nil {
			return nil, err
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, context.Cause(ctx)
	}
	return sealed, s.commit()
}

// archive writes the parts.
func (s *sealing) archive(ctx context.Context, limit int64) ([]media.Part, [sha256.Size]byte, error) {
	out := &mediumWriter{parts: media.NewParts(s.fs, s.stage, partName(s.o.Number, 0, 1), limit), path: s.o.Media, most: capacity(limit)}
	read := int64(0)
	o := *s.o
	o.Progress = func(done, total int64) {
		read = done
		if s.o.Progress != nil {
			s.o.Progress(done, total)
		}
	}
	tarSum, err := writeArchive(ctx, out, s.p, &o)
	if err == nil {
		parts, e := out.parts.Finish()
		if e == nil {
			return parts, tarSum, nil
		}
		err = mediaError(s.o.Media, e)
	}
	out.parts.Abort() // the folder goes in any case
	if isFull(err) && s.free > 0 {
		need := s.free
		if read > 0 {
			need = max(need, int64(float64(out.written)/float64(read)*float64(s.p.total())))
		}
		err = &MediaError{Path: s.o.Media, Err: err,
			what: fmt.Sprintf("the medium is full: %d bytes were free, the shipment needs about %d", s.free, need),
			Do:   "use an empty or a larger medium; nothing of this shipment was left on this one"}
	}
	return nil, tarSum, err
}

// finish writes what speaks about the archive, reads everything back, and
// signs: without the signature nothing is accepted.
func (s *sealing) finish(ctx context.Context, sealed *Sealed, lab *label, parts []media.Part) error {
	var sums []sum
	for _, q := range parts {
		sums = append(sums, sum{q.Name, q.SHA256})
		if err := s.readBack(ctx, sealed, q); err != nil {
			return err
		}
	}
	write := func(name string, data []byte) error {
		if err := media.WriteFile(s.fs, s.stage, name, data); err != nil {
			return mediaError(s.o.Media, err)
		}
		q := media.Part{Name: name, Bytes: int64(len(data)), SHA256: sha256.Sum256(data)}
		sums = append(sums, sum{q.Name, q.SHA256})
		return s.readBack(ctx, sealed, q)
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
	if err := s.fs.SyncDir(s.stage); err != nil {
		return mediaError(s.o.Media, err)
	}
	return nil
}

func (s *sealing) readBack(ctx context.Context, sealed *Sealed, q media.Part) error {
	dropped, err := media.ReadBack(ctx, s.fs, filepath.Join(s.stage, q.Name), q.SHA256, q.Bytes)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		return mediaError(s.o.Media, err)
	}
	sealed.ReadBack = sealed.ReadBack && dropped
	return nil
}

// commit gives the folder its name. If that cannot be made durable, the name
// is taken away again.
func (s *sealing) commit() error {
	if err := absent(s.final); err != nil {
		return err
	}
	if err := s.fs.Rename(s.stage, s.final); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return &ExistsError{Folder: s.final}
		}
		return mediaError(s.o.Media, err)
	}
	if err := s.fs.SyncDir(s.o.Media); err != nil {
		os.Rename(s.final, s.stage)
		return mediaError(s.o.Media, err)
	}
	return nil
}

// absent says that there is nothing at path, or an *ExistsError.
func absent(path string) error {
	_, err := os.Lstat(path)
	switch {
	case err == nil:
		return &ExistsError{Folder: path}
	case !errors.Is(err, fs.ErrNotExist):
		return mediaError(path, err)
	}
	return nil
}

var stageName = regexp.MustCompile(`^\.outbreath-[A-Za-z0-9-]+-[0-9]{4}-[0-9a-f]{16}$`)

// sweep removes what killed runs left on the medium, of any shipment: hidden
// folders of ours that no running seal holds.
func sweep(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !e.IsDir() || !stageName.MatchString(e.Name()) {
			continue
		}
		stale := filepath.Join(dir, e.Name())
		release, held, err := media.Hold(stale)
		if err != nil {
			return err
		}
		if !held {
			continue
		}
		err = os.RemoveAll(stale)
		release()
		if err != nil {
			return err
		}
	}
	return nil
}

// capacity returns what maxParts parts of limit bytes hold; 0 for no limit.
func capacity(limit int64) int64 {
	if limit > math.MaxInt64/maxParts {
		return 0
	}
	return limit * maxParts
}

// A mediumWriter makes every error of the parts a *MediaError and counts.
type mediumWriter struct {
	parts   *media.Parts
	path    string
	most    int64 // bytes that fit into all parts; 0: no limit
	written int64
}

func (w *mediumWriter) Write(b []byte) (int, error) {
	if w.most > 0 && w.written+int64(len(b)) > w.most {
		return 0, fmt.Errorf("the archive would have more than %d parts: choose a larger part size", maxParts)
	}
	n, err := w.parts.Write(b)
	w.written += int64(n)
	if err != nil {
		err = mediaError(w.path, err)
	}
	return n, err
}

// workers returns how many workers to use when n were asked for.
func workers(n int) int {
	if n <= 0 {
		n = runtime.GOMAXPROCS(0)
	}
	return min(n, pieces)
}
