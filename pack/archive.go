package pack

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"strings"
	"sync"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/keys/sshsig"
	"outbreath/pack/bag"
	"outbreath/schema"
)

// archived is what writeArchive wrote.
type archived struct {
	bag    [sha256.Size]byte // of the tag manifest, which names the digest of all that says what is inside
	listed []bag.Entry       // the payload, in the order of the stream
}

// inside returns for each sort of payload the SHA-256 (hex) of its lines in the
// manifest: of the folders sessions and recordings, and of each other file.
func inside(listed []bag.Entry) map[string]string {
	sorts := map[string]hash.Hash{}
	for _, e := range listed {
		sort, _, folder := strings.Cut(strings.TrimPrefix(e.Path, "data/"), "/")
		if folder && "data/"+deid.SummaryName == e.Path {
			sort = deid.SummaryName
		}
		if sorts[sort] == nil {
			sorts[sort] = sha256.New()
		}
		fmt.Fprintf(sorts[sort], "%x  %s\n", e.SHA256, e.Path)
	}
	sums := make(map[string]string, len(sorts))
	for sort, h := range sorts {
		sums[sort] = hex.EncodeToString(h.Sum(nil))
	}
	return sums
}

// writeArchive writes p as the archive of shipment number to dst: a bag, in a
// tar stream, in zstd frames, in an age file. Every payload file is opened and
// read once. An error of a payload reader comes back as it is.
func writeArchive(ctx context.Context, dst io.Writer, p *payload, o *SealOptions) (*archived, error) {
	sealed, err := age.Encrypt(dst, o.Recipients...)
	if err != nil {
		if m, ok := errors.AsType[*MediaError](err); ok {
			return nil, m
		}
		if token, ok := errors.AsType[*keys.Error](err); ok {
			return nil, token
		}
		return nil, ErrRecipients
	}
	packed, err := newPacker(ctx, sealed, workers(o.Workers))
	if err != nil {
		return nil, err
	}
	defer packed.abort()
	w := newBagWriter(packed, p, o)
	defer w.close()
	if err := w.write(p, o.Signer); err != nil {
		// When the medium failed, the writer only learned that it must stop.
		if cause := context.Cause(packed.ctx); cause != nil {
			return nil, cause
		}
		return nil, err
	}
	if err := packed.close(); err != nil {
		return nil, err
	}
	if err := sealed.Close(); err != nil { // holds the last chunk
		return nil, err
	}
	return &archived{bag: w.bag, listed: w.listed}, nil
}

// A sink takes the tar stream: bytes that are written, or put into its buffer.
type sink interface {
	io.Writer
	buffer() ([]byte, error) // at least one byte of space, to be followed by fill
	fill(n int)
}

// A bagWriter writes the tar stream.
type bagWriter struct {
	out         sink
	number      string
	listed      []bag.Entry       // payload files written
	bag         [sha256.Size]byte // of the tag manifest, once it is written
	bytes       int64             // of payload written
	done, total int64             // payload bytes, for progress: without files of unknown size
	progress    func(done, total int64)
	inspection  *deid.Inspection
	searches    sync.WaitGroup // of files that have been written
	searching   chan struct{}  // holds one for each
	looks       chan look      // bytes to be searched while they are hashed
	looked      chan struct{}
}

// A look is a stretch of a file that is searched.
type look struct {
	again io.Writer
	data  []byte
}

// newBagWriter starts the searches that run at the same time, which close ends.
func newBagWriter(out sink, p *payload, o *SealOptions) *bagWriter {
	w := &bagWriter{out: out, number: o.Number, total: p.total(), progress: o.Progress, inspection: p.search(),
		searching: make(chan struct{}, workers(o.Workers)), looks: make(chan look), looked: make(chan struct{})}
	go w.search()
	return w
}

func (w *bagWriter) close() {
	close(w.looks)
	w.searches.Wait()
}

// search takes looks one after another.
func (w *bagWriter) search() {
	for l := range w.looks {
		l.again.Write(l.data)
		w.looked <- struct{}{}
	}
}

// write writes the payload, then the tag files, each after those it speaks of.
func (w *bagWriter) write(p *payload, signer ssh.Signer) error {
	tags, err := w.contents(p)
	if err != nil {
		return err
	}
	tagManifest := tags[len(tags)-1].data
	sig, err := sshsig.Sign(signer, bagNamespace, tagManifest)
	if err != nil {
		return fmt.Errorf("the bag could not be signed: %w", err)
	}
	for _, t := range append(tags, tagFile{tagSigName, sig}) {
		if err := w.tag(t); err != nil {
			return err
		}
	}
	_, err = w.out.Write(make([]byte, 2*tarBlock)) // the end mark
	return err
}

