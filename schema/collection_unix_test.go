//go:build unix

package schema

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestLoadIrregular(t *testing.T) {
	outside := filepath.Join(t.TempDir(), "0003.json")
	if err := os.WriteFile(outside, []byte(validRecord), 0o600); err != nil {
		t.Fatal(err)
	}
	f := valid(t)
	delete(f, "recordings/trace-0002.csv")
	dir := f.write(t)
	for _, name := range []string{"sessions/0003.json", "recordings/trace-0002.csv", "notes.txt"} {
		if err := os.Symlink(outside, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("0001.json", filepath.Join(dir, "sessions/0004.json")); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(filepath.Join(dir, "sessions/0005.json"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "sessions/0006.json"), 0o700); err != nil {
		t.Fatal(err)
	}
	var got []string
	c := load(t, dir)
	for _, p := range c.Problems {
		got = append(got, p.File+" "+p.Rule)
	}
	// once, and not at the record as well
	if diff := cmp.Diff([]string{"notes.txt folder.irregular", "recordings/trace-0002.csv folder.irregular",
		"sessions/0003.json folder.irregular", "sessions/0004.json folder.irregular",
		"sessions/0005.json folder.irregular",
		"sessions/0006.json folder.inside"}, got); diff != "" {
		t.Error(diff)
	}
	if len(c.Sessions) != 2 {
		t.Errorf("%d sessions", len(c.Sessions))
	}

	for _, name := range []string{"study.json", "roster.csv"} {
		dir := valid(t).write(t)
		path := filepath.Join(dir, name)
		if err := os.Rename(path, path+".real"); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(name+".real", path); err != nil {
			t.Fatal(err)
		}
		if _, err := Load(dir); err == nil || !strings.Contains(err.Error(), name+": this is a link") {
			t.Errorf("%s as a link: %v", name, err)
		}
	}

	dir = valid(t).write(t)
	if err := os.Rename(filepath.Join(dir, "sessions"), filepath.Join(dir, "s")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("s", filepath.Join(dir, "sessions")); err != nil {
		t.Fatal(err)
	}
	if c := load(t, dir); len(c.Sessions) != 0 || !strings.Contains(fmt.Sprint(c.Problems), "folder.name") {
		t.Errorf("a link to a folder was followed: %v", c.Problems)
	}
}

// A file that holds more than its size says, as one does that somebody is writing,
// is not taken half.
func TestGrowing(t *testing.T) {
	root, err := os.OpenRoot("/proc/self")
	if err != nil {
		t.Skip("no file here has more bytes than its size says")
	}
	defer root.Close()
	if data, err := readPlain(root, "status", 100); err == nil ||
		!strings.Contains(err.Error(), "status changed while it was read") {
		t.Errorf("%d bytes, %v", len(data), err)
	}
}
