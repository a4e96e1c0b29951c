package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"outbreath/keys"
	"outbreath/pack"
)

// A receiptWriter writes the laboratory's signed receipts.
type receiptWriter struct {
	u       *ui
	folder  *keys.Folder
	path    string // file of one shipment; folder for several
	many    bool
	by      string
	remarks []string
}

// newReceiptWriter refuses, before anything is verified, what could not be
// written at the end.
func newReceiptWriter(u *ui, folder *keys.Folder, s *verifyOptions, shipments int) (*receiptWriter, error) {
	if s.receipt == "" {
		if len(s.remarks) > 0 {
			return nil, usagef("name the receipt's file with --receipt FILE", "--remark is for a receipt")
		}
		return nil, nil
	}
	if folder.Name() == "" {
		return nil, usagef("write the laboratory's short name behind the key in signing.pub, the one that the sites know", "the key folder does not say the laboratory's name")
	}
	w := &receiptWriter{u: u, folder: folder, path: s.receipt, many: shipments > 1, by: operatorName(s.by), remarks: s.remarks}
	inside := w.path
	if w.many {
		inside = filepath.Join(w.path, "receipt")
	}
	if err := outsideShipment(inside); err != nil {
		return nil, err
	}
	info, err := os.Stat(w.path)
	switch {
	case w.many && (err != nil || !info.IsDir()):
		return nil, usagef("name a folder that exists: each receipt gets the shipment's number as its name", "--receipt is no folder, and there are %d shipments", shipments)
	case !w.many:
		for _, name := range []string{w.path, w.path + ".sig"} {
			if _, err := os.Lstat(name); err == nil {
				return nil, usagef("name a file that does not exist yet", "%s is there already; it was not touched", quoted(name))
			}
		}
	}
	return w, nil
}

// write makes the receipt of one shipment, signature first, and returns the
// file's name; "" and a remark when there can be none.
func (w *receiptWriter) write(v *pack.Verdict) (string, error) {
	r, err := pack.NewReceipt(v, w.folder.Name(), w.by, w.remarks, time.Now())
	if err != nil {
		w.u.say("remark: no receipt for %s, because it %s; tell the site by telephone", quoted(v.Shipment), err)
		return "", nil
	}
	path := w.path
	if w.many {
		for n := 1; ; n++ { // the same number may lie there on two media
			path = filepath.Join(w.path, r.Shipment+".receipt.json")
			if n > 1 {
				path = filepath.Join(w.path, fmt.Sprintf("%s.receipt-%d.json", r.Shipment, n))
			}
			if _, err := os.Lstat(path); err != nil {
				break
			}
		}
	}
	text := r.Format()
	sig, err := w.folder.Sign(pack.ReceiptNamespace, text)
	if err != nil {
		return "", err
	}
	if err := writePair(path, text, sig, 0o644); err != nil {
		return "", err
	}
	return path, nil
}
