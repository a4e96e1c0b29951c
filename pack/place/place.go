// Package place judges where a medium, an output and what is unpacked may lie.
//
// In: paths as a person named them. Out: nil, a *[Error], which says what is wrong
// with the place, or the error of a file system call. Nothing is written.
// Commands that write a file call [Output], seal calls [Medium] and [Slip], and
// whatever unpacks calls [Unpacking].
//
// Three things must never happen: a shipment must stay as the site signed it, a
// collection must hold only what was collected, and neither the roster, nor the keys,
// nor anything in the clear may lie on a medium that leaves the site. Links are
// followed, and folders are compared by what they are and not by name.
package place

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"outbreath/pack/durable"
)

// A Reason says why a place is refused.
type Reason string

// Reasons why a medium is refused, an output, a slip, a folder to unpack into.
const (
	NoMedium              Reason = "no-medium"               // there is no folder at Path
	MediumIsCollection    Reason = "medium-is-collection"    // Path lies in the collection that is sealed
	MediumHoldsCollection Reason = "medium-holds-collection" // the collection lies on the medium
	MediumHoldsKeys       Reason = "medium-holds-keys"       // the key folder lies on the medium
	MediumInShipment      Reason = "medium-in-shipment"      // Path lies in the shipment Holder
	MediumInCollection    Reason = "medium-in-collection"    // Path lies in the collection Holder
	OutputInShipment      Reason = "output-in-shipment"      // Path would lie in the shipment Holder
	OutputInCollection    Reason = "output-in-collection"    // Path would lie in the collection Holder
	UnpackedOnMedium      Reason = "unpacked-on-medium"      // Path lies on the medium of the shipment
	SlipExists            Reason = "slip-exists"             // something has the name Path
	SlipNoFolder          Reason = "slip-no-folder"          // there is no folder for Path
	SlipInCollection      Reason = "slip-in-collection"      // Path would lie in the collection that is sealed
	SlipOnMedium          Reason = "slip-on-medium"          // Path would lie on the medium
)

// An Error refuses a place. Nothing was written.
type Error struct {
	Reason Reason
	Path   string // as it was named
	Holder string // absolute path of the shipment or collection that Path lies in; "" where Reason names none
}

func (e *Error) Error() string {
	path, holder := durable.Quote(e.Path), durable.Quote(e.Holder)
	switch e.Reason {
	case NoMedium:
		return "there is no folder at " + path
	case MediumIsCollection:
		return path + ": the shipment must not be written into the collection itself"
	case MediumHoldsCollection:
		return path + ": the collection lies on the medium itself, and whoever gets the medium would get the roster"
	case MediumHoldsKeys:
		return path + ": the key folder lies on the medium itself, and whoever gets the medium would get the keys"
	case MediumInShipment:
		return fmt.Sprintf("%s lies in the shipment %s, and a laboratory rejects a shipment in which anything "+
			"was added", path, holder)
	case MediumInCollection:
		return fmt.Sprintf("%s lies in the collection %s: the shipment must not be written into a "+
			"collection", path, holder)
	case OutputInShipment:
		return fmt.Sprintf("%s would lie in the shipment %s, which must stay as the site signed it; nothing "+
			"was written", path, holder)
	case OutputInCollection:
		return fmt.Sprintf("%s would lie in the collection %s, which only holds what was collected; nothing "+
			"was written", path, holder)
	case UnpackedOnMedium:
		return path + " lies on the medium itself, and what is unpacked there could be read by whoever gets the " +
			"medium; nothing was written"
	case SlipExists:
		return path + " already exists; it was not touched"
	case SlipNoFolder:
		return "there is no folder for " + path
	case SlipInCollection:
		return "the slip must not lie in the collection, which only holds what was collected"
	case SlipOnMedium:
		return "the slip must not lie on the medium, where whoever finds it could read the session pseudonyms"
	}
	return path + " must not be used: " + string(e.Reason)
}

// Medium judges a folder to seal into. It must be there, must not lie in a shipment or
// in any collection, and must hold neither the collection nor the key folder: whoever
// gets the medium would get the roster or the keys. A key folder that is not there is
// on no medium.
func Medium(medium, collection, keyFolder string) error {
	if info, err := os.Stat(medium); err != nil || !info.IsDir() {
		return &Error{Reason: NoMedium, Path: medium}
	}
	for _, c := range []struct {
		inner, outer string
		reason       Reason
	}{
		{medium, collection, MediumIsCollection},
		{collection, medium, MediumHoldsCollection},
		{keyFolder, medium, MediumHoldsKeys},
	} {
		inside, err := within(c.inner, c.outer)
		if err != nil {
			return err
		}
		if inside {
			return &Error{Reason: c.reason, Path: medium}
		}
	}
	if at := holder(medium, isShipment); at != "" {
		return &Error{MediumInShipment, medium, at}
	}
	if at := holder(medium, isCollection); at != "" {
		return &Error{MediumInCollection, medium, at}
	}
	return nil
}

