package bag

import (
	"bytes"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"testing"
)

// suite holds bags of other people. Source: Library of Congress, BagIt
// conformance suite, commit 9ab48705.
const suite = "../../../shared/external/bagit-conformance-suite"

var hashes = map[string]func() hash.Hash{"md5": md5.New, "sha1": sha1.New, "sha256": sha256.New, "sha512": sha512.New}

// checkFolder judges a whole bag of any algorithm by the parsers of this
// package. It is complete and valid when no problem comes back.
func checkFolder(fsys fs.FS) (problems []string, err error) {
	data, err := fs.ReadFile(fsys, Bagit)
	if err != nil {
		return nil, err
	}
	if err := ParseBagit(data); err != nil {
		return nil, err
	}
	if data, err := fs.ReadFile(fsys, Info); err == nil {
		if _, err := parseInfo(data); err != nil {
			return nil, err
		}
	}
	var files []string
	err = fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			files = append(files, p)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	manifests := 0
	for _, name := range files {
		payload := strings.HasPrefix(name, "manifest-")
		if path.Dir(name) != "." || !payload && !isTagManifest(name) {
			continue
		}
		newHash := hashes[strings.TrimSuffix(name[strings.Index(name, "-")+1:], ".txt")]
		if newHash == nil {
			return nil, errors.New("unknown algorithm")
		}
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, err
		}
		sums, err := parseSums(data, payload, newHash().Size())
		if err != nil {
			return nil, err
		}
		var listed []string
		for _, s := range sums {
			listed = append(listed, s.path)
			data, err := fs.ReadFile(fsys, s.path)
			h := newHash()
			h.Write(data)
			if err != nil {
				problems = append(problems, "missing "+s.path)
			} else if !bytes.Equal(h.Sum(nil), s.sum) {
				problems = append(problems, "wrong "+s.path)
			}
		}
		for _, f := range files {
			if payload == strings.HasPrefix(f, "data/") && !isTagManifest(f) && !slices.Contains(listed, f) {
				problems = append(problems, "unlisted "+f)
			}
		}
		if payload {
			manifests++
		}
	}
	if manifests == 0 {
		problems = append(problems, "no payload manifest")
	}
	return problems, nil
}

func bags(t *testing.T, version string) []string {
	t.Helper()
	entries, err := os.ReadDir(suite + "/" + version + "/valid")
	if errors.Is(err, fs.ErrNotExist) {
		t.Skip("the conformance suite is not next to the project")
	}
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, suite+"/"+version+"/valid/"+e.Name())
	}
	return names
}

func TestSuiteValid(t *testing.T) {
	names := bags(t, "v1.0")
	if len(names) == 0 {
		t.Fatal("no bags")
	}
	for _, name := range names {
		problems, err := checkFolder(os.DirFS(name))
		if err != nil || len(problems) > 0 {
			t.Errorf("%s: %v %q", path.Base(name), err, problems)
		}
	}
}

// TestSuiteChanged makes each valid bag of the suite invalid in the ways that
// the suite's invalid bags are named after.
func TestSuiteChanged(t *testing.T) {
	names := bags(t, "v1.0")
	for _, name := range names {
		for what, change := range map[string]func(dir string) error{
			"corrupt-data-file": func(dir string) error {
				return os.WriteFile(dir+"/data/hello.txt", []byte("x"),
					0o600)
			},
			"corrupt-tag-file": func(dir string) error {
				return os.WriteFile(dir+"/bagit.txt",
					[]byte("BagIt-Version: 1.0\r\nTag-File-Character-Encoding: UTF-8\n"), 0o600)
			},
			"extra-file-in-bag": func(dir string) error { return os.WriteFile(dir+"/data/more.txt", nil, 0o600) },
			"missing-bagit.txt": func(dir string) error { return os.Remove(dir + "/bagit.txt") },
			"missing-file":      func(dir string) error { return os.Remove(dir + "/data/hello.txt") },
			"missing-manifest":  func(dir string) error { return os.Remove(dir + "/manifest-sha512.txt") },
			"bom-in-bagit.txt": func(dir string) error {
				return os.WriteFile(dir+"/bagit.txt", []byte("\ufeff"+string(FormatBagit())), 0o600)
			},
		} {
			dir := t.TempDir()
			if err := os.CopyFS(dir, os.DirFS(name)); err != nil {
				t.Fatal(err)
			}
			if err := change(dir); err != nil {
				t.Fatal(err)
			}
			if problems, err := checkFolder(os.DirFS(dir)); err == nil && len(problems) == 0 {
				t.Errorf("%s with %s: no problem found", path.Base(name), what)
			}
		}
	}
}

// Bags before 1.0 follow other rules for the same lines (RFC 8493, appendix on
// changes); they are refused and the version is named.
func TestSuiteOldVersion(t *testing.T) {
	names := bags(t, "v0.97")
	if len(names) == 0 {
		t.Fatal("no bags")
	}
	for _, name := range names {
		_, err := checkFolder(os.DirFS(name))
		var v *VersionError
		if !errors.As(err, &v) || v.Version != "0.97" {
			t.Errorf("%s: %v", path.Base(name), err)
		}
	}
	if msg := fmt.Sprint(&VersionError{"0.97"}); !strings.Contains(msg, "0.97") {
		t.Errorf("version not named: %s", msg)
	}
}
