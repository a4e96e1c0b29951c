package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"slices"
	"time"

	"outbreath/deid"
	"outbreath/pack/durable"
	"outbreath/pack/site"
	"outbreath/schema"
)

// packingFile stands in a collection while its box is being packed.
const packingFile = site.PackingName

const maxPacking = 16 << 20 // bytes

// A packing is what was scanned and which reasons were given before the shipment is
// sealed: barcodes and texts that the search for identifiers has passed, no
// identifier. It is written after every answer and removed once the shipment is
// sealed. nil is none.
type packing struct {
	root *os.Root

	When    time.Time          `json:"when"`
	Scan    bool               `json:"scan"`    // else the scans are those beside a list in a file
	Scanned []string           `json:"scanned"` // in the order of scanning
	Reasons []deid.Discrepancy `json:"reasons"`
}

// openPacking reads what an earlier run left. scan says that the box is scanned, not
// read from a file; what was scanned the other way is not taken over.
func openPacking(root *os.Root, scan bool) (*packing, error) {
	p := &packing{root: root, Scan: scan}
	data, err := durable.Read(root, packingFile, maxPacking)
	if notExist(err) {
		return p, nil
	}
	if err != nil {
		return nil, err
	}
	if err := p.parse(data); err != nil {
		return nil, &schema.ConfigError{File: packingFile, Message: "the scans and reasons kept from an earlier run cannot be read: delete this file and scan the box again"}
	}
	if p.Scan != scan {
		p.Scan, p.Scanned = scan, nil
	}
	return p, nil
}

// parse reads the file's text. The error says only that it is not one.
func (p *packing) parse(data []byte) error {
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

func (p *packing) any() bool { return p != nil && len(p.Scanned)+len(p.Reasons) > 0 }

// reason returns the reason that was given for a tube of the same kind; "" for none.
func (p *packing) reason(d deid.Discrepancy) string {
	for _, r := range p.Reasons {
		if r.Barcode == d.Barcode && r.Kind == d.Kind {
			return r.Reason
		}
	}
	return ""
}

func (p *packing) give(d deid.Discrepancy) error {
	p.Reasons = append(p.Reasons, d)
	return p.save()
}

func (p *packing) scan(barcodes []string) error {
	p.Scanned = slices.Clone(barcodes)
	return p.save()
}

func (p *packing) save() error {
	p.When = now()
	data, err := json.MarshalIndent(p, "", " ")
	if err != nil {
		return err
	}
	return durable.Replace(p.root, packingFile, append(data, '\n'), 0o600)
}

// clear removes the file: the shipment is sealed, or the box put aside.
func (p *packing) clear() error {
	if p == nil {
		return nil
	}
	p.Scanned, p.Reasons = nil, nil
	if err := durable.Remove(p.root, packingFile); err != nil && !notExist(err) {
		return err
	}
	return durable.SyncFolder(p.root)
}