// Output judges a file or folder that is about to be made: it must not lie in a
// shipment or in a collection. An empty path is no output.
func Output(path string) error {
	if path == "" {
		return nil
	}
	folder := filepath.Dir(filepath.Clean(path))
	if at := holder(folder, isShipment); at != "" {
		return &Error{OutputInShipment, path, at}
	}
	if at := holder(folder, isCollection); at != "" {
		return &Error{OutputInCollection, path, at}
	}
	return nil
}

// Unpacking judges the folder into, which a shipment is about to be unpacked as: like
// an [Output], and not on the medium that holds the shipment, so that nothing goes back
// there in the clear.
//
// The medium is the file system that is mounted at the folder above the shipment, or
// else that folder itself, unless the working directory lies in it.
func Unpacking(into, shipment string) error {
	if err := Output(into); err != nil {
		return err
	}
	above := filepath.Dir(filepath.Clean(into))
	medium := filepath.Dir(resolved(shipment))
	onIt := mountPoint(medium) && sameDevice(above, medium)
	if !onIt {
		if in, err := within(above, medium); err == nil && in {
			work, err := within(".", medium)
			onIt = err == nil && !work
		}
	}
	if onIt {
		return &Error{Reason: UnpackedOnMedium, Path: into}
	}
	return nil
}

// Slip judges the file of a packing slip: it must be new, in a folder that exists,
// outside of the collection, and on none of the media, where a finder could read it.
func Slip(path string, media []string, collection string) error {
	if _, err := os.Lstat(path); err == nil {
		return &Error{Reason: SlipExists, Path: path}
	}
	folder := filepath.Dir(path)
	if info, err := os.Stat(folder); err != nil || !info.IsDir() {
		return &Error{Reason: SlipNoFolder, Path: path}
	}
	in, err := within(folder, collection)
	if err != nil {
		return err
	}
	if in {
		return &Error{Reason: SlipInCollection, Path: path}
	}
	for _, m := range media {
		if in, err = within(folder, m); err != nil {
			return err
		}
		if in {
			return &Error{Reason: SlipOnMedium, Path: path}
		}
	}
	return nil
}

// holder returns the absolute path of the nearest folder, at or above folder, of which
// is reports true, or "". Links are followed first, so that it is where the folder
// really lies. A folder that is not there has none: whoever opens it reports that.
func holder(folder string, is func(folder string) bool) string {
	at, err := filepath.Abs(folder)
	if err == nil {
		at, err = filepath.EvalSymlinks(at)
	}
	if err != nil {
		return ""
	}
	for {
		if is(at) {
			return at
		}
		up := filepath.Dir(at)
		if up == at {
			return ""
		}
		at = up
	}
}

func isShipment(folder string) bool {
	return hasAll(folder, fs.FileMode.IsRegular, "shipment.json", "SHA256SUMS")
}

func isCollection(folder string) bool {
	return hasAll(folder, fs.FileMode.IsRegular, "study.json") && hasAll(folder, fs.FileMode.IsDir, "sessions")
}

func hasAll(folder string, kind func(fs.FileMode) bool, names ...string) bool {
	for _, name := range names {
		if info, err := os.Lstat(filepath.Join(folder, name)); err != nil || !kind(info.Mode()) {
			return false
		}
	}
	return true
}

// within reports whether inner is the folder outer or lies in it, under whatever name:
// links and mounts are followed, and letter case is the file system's. What is not
// there lies nowhere.
func within(inner, outer string) (bool, error) {
	want, err := os.Stat(outer)
	if err != nil {
		return false, err
	}
	at, err := filepath.Abs(inner)
	if err == nil {
		at, err = filepath.EvalSymlinks(at)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	for {
		info, err := os.Stat(at)
		if err != nil {
			return false, err
		}
		if os.SameFile(info, want) {
			return true, nil
		}
		up := filepath.Dir(at)
		if up == at {
			return false, nil
		}
		at = up
	}
}

// resolved returns the absolute path with links followed, as far as that can be done.
func resolved(path string) string {
	at, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	if real, err := filepath.EvalSymlinks(at); err == nil {
		return real
	}
	return at
}

// mountPoint reports whether a file system of its own begins at folder, other than the root's.
func mountPoint(folder string) bool {
	up := filepath.Dir(folder)
	return up != folder && !sameDevice(folder, up)
}

func sameDevice(a, b string) bool {
	first, err := os.Stat(a)
	if err != nil {
		return false
	}
	second, err := os.Stat(b)
	return err == nil && device(first) == device(second)
}
