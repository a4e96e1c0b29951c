package intake

import (
	"os"
	"path/filepath"
	"slices"
	"strings"

	"outbreath/pack"
)

// OfSites returns dirs without what operating systems keep on a medium, which a pattern
// such as "stick/*" names as well. If nothing else is among them, all are returned.
func OfSites(dirs []string) []string {
	rest := slices.DeleteFunc(slices.Clone(dirs), func(dir string) bool {
		return pack.OfSystem(filepath.Base(dir))
	})
	if len(rest) == 0 {
		return dirs
	}
	return rest
}

// Named reports whether dir may be taken for one shipment, damaged or not. The error is
// an *[Error]: NoFolder, or NotShipment for the medium itself or a folder around
// shipments, of which nothing must be called rejected.
func Named(dir string) error {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return &Error{Fault: NoFolder, Path: dir}
	}
	return Single(dir)
}

// Single is [Named] for a folder that is known to exist.
func Single(dir string) error {
	if hasShipment(dir) {
		return nil
	}
	l := &lookout{}
	l.look(dir, 1)
	if len(l.found) == 0 {
		return nil
	}
	return &Error{Fault: NotShipment, Path: dir, Inside: l.found}
}

// hasShipment reports whether dir has a file that only a shipment has.
func hasShipment(dir string) bool {
	return slices.ContainsFunc([]string{"shipment.json", "SHA256SUMS", "SHA256SUMS.sig"}, func(name string) bool {
		_, err := os.Lstat(filepath.Join(dir, name))
		return err == nil
	})
}

// Bounds of the search for shipments in a folder.
const (
	deepest  = 3    // levels of folders
	mostSeen = 1000 // entries
)

// A lookout searches a folder for shipments.
type lookout struct {
	seen  int
	found []string // paths
}

func (l *lookout) look(dir string, depth int) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return // reading the shipment fails too, and says why
	}
	for _, e := range entries {
		at := filepath.Join(dir, e.Name())
		l.seen++
		if l.seen > mostSeen || !e.IsDir() || pack.OfSystem(e.Name()) || strings.HasPrefix(e.Name(), ".outbreath-") {
			continue
		}
		if hasShipment(at) {
			l.found = append(l.found, at)
		} else if depth < deepest {
			l.look(at, depth+1)
		}
	}
}
