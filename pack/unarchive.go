package pack

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"filippo.io/age"

	"outbreath/keys"
	"outbreath/pack/bag"
)

// A rejection says which check a shipment fails and why, in words for a
// person, with what to do.
type rejection struct {
	check, detail string
	cause         error // of the check, if it is for the caller to advise on; else nil
}

func (r *rejection) Error() string { return r.check + ": " + r.detail }

const (
	askForNew = "ask the site for a new copy, and keep this one as it is"
	askSite   = "do not use it; keep the medium as it is and tell the site"
)

func reject(check, format string, args ...any) error {
	return &rejection{check: check, detail: fmt.Sprintf(format, args...)}
}

// distrust is reject for a signature that err, of [keys.Allowed.Verify], does not accept.
func distrust(check, file, site string, err error) error {
	detail := fmt.Sprintf("%s is not accepted as the signature of site %s: %v", file, site, err)
	return &rejection{check: check, detail: detail, cause: err}
}

// Names of the checks that are made inside the archive.
const (
	checkDecryption = "decryption"
	checkContents   = "contents"
)

// A content is what readArchive found, and what is left to be judged.
type content struct {
	entries []bag.Entry       // every file, in the order of the archive
	tags    map[string][]byte // the tag files, by name
	bytes   int64             // of payload
	files   int64             // of payload
	records *records
}

// An unpackTarget takes the files of the bag as they come.
type unpackTarget interface {
	// create returns a writer of the file at path below the bag's folder.
	create(path string) (io.WriteCloser, error)
	// header takes the header block of the file that create is called for next.
	header(h *[tarBlock]byte)
}

// readArchive is the inverse of writeArchive. It decrypts src, decompresses and
// takes apart the bag in it, hashes every file, hands the records over to be
// checked, and reads to the very end: nothing may come after the tar stream. to may be nil.
// Plain data goes nowhere else.
//
// The error is a *rejection, the context's, or one of to. What src itself made
// of an unreadable medium is for the caller to ask.
func readArchive(ctx context.Context, src io.Reader, o *VerifyOptions, l *label, to unpackTarget) (*content, error) {
	plain, err := decrypt(src, o.Identities)
	if err != nil {
		return nil, err
	}
	u, err := newUnpacker(ctx, plain, workers(0))
	if err != nil {
		return nil, err
	}
	defer u.stop()
	checks := newRecords(ctx, l)
	defer checks.stop()
	r := &bagReader{u: u, number: l.Shipment, to: to, seen: make(map[string]bool),
		content: content{tags: make(map[string][]byte), records: checks}}
	if err := r.read(); err != nil {
		return nil, r.explain(err)
	}
	return &r.content, nil
}

// decrypt reads the head of an age file and returns a reader of the plain data.
// All errors, of the reader too, are rejections.
func decrypt(src io.Reader, identities []age.Identity) (io.Reader, error) {
	plain, err := age.Decrypt(src, identities...)
	if err == nil {
		return decrypted{plain}, nil
	}
	if token, ok := errors.AsType[*keys.Error](err); ok {
		return nil, token // says nothing of the archive
	}
	if _, ok := errors.AsType[*age.NoIdentityMatchError](err); ok {
		return nil, reject(checkDecryption, "this key does not open it, or the head of the archive is damaged: "+
			"check whether the key folder is the one whose recipient.txt the site has; else %s", askForNew)
	}
	return nil, reject(checkDecryption, "the head of the archive is damaged, or was written by a later version: %s",
		askForNew)
}

// decrypted makes a rejection of every error of age's reader.
type decrypted struct{ r io.Reader }

func (d decrypted) Read(b []byte) (int, error) {
	n, err := d.r.Read(b)
	if err != nil && err != io.EOF {
		err = reject(checkDecryption, "the encrypted data end too early or were altered: %s", askForNew)
	}
	return n, err
}

// A bagReader takes a tar stream apart, of exactly the form in which a
// bagWriter puts it together.
type bagReader struct {
	u      *unpacker
	number string
	to     unpackTarget
	seen   map[string]bool // names of payload files, folded
	last   string          // payload file before
	total  int64
	listed int64 // bytes of the manifest that the payload so far must have
	content
}

// explain makes a rejection of an error of the stream.
func (r *bagReader) explain(err error) error {
	switch err {
	case io.EOF, io.ErrUnexpectedEOF:
		return reject(checkContents, "the archive ends in the middle: %s", askSite)
	case errFrame:
		return reject(checkContents, "the archive is not compressed in the way that outbreath does it: %s", askSite)
	}
	return err
}

