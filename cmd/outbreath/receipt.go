package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/media"
	"outbreath/pack/place"
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
	for _, text := range append([]string{w.by}, w.remarks...) {
		if err := pack.ReceiptText(text); err != nil {
			return nil, usagef("write it as one short line; give --remark several times for several lines", "a text of --remark or --by cannot stand in a receipt: it %s", err)
		}
	}
	inside := w.path
	if w.many {
		inside = filepath.Join(w.path, "receipt")
	}
	if err := place.Output(inside); err != nil {
		return nil, err
	}
	info, err := os.Stat(w.path)
	switch {
	case w.many && (err != nil || !info.IsDir()):
		return nil, usagef("name a folder that exists: each receipt gets the shipment's number as its name", "--receipt is no folder, and there are %d shipments", shipments)
	case !w.many:
		if above, err := os.Stat(filepath.Dir(filepath.Clean(w.path))); err != nil || !above.IsDir() {
			return nil, usagef("name a file in a folder that exists", "there is no folder for the receipt %s", quoted(w.path))
		}
		for _, name := range []string{w.path, w.path + ".sig"} {
			if _, err := os.Lstat(name); err == nil {
				return nil, usagef("name a file that does not exist yet", "%s is there already; it was not touched", quoted(name))
			}
		}
	}
	return w, nil
}

// A receiptError says that a receipt was not written, though the shipments were verified.
type receiptError struct{ msg string }

func (e *receiptError) Error() string { return e.msg }

const receiptToDo = "the verdict above holds, and what was entered in a register counts once: name a new file with --receipt in a folder that can be written to, and run the command again"

// all writes the receipts and returns their names; the error is of the first that was
// not written.
func (w *receiptWriter) all(verdicts []*pack.Verdict) (names []string, first error) {
	for _, v := range verdicts {
		if v.Decision == pack.NotVerified {
			continue
		}
		name, err := w.write(v)
		if err != nil && first == nil {
			what, _ := media.Explain(err)
			if what == "" {
				what = err.Error()
			}
			first = &receiptError{fmt.Sprintf("the receipt of %s was not written: %s", quoted(v.Shipment), what)}
		}
		if name != "" {
			names = append(names, name)
		}
	}
	return names, first
}

// write makes the receipt of one shipment, signature first, and returns the file's
// name; "" for a rejected one that cannot be named.
func (w *receiptWriter) write(v *pack.Verdict) (string, error) {
	r, err := pack.NewReceipt(v, w.folder.Name(), w.by, w.remarks, time.Now())
	if err != nil && v.Decision != pack.Rejected {
		return "", fmt.Errorf("it %w", err)
	}
	if err != nil {
		w.u.tell("remark: no receipt for %s, because it %s; tell the site by telephone", quoted(v.Shipment), err)
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
