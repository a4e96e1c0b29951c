package intake

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/durable"
	"outbreath/pack/media"
)

// signature ends the name of a receipt's signature.
const signature = ".sig"

// Receipts are where the laboratory's signed receipts are written, and what they say
// in addition to the verdict. Only [NewReceipts] makes one.
type Receipts struct {
	folder  *keys.Folder
	path    string // file of one shipment's receipt; folder for those of several
	several bool
	by      string
	remarks []string
}

// NewReceipts prepares the receipts of some shipments: at path, a new file for one
// shipment, or a folder that is there for several. They are signed with the key of
// folder, by the name of the laboratory that it has; by is who verified, and remarks are
// on the condition of what arrived.
//
// What could not be written at the end is refused now, before hours of work. The error
// is an *[Error].
func NewReceipts(folder *keys.Folder, path, by string, remarks []string, shipments int) (*Receipts, error) {
	w := &Receipts{folder: folder, path: path, several: shipments > 1, by: by, remarks: remarks}
	if folder.Name() == "" {
		return nil, &Error{Fault: Nameless, Path: folder.Dir()}
	}
	for _, text := range append([]string{by}, remarks...) {
		if err := pack.ReceiptText(text); err != nil {
			return nil, &Error{Fault: BadText, Err: err}
		}
	}
	if w.several {
		if info, err := os.Stat(path); err != nil || !info.IsDir() {
			return nil, &Error{Fault: NotReceiptFolder, Path: path, Count: shipments}
		}
		return w, nil
	}
	if above, err := os.Stat(filepath.Dir(filepath.Clean(path))); err != nil || !above.IsDir() {
		return nil, &Error{Fault: NoReceiptFolder, Path: path}
	}
	for _, name := range []string{path, path + signature} {
		if _, err := os.Lstat(name); err == nil {
			return nil, &Error{Fault: Occupied, Path: name}
		}
	}
	return w, nil
}

// writeAll writes the receipts of the verdicts in r, as far as it can. The error is of
// the first that was not written.
func (w *Receipts) writeAll(r *Result, now time.Time) (first error) {
	for _, v := range r.Shipments {
		if v.Decision == pack.NotVerified {
			continue
		}
		receipt, err := pack.NewReceipt(v, w.folder.Name(), w.by, w.remarks, now)
		if err != nil && v.Decision == pack.Rejected {
			r.Unnamed = append(r.Unnamed, Unnamed{v.Shipment, err})
			continue
		}
		name := ""
		if err != nil {
			err = fmt.Errorf("it %w", err)
		} else if name, err = w.write(receipt); err == nil {
			r.Receipts = append(r.Receipts, name)
		}
		if err != nil && first == nil {
			first = &ReceiptError{v.Shipment, err}
		}
	}
	return first
}

// write signs r and writes it, signature first, and returns the file's path.
func (w *Receipts) write(r *pack.Receipt) (string, error) {
	path := w.path
	if w.several {
		path = w.free(r.Shipment)
	}
	text := r.Format()
	sig, err := w.folder.Sign(pack.ReceiptNamespace, text)
	if err != nil {
		return "", err
	}
	root, name, err := durable.At(path)
	if err != nil {
		return "", fmt.Errorf("%s cannot be written", durable.Quote(path))
	}
	defer root.Close()
	if failed, err := durable.WriteTwo(root, name+signature, sig, name, text, 0o644); err != nil {
		return "", notWritten(path+strings.TrimPrefix(failed, name), err)
	}
	return path, nil
}

// free returns a path in the folder for the receipt of a shipment that is not taken: the
// same number may have come on two media.
func (w *Receipts) free(shipment string) string {
	path := filepath.Join(w.path, shipment+".receipt.json")
	for n := 2; ; n++ {
		if _, err := os.Lstat(path); err != nil {
			return path
		}
		path = filepath.Join(w.path, fmt.Sprintf("%s.receipt-%d.json", shipment, n))
	}
}

// notWritten says in words why the file at path was not written.
func notWritten(path string, err error) error {
	_, what := media.Explain(err)
	switch {
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s cannot be written", durable.Quote(path))
	case errors.Is(err, fs.ErrExist):
		return &Error{Fault: Occupied, Path: path}
	case what != "":
		return errors.New(what)
	}
	return fmt.Errorf("%s was not written: %w", durable.Quote(path), err)
}
