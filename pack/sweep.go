package pack

import (
	"os"
	"path/filepath"
	"regexp"

	"outbreath/pack/media"
)

var stageName = regexp.MustCompile(`^\.outbreath-[A-Za-z0-9-]+-[0-9]{4}-[0-9a-f]{16}$`)

// sweep removes what killed runs left on the medium, of any shipment: hidden
// folders of ours that no running seal holds.
func sweep(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !e.IsDir() || !stageName.MatchString(e.Name()) {
			continue
		}
		stale := filepath.Join(dir, e.Name())
		release, held, err := media.Hold(stale)
		if err != nil {
			return err
		}
		if !held {
			continue
		}
		err = os.RemoveAll(stale)
		release()
		if err != nil {
			return err
		}
	}
	return nil
}
