package pack

import (
	"errors"
	"io/fs"
	"os"
	"regexp"

	"outbreath/pack/durable"
	"outbreath/pack/media"
)

var stageName = regexp.MustCompile(`^\.outbreath-[A-Za-z0-9-]+-[0-9]{4}-[0-9a-f]{16}$`)

// sweep removes what killed runs left on the medium, of any shipment: hidden
// folders of ours that no running seal holds.
func sweep(medium *os.Root) error {
	entries, err := durable.ReadDir(medium, ".")
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !e.IsDir() || !stageName.MatchString(e.Name()) {
			continue
		}
		if err := sweepOne(medium, e.Name()); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

func sweepOne(medium *os.Root, name string) error {
	stale, err := durable.Folder(medium, name)
	if err != nil {
		return err
	}
	defer stale.Close()
	release, held, err := media.Hold(stale)
	if err != nil || !held {
		return err
	}
	defer release()
	return durable.RemoveFolder(medium, stale, name)
}