// contents writes the payload, refuses what its searches object to, and returns
// the tag files, the one that fixes all others last.
func (w *bagWriter) contents(p *payload) ([]tagFile, error) {
	for _, f := range p.files {
		if err := w.file(f); err != nil {
			return nil, err
		}
	}
	w.searches.Wait()
	if err := w.inspection.Err(); err != nil {
		return nil, err
	}
	info, err := bagInfo(w.number, w.bytes, int64(len(p.files)))
	if err != nil {
		return nil, err
	}
	manifest, err := bag.FormatManifest(w.listed, true)
	if err != nil {
		return nil, err
	}
	tags := []tagFile{{bag.Info, info}, {bag.Bagit, bag.FormatBagit()}, {bag.Manifest, manifest}}
	tagManifest, err := bag.FormatManifest(tagEntries(tags), false)
	if err != nil {
		return nil, err
	}
	w.bag = sha256.Sum256(tagManifest)
	return append(tags, tagFile{bag.TagManifest, tagManifest}), nil
}

// A tagFile is a file of the bag that is no payload.
type tagFile struct {
	name string
	data []byte
}

func tagEntries(tags []tagFile) []bag.Entry {
	var e []bag.Entry
	for _, t := range tags {
		e = append(e, bag.Entry{Path: t.name, SHA256: sha256.Sum256(t.data)})
	}
	return e
}

// tag writes a whole small file.
func (w *bagWriter) tag(t tagFile) error {
	h := tarHeader(w.number+"/"+t.name, int64(len(t.data)))
	if _, err := w.out.Write(h[:]); err != nil {
		return err
	}
	if _, err := w.out.Write(t.data); err != nil {
		return err
	}
	return w.pad(int64(len(t.data)))
}

func (w *bagWriter) pad(size int64) error {
	_, err := w.out.Write(make([]byte, tarPadding(size)))
	return err
}

// file writes one payload file, hashed as it is read.
func (w *bagWriter) file(f deid.File) (err error) {
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer func() {
		if e := r.Close(); err == nil {
			err = e
		}
	}()
	path := "data/" + f.Name
	if f.Size == -1 {
		data, err := io.ReadAll(io.LimitReader(r, maxRecord+1))
		switch {
		case err != nil:
			return err
		case len(data) > maxRecord:
			return tooMuch(path,
				fmt.Sprintf("this file would have more than %d bytes: split the collection", maxRecord))
		}
		w.inspection.Small(f.Name, data)
		w.bytes += int64(len(data))
		w.listed = append(w.listed, bag.Entry{Path: path, SHA256: sha256.Sum256(data)})
		return w.tag(tagFile{path, data})
	}
	h := tarHeader(w.number+"/"+path, f.Size)
	if _, err := w.out.Write(h[:]); err != nil {
		return err
	}
	sum := sha256.New()
	again := w.inspection.File(f.Name)
	for left := f.Size; left > 0; {
		space, err := w.out.buffer()
		if err != nil {
			return err
		}
		n, err := readSome(r, space[:min(int64(len(space)), left, nearBytes)])
		w.looks <- look{again, space[:n]}
		sum.Write(space[:n])
		<-w.looked
		w.out.fill(n)
		left -= int64(n)
		w.bytes += int64(n)
		w.done += int64(n)
		if w.progress != nil {
			w.progress(w.done, w.total)
		}
		if err == io.EOF && left > 0 {
			return &schema.ChangedError{File: f.Name}
		}
		if err != nil && err != io.EOF {
			return err
		}
	}
	switch n, err := readSome(r, make([]byte, 1)); { // a reader may refuse only at the end
	case n > 0:
		return &schema.ChangedError{File: f.Name}
	case err != io.EOF:
		return err
	}
	w.searching <- struct{}{}
	w.searches.Go(func() { again.Close(); <-w.searching })
	w.listed = append(w.listed, bag.Entry{Path: path, SHA256: [sha256.Size]byte(sum.Sum(nil))})
	return w.pad(f.Size)
}

// nearBytes is how much of a recording is read, checked, hashed and searched at
// once: little enough to stay in a processor's own memory meanwhile.
const nearBytes = 128 << 10

// readSome is r.Read, but returns at least one byte or an error.
func readSome(r io.Reader, b []byte) (int, error) {
	for range 100 {
		if n, err := r.Read(b); n > 0 || err != nil {
			return n, err
		}
	}
	return 0, io.ErrNoProgress
}
