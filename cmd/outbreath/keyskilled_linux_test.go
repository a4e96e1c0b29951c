package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/keys"
)

// TestKeysKilled kills keys rotate and keys trust at each call that changes the
// disk: the folder opens afterwards, every key that was there is there, and the
// same command once more ends where an undisturbed one does.
func TestKeysKilled(t *testing.T) {
	t.Parallel()
	strace := outside(t, "strace")
	if out, err := exec.Command(strace, "-f", "-qq", "-o", "/dev/null", "-e", "trace=fsync", "-e",
		"inject=fsync:error=EIO", "true").CombinedOutput(); err != nil {
		t.Skipf("strace may not trace here: %v: %s", err, out)
	}
	bin := binary(t)
	base := t.TempDir()
	at := func(name string) string { return filepath.Join(base, name) }
	for _, k := range [][2]string{{"site", "WEIR"}, {"lab", "harbour-lab"}, {"newlab", "harbour-lab"}} {
		role := "lab"
		if k[0] == "site" {
			role = "site"
		}
		must(t, "keys", "new", "--role", role, "--name", k[1], "--no-passphrase", "--keys", at(k[0]))
	}
	public := filepath.Join(at("lab"), "public-keys.txt")
	must(t, "keys", "trust", public, "--keys", at("site"))
	must(t, "keys", "rotate", "--keys", at("site"))
	newPublic := filepath.Join(at("newlab"), "public-keys.txt")

	folder := func(dir string) *keys.Folder {
		t.Helper()
		f, err := keys.Open(dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	generations := func(dir string) []*keys.PseudonymKey {
		t.Helper()
		all, err := folder(dir).Generations()
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	trusted := func(dir string) map[string]bool {
		t.Helper()
		_, list, err := folder(dir).Public()
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]bool{}
		for _, k := range list {
			out[k.Fingerprint] = true
		}
		return out
	}
	// What the site must not forget survives, and is readable, whatever is cut off.
	const memory = "numbers and withdrawals\n"
	for _, study := range []string{"LARK-2", "WREN-1"} {
		if err := folder(at("site")).ChangeState(study, func([]byte) ([]byte, error) {
			return []byte(memory),
				nil
		}); err != nil {
			t.Fatal(err)
		}
	}
	remembers := func(dir string) {
		t.Helper()
		for _, study := range []string{"LARK-2", "WREN-1"} {
			if got, err := folder(dir).State(study); err != nil || string(got) != memory {
				t.Errorf("the state of %s: %q, %v", study, got, err)
			}
		}
	}
	between := 0 // states in which one file of two was written
	before, oldTrust := generations(at("site")), trusted(at("site"))
	own, _, err := folder(at("newlab")).Public()
	if err != nil {
		t.Fatal(err)
	}
	words := strings.Join(keys.SpokenWords(own), " ")
	for _, c := range []struct {
		name string
		args []string
		once func(dir string, again bool) // judges the folder
	}{
		{"rotate", []string{"keys", "rotate"}, func(dir string, again bool) {
			all := generations(dir)
			for i, old := range before {
				found := false
				for _, k := range all {
					found = found || k.Same(old)
				}
				if !found {
					t.Errorf("generation %d is lost", i)
				}
			}
			if n := len(all); n != len(before) && n != len(before)+1 && !(again && n == len(before)+2) || again &&
				n == len(before) {
				t.Errorf("%d generations of %d", n, len(before))
			}
		}},
		{"trust", []string{"keys", "trust", newPublic, "--replace", "--compared", words}, func(dir string, again bool) {
			now := trusted(dir)
			fresh := 0
			for k := range now {
				if !oldTrust[k] {
					fresh++
				}
			}
			if fresh == 1 {
				between++
			}
			if again && (fresh != 2 || len(now) != 2) || len(now) < 2 {
				t.Errorf("%d keys are trusted, %d of them new", len(now), fresh)
			}
		}},
	} {
		killed := 0
		for _, call := range []string{"fsync", "renameat", "renameat2", "unlinkat", "fchmod", "write", "openat"} {
			for n := 1; n <= 40; n++ {
				dir := filepath.Join(t.TempDir(), "site")
				if err := os.CopyFS(dir, os.DirFS(at("site"))); err != nil {
					t.Fatal(err)
				}
				for _, path := range []string{dir, filepath.Join(dir, "pseudonym.key"),
					filepath.Join(dir, "pseudonym-1.key"), filepath.Join(dir, "signing"),
					filepath.Join(dir, "state-LARK-2"), filepath.Join(dir, "state-WREN-1")} {
					info, err := os.Stat(path)
					if err == nil {
						err = os.Chmod(path, info.Mode().Perm()&0o700)
					}
					if err != nil {
						t.Fatal(err)
					}
				}
				cmd := exec.Command(strace, append([]string{"-f", "-qq", "-o", "/dev/null", "-e", "trace=" + call, "-e",
					fmt.Sprintf("inject=%s:signal=KILL:when=%d", call, n), bin},
					append(c.args, "--keys", dir, "--quiet")...)...)
				if cmd.Run() == nil {
					break // there is no such call any more
				}
				killed++
				c.once(dir, false)
				remembers(dir)
				if status, _, errOut := runHere(append(c.args, "--keys", dir)...); status != 0 {
					t.Fatalf("%s killed at %s %d: once more: exit status %d: %s", c.name, call, n, status, errOut)
				}
				c.once(dir, true)
				remembers(dir)
				if t.Failed() {
					t.Fatalf("%s killed at %s %d", c.name, call, n)
				}
			}
		}
		t.Logf("%s: killed at %d calls", c.name, killed)
		if killed < 15 {
			t.Errorf("%s: killed at %d calls only", c.name, killed)
		}
	}
	if between == 0 {
		t.Error("trust was never killed between its two files")
	}
}
