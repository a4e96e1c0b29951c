package place

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// lay makes an empty file for each path under a new folder, and a folder for each that
// ends in a slash; it returns the folder.
func lay(t *testing.T, paths ...string) string {
	t.Helper()
	dir, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range paths {
		full := filepath.Join(dir, filepath.FromSlash(p))
		folder := filepath.Dir(full)
		if strings.HasSuffix(p, "/") {
			folder = full
		}
		if err := os.MkdirAll(folder, 0o755); err != nil {
			t.Fatal(err)
		}
		if folder == full {
			continue
		}
		if err := os.WriteFile(full, nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// site is a collection, another one, a key folder, and a medium with a shipment.
func site(t *testing.T) (in func(string) string) {
	dir := lay(t, "week/study.json", "week/sessions/", "week/recordings/", "other/study.json", "other/sessions/",
		"keys/",
		"stick/S-0001/shipment.json", "stick/S-0001/SHA256SUMS", "stick/S-0001/sub/", "stick/free/", "desk/",
		"half/study.json", "half/shipment.json", "full/week/", "full/keys/")
	for link, to := range map[string]string{"link": "stick", "desk/week": "../week", "weeklink": "week/recordings"} {
		if err := os.Symlink(filepath.FromSlash(to), filepath.Join(dir, filepath.FromSlash(link))); err != nil {
			t.Skipf("no symbolic links here: %v", err)
		}
	}
	return func(p string) string { return filepath.Join(dir, filepath.FromSlash(p)) }
}

// want reports an error that is not the one of a reason and a holder; "" is none.
func want(t *testing.T, what string, err error, reason Reason, holder string) {
	t.Helper()
	if reason == "" {
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
		return
	}
	e, ok := errors.AsType[*Error](err)
	if !ok || e.Reason != reason || e.Holder != holder {
		t.Errorf("%s: %v, want %s of %q", what, err, reason, holder)
	}
}

func TestMedium(t *testing.T) {
	in := site(t)
	for _, c := range []struct {
		medium, collection, keys string
		reason                   Reason
		holder                   string
	}{
		{"stick", "week", "keys", "", ""},
		{"stick", "week", "nokeys", "", ""},
		{"stick/free", "week", "keys", "", ""},
		{"half", "week", "keys", "", ""}, // a file of the name is no shipment, nor a collection
		{"none", "week", "keys", NoMedium, ""},
		{"week/study.json", "week", "keys", NoMedium, ""},
		{"week", "week", "keys", MediumIsCollection, ""},
		{"week/recordings", "week", "keys", MediumIsCollection, ""},
		{"weeklink", "week", "keys", MediumIsCollection, ""},
		{"full", "full/week", "keys", MediumHoldsCollection, ""},
		{"full", "week", "full/keys", MediumHoldsKeys, ""},
		{"full/keys", "week", "full/keys", MediumHoldsKeys, ""},
		{"stick/S-0001", "week", "keys", MediumInShipment, "stick/S-0001"},
		{"link/S-0001/sub", "week", "keys", MediumInShipment, "stick/S-0001"},
		{"other", "week", "keys", MediumInCollection, "other"},
		{"other/sessions", "week", "keys", MediumInCollection, "other"},
	} {
		holder := c.holder
		if holder != "" {
			holder = in(holder)
		}
		want(t, c.medium, Medium(in(c.medium), in(c.collection), in(c.keys)), c.reason, holder)
	}
}

func TestOutput(t *testing.T) {
	in := site(t)
	for path, w := range map[string]struct {
		reason Reason
		holder string
	}{
		"desk/a": {}, "stick/a": {}, "none/a": {}, "half/a": {},
		"stick/S-0001/a":     {OutputInShipment, "stick/S-0001"},
		"link/S-0001/sub/a":  {OutputInShipment, "stick/S-0001"},
		"week/a":             {OutputInCollection, "week"},
		"week/recordings/a/": {OutputInCollection, "week"},
		"weeklink/a":         {OutputInCollection, "week"},
		"desk/week/a":        {OutputInCollection, "week"},
	} {
		if w.holder != "" {
			w.holder = in(w.holder)
		}
		want(t, path, Output(in(path)), w.reason, w.holder)
	}
	want(t, "no output", Output(""), "", "")
}

func TestUnpacking(t *testing.T) {
	in := site(t)
	t.Chdir(in("desk"))
	for _, c := range []struct {
		into, shipment string
		reason         Reason
		holder         string
	}{
		{"desk/opened", "stick/S-0001", "", ""},
		{"stick/opened", "stick/S-0001", UnpackedOnMedium, ""},
		{"stick/free/opened", "link/S-0001", UnpackedOnMedium, ""},
		{"link/opened", "stick/S-0001", UnpackedOnMedium, ""},
		{"stick/S-0001/opened", "stick/S-0001", OutputInShipment, "stick/S-0001"},
		{"week/opened", "stick/S-0001", OutputInCollection, "week"},
	} {
		holder := c.holder
		if holder != "" {
			holder = in(holder)
		}
		want(t, c.into, Unpacking(in(c.into), in(c.shipment)), c.reason, holder)
	}
	t.Chdir(in("stick")) // who works in the folder above a shipment has copied it there
	want(t, "the folder of work", Unpacking("opened", "S-0001"), "", "")
}

func TestSlip(t *testing.T) {
	in := site(t)
	for path, reason := range map[string]Reason{
		"desk/slip.html": "", "other/slip.html": "", "week/study.json": SlipExists, "none/slip.html": SlipNoFolder,
		"week/study.json/slip": SlipNoFolder,
		"week/slip.html":       SlipInCollection, "desk/week/slip.html": SlipInCollection,
		"stick/slip.html": SlipOnMedium, "link/free/slip.html": SlipOnMedium,
	} {
		want(t, path, Slip(in(path), []string{in("half"), in("stick")}, in("week")), reason, "")
	}
}

// Every reason has a text of its own, which names no command and no option.
func TestTexts(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range []Reason{NoMedium, MediumIsCollection, MediumHoldsCollection, MediumHoldsKeys, MediumInShipment,
		MediumInCollection,
		OutputInShipment, OutputInCollection, UnpackedOnMedium, SlipExists, SlipNoFolder, SlipInCollection,
		SlipOnMedium} {
		text := (&Error{r, "a b", "/h"}).Error()
		if seen[text] || strings.Contains(text, string(r)) || strings.Contains(text, "--") {
			t.Errorf("%s: %s", r, text)
		}
		seen[text] = true
	}
}
