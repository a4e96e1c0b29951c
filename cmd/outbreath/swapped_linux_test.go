package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"golang.org/x/sys/unix"
)

// swapping exchanges every folder in dir whose name begins with prefix for a link to
// another folder and back, as fast as it can, until stop is called; stop returns how
// often.
func swapping(t *testing.T, dir, prefix, elsewhere string) (stop func() int) {
	t.Helper()
	exchange := func(a, b string) bool {
		return unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE) == nil
	}
	var ended atomic.Bool
	count := make(chan int)
	go func() {
		n, links, aside := 0, 0, ""
		for !ended.Load() {
			entries, _ := os.ReadDir(dir)
			for _, e := range entries {
				if !strings.HasPrefix(e.Name(), prefix) || !e.IsDir() {
					continue
				}
				if aside == "" {
					links++
					aside = filepath.Join(dir, fmt.Sprintf("aside-%d", links))
					_ = os.Symlink(elsewhere, aside)
				}
				name := filepath.Join(dir, e.Name())
				for !ended.Load() && exchange(name, aside) {
					n++
					if !exchange(name, aside) { // the link was taken away, or got another name
						aside = ""
						break
					}
				}
			}
		}
		count <- n
	}()
	return func() int { ended.Store(true); return <-count }
}

// plainFiles counts the plain files below dir, without following links.
func plainFiles(t *testing.T, dir string) (n int) {
	t.Helper()
	ok(t, filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			n++
		}
		return err
	}))
	return n
}

// TestSwappedFolders lets another process exchange the folder that a shipment, or what
// is unpacked, is made in for a link to a folder outside: nothing there is created,
// changed, renamed or removed, and no link gets a final name.
func TestSwappedFolders(t *testing.T) {
	first := newScene(t)
	for what, c := range map[string]struct {
		dir, prefix string
		args        []string
		made        string
	}{
		"seal": {"media", ".outbreath-", []string{"seal", "collection", "--to", "media", "--new-number", "--keys",
			"site",
			"--part-size", "3000", "--quiet"}, "media/WEIR-0002"},
		"open": {"out", ".outbreath-", []string{"open", "media/WEIR-0001", "--into", "out/opened", "--keys", "lab",
			"--quiet"}, "out/opened"},
	} {
		t.Run(what, func(t *testing.T) {
			counts, swaps := map[int]int{}, 0
			for range many(25, 300) {
				s := first.copied(t)
				before := marks(t, s.at("decoy"))
				stop := swapping(t, s.at(c.dir), c.prefix, s.at("decoy"))
				status, out := s.run(t, "", c.args...)
				swaps += stop()
				counts[status]++
				if status != 0 && counts[status] == 1 {
					t.Logf("%s", out)
				}
				if after := marks(t, s.at("decoy")); after != before {
					t.Fatalf("status %d: the folder outside was touched\n%s\n%s\n%s", status, before, after, out)
				}
				info, err := os.Lstat(s.at(c.made))
				if err == nil && !info.IsDir() || status == 0 && err != nil {
					t.Fatalf("status %d: %s is %v, %v\n%s", status, c.made, info, err, out)
				}
				if left := plainFiles(t, s.at(c.dir)) - plainFiles(t, first.at(c.dir)); status != 0 && left != 0 {
					t.Errorf("status %d: %d files are left\n%s", status, left, out)
				}
				if status != 0 && !advice.MatchString(out) {
					t.Errorf("status %d, and no word of what to do\n%s", status, out)
				}
			}
			if swaps < 1000 {
				t.Errorf("only %d exchanges", swaps)
			}
			t.Logf("runs by status: %v; %d exchanges", counts, swaps)
		})
	}
}