func (r *bagReader) read() error {
	var h [tarBlock]byte
	tags := 0
	for {
		if r.u.ctx.Err() != nil {
			return context.Cause(r.u.ctx)
		}
		if _, err := io.ReadFull(r.u, h[:]); err != nil {
			return err
		}
		if h == [tarBlock]byte{} {
			break
		}
		where := fmt.Sprintf("file %d of the archive", len(r.entries)+1)
		if len(r.entries) == maxEntries {
			return reject(checkContents, "the archive holds more than %d files: %s", maxEntries, askSite)
		}
		name, size, err := parseTarHeader(&h)
		if err != nil {
			return reject(checkContents, "%s %v: %s", where, err, askSite)
		}
		if r.to != nil {
			r.to.header(&h)
		}
		path, ok := strings.CutPrefix(name, r.number+"/")
		if !ok {
			return reject(checkContents, "%s is not in the folder of shipment %s: %s", where, r.number, askSite)
		}
		if r.total += size; r.total > maxTotal {
			return reject(checkContents, "the archive unpacks to more than %d bytes: %s", int64(maxTotal), askSite)
		}
		if name, ok := strings.CutPrefix(path, "data/"); ok && tags == 0 {
			err = r.payload(where, name, size)
		} else if tags < len(tagNames) && path == tagNames[tags] {
			tags++
			err = r.tag(path, size)
		} else {
			err = reject(checkContents, "%s is none that belongs there: %s", where, askSite)
		}
		if err != nil {
			return err
		}
		if err := r.zeros(tarPadding(size)); err != nil {
			return err
		}
	}
	if tags < len(tagNames) {
		return reject(checkContents, "the archive has no %s: %s", tagNames[tags], askSite)
	}
	if err := r.zeros(tarBlock); err != nil { // the second half of the end mark
		return err
	}
	return r.end()
}

// payload reads one file below data/.
func (r *bagReader) payload(where, name string, size int64) error {
	k := kindOf(name)
	folded := foldName(name)
	switch {
	case k == otherFile:
		return reject(checkContents, "%s is none that belongs in a shipment: %s", where, askSite)
	case r.seen[folded]:
		return reject(checkContents,
			"%s has the name of another file, or one that differs only in upper and lower case: %s", where, askSite)
	case name <= r.last:
		return reject(checkContents, "%s is out of order: %s", where, askSite)
	case size > k.limit():
		return reject(checkContents, "%s is larger than such a file may be (%d bytes): %s", where, k.limit(), askSite)
	}
	if r.listed += manifestLine(name); r.listed > maxManifest {
		return reject(checkContents, "the archive holds more files than a manifest can list: %s", askSite)
	}
	if !r.records.counts(k) {
		return reject(checkRecords, "the archive holds more records or recordings than %s counts: %s", labelName,
			askSite)
	}
	r.seen[folded], r.last = true, name
	r.bytes += size
	r.files++
	path := "data/" + name
	if k == recordingFile {
		again := r.records.again.File(name)
		defer again.Close()
		form := newForm(name, size)
		err := r.copy(path, size, io.MultiWriter(form, again))
		r.records.recording(name, form)
		return err
	}
	var data bytes.Buffer
	if err := r.copy(path, size, &data); err != nil {
		return err
	}
	switch k {
	case schemaFile:
		r.records.schema(data.Bytes())
	case sessionFile:
		r.records.session(name, data.Bytes())
	case treatmentFile:
		r.records.treatment(data.Bytes())
	case tubesFile:
		r.records.tubeList(data.Bytes())
	case summaryFile:
		r.records.summary(data.Bytes())
	case discrepanciesFile:
		r.records.discrepancies(data.Bytes())
	case handlingFile:
		r.records.handlingList(data.Bytes())
	}
	// Records are searched where they are checked. What is rejected anyway is not
	// searched: a list of millions of bad rows would take minutes.
	if k != sessionFile && r.records.problems == 0 {
		r.records.again.Small(name, data.Bytes())
	}
	return nil
}

// tag reads one tag file.
func (r *bagReader) tag(path string, size int64) error {
	limit := int64(maxRecord)
	if path == bag.Manifest {
		limit = maxManifest
	}
	if size > limit {
		return reject(checkContents, "%s is larger than it may be (%d bytes): %s", path, limit, askSite)
	}
	var data bytes.Buffer
	err := r.copy(path, size, &data)
	r.tags[path] = data.Bytes()
	return err
}

// copy reads size bytes of the file at path, hashes them, and gives them to
// the target and to data, which may be nil.
func (r *bagReader) copy(path string, size int64, data io.Writer) (err error) {
	var out io.WriteCloser
	if r.to != nil {
		if out, err = r.to.create(path); err != nil {
			return err
		}
		defer func() {
			if e := out.Close(); err == nil {
				err = e
			}
		}()
	}
	h := sha256.New()
	for left := size; left > 0; {
		b, err := r.u.take(int(min(left, pieceSize)))
		if err != nil {
			return err
		}
		left -= int64(len(b))
		h.Write(b)
		if data != nil {
			data.Write(b)
		}
		if out != nil {
			if _, err := out.Write(b); err != nil {
				return err
			}
		}
	}
	r.entries = append(r.entries, bag.Entry{Path: path, SHA256: [sha256.Size]byte(h.Sum(nil))})
	return nil
}

// zeros reads n zero bytes.
func (r *bagReader) zeros(n int64) error {
	for n > 0 {
		b, err := r.u.take(int(min(n, pieceSize)))
		if err != nil {
			return err
		}
		n -= int64(len(b))
		if !isZero(b) {
			return reject(checkContents, "the archive holds data between its files: %s", askSite)
		}
	}
	return nil
}

// end refuses whatever follows the end mark, zero bytes too: outbreath writes none,
// and endless ones would take hours to read.
func (r *bagReader) end() error {
	_, err := r.u.take(1)
	switch err {
	case io.EOF:
		return nil
	case nil:
		return reject(checkContents, "the archive holds data after its end: %s", askSite)
	}
	return err
}

func isZero(b []byte) bool { return !slices.ContainsFunc(b, func(c byte) bool { return c != 0 }) }
