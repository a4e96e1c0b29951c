package site

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"slices"
	"time"

	"outbreath/deid"
	"outbreath/pack/durable"
	"outbreath/schema"
)

const maxPacking = 16 << 20 // bytes

// A Packing is what was scanned and which reasons were given before the shipment is
// sealed: barcodes and texts that the search for identifiers has passed, no
// identifier. It is kept in [PackingName], written after every answer and removed once
// the shipment is sealed. A nil Packing holds nothing.
type Packing struct {
	root *os.Root
	now  func() time.Time

	When    time.Time          `json:"when"`    // UTC, of the last answer
	Scan    bool               `json:"scan"`    // else the scans are those of a list in a file
	Scanned []string           `json:"scanned"` // in the order of scanning
	Reasons []deid.Discrepancy `json:"reasons"`
}

// OpenPacking reads what an earlier run left in the collection root. scan says that the
// box is scanned, and not read from a file; what was scanned the other way is not taken
// over. now gives the time in UTC.
func OpenPacking(root *os.Root, scan bool, now func() time.Time) (*Packing, error) {
	p := &Packing{root: root, now: now, Scan: scan}
	data, err := durable.Read(root, PackingName, maxPacking)
	if errors.Is(err, fs.ErrNotExist) {
		return p, nil
	}
	if err != nil {
		return nil, err
	}
	if err := p.parse(data); err != nil {
		return nil, &schema.ConfigError{File: PackingName,
			Message: "the scans and reasons kept from an earlier run cannot be read: delete this file and scan " +
				"the box again"}
	}
	if p.Scan != scan {
		p.Scan, p.Scanned = scan, nil
	}
	return p, nil
}

// parse reads the file's text. The error says only that it is not one.
func (p *Packing) parse(data []byte) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(p); err != nil {
		return err
	}
	if _, err := dec.Token(); err != io.EOF {
		return io.ErrUnexpectedEOF
	}
	return nil
}

// Any reports whether anything is kept.
func (p *Packing) Any() bool { return p != nil && len(p.Scanned)+len(p.Reasons) > 0 }

// Reason returns the reason that was given for a tube of the same kind; "" for none.
func (p *Packing) Reason(d deid.Discrepancy) string {
	if p == nil {
		return ""
	}
	for _, r := range p.Reasons {
		if r.Barcode == d.Barcode && r.Kind == d.Kind {
			return r.Reason
		}
	}
	return ""
}

// Recheck drops reasons that may not leave any more: the file lay where others write.
func (p *Packing) Recheck(b *Box) {
	p.Reasons = slices.DeleteFunc(p.Reasons, func(d deid.Discrepancy) bool {
		return b.MayLeave(d.Barcode, d.Reason) != nil
	})
}

// Give keeps one difference with its reason.
func (p *Packing) Give(d deid.Discrepancy) error {
	p.Reasons = append(p.Reasons, d)
	return p.save()
}

// Take keeps what was scanned, instead of what was scanned before.
func (p *Packing) Take(barcodes []string) error {
	p.Scanned = slices.Clone(barcodes)
	return p.save()
}

func (p *Packing) save() error {
	p.When = p.now()
	data, err := json.MarshalIndent(p, "", " ")
	if err != nil {
		return err
	}
	return durable.Replace(p.root, PackingName, append(data, '\n'), 0o600)
}

// Clear removes the file: the shipment is sealed, or the box put aside.
func (p *Packing) Clear() error {
	if p == nil {
		return nil
	}
	p.Scanned, p.Reasons = nil, nil
	if err := durable.Remove(p.root, PackingName); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return durable.SyncFolder(p.root)
}
