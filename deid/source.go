package deid

import (
	"crypto/sha256"
	"io"

	"outbreath/schema"
)

// A Source describes one session as the site has it. Package site uses it to detect
// sessions, tubes and records that were sent before.
type Source struct {
	Session string            // its pseudonym
	Subject string            // the subject's pseudonym
	Tubes   []string          // barcodes in the form of schema.Barcode, in the record's order
	File    string            // its record
	SHA256  [sha256.Size]byte // of the record, regardless of blanks, and its recordings
	Absent  bool              // a recording is missing: SHA256 does not cover the whole session
}

// Sources returns the sessions of d in their order. It reads every recording. The
// digests are of the site's own data: they must not leave, and the caller must store
// them only as keyed hashes.
func (d *Draft) Sources() ([]Source, error) {
	out := make([]Source, len(d.sessions))
	failed := make([]error, len(d.sessions))
	parallel(len(d.sessions), func(i int) {
		s := d.sessions[i]
		out[i] = Source{Session: s.name, Subject: s.subject, File: s.file, Absent: len(s.absent) > 0}
		for _, t := range s.tubes {
			out[i].Tubes = append(out[i].Tubes, schema.Barcode(t.Barcode))
		}
		h := sha256.New()
		h.Write(s.source[:])
		for k := range s.recordings {
			r := &s.recordings[k]
			file, err := r.open(d.c.Root)
			if err != nil {
				failed[i] = err
				return
			}
			one := sha256.New()
			_, err = io.Copy(one, io.LimitReader(file, r.Size))
			file.Close()
			if err != nil {
				failed[i] = r.unreadable(err)
				return
			}
			h.Write(one.Sum(nil))
		}
		h.Sum(out[i].SHA256[:0])
	})
	return out, gather(failed)
}
