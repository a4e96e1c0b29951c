//go:build unix

package keys

import (
	"bytes"
	"crypto/rand"
	"crypto/rsa"
	"encoding/pem"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/crypto/ssh"
)

// useAll opens the folder and makes every use of it; the error is the first.
func useAll(dir string) error {
	f, err := Open(dir, func(string) ([]byte, error) { return somePass, nil })
	if err != nil {
		return err
	}
	var errs []error
	add := func(err error) { errs = append(errs, err) }
	_, err = f.Signer()
	add(err)
	if f.Role() == Site {
		_, err = f.PseudonymKey()
		add(err)
		_, err = f.Generations()
		add(err)
		_, _, err = f.Recipients(nil, today)
		add(err)
	} else {
		_, err = f.Identities()
		add(err)
	}
	_, err = f.Allowed()
	add(err)
	_, _, err = f.Public()
	add(err)
	return errors.Join(errs...)
}

// mends are the words by which a message says what to do.
var mends = []string{"run: ", "put back", "put the file itself", "move ", "take ", "keep one", "copy the whole line", "make ", "choose ", "name ", "ask ", "add ", "trust ", "write "}

// TestKeyFilesRefused: every file of a key folder, in every state that it should
// not be in, is refused with its name and with what to do, and nothing of any
// file is told. What is harmless is listed, and why.
func TestKeyFilesRefused(t *testing.T) {
	if !hasModes {
		t.Skip("no mode bits")
	}
	site := create(t, NewOptions{Role: Site, Name: "07"})
	lab := create(t, NewOptions{Role: Lab, Name: "tern-lab"})
	trust(t, site, readFile(t, lab.path(publicFile)), "")
	trust(t, lab, readFile(t, site.path(publicFile)), "")
	if err := site.Rotate(); err != nil {
		t.Fatal(err)
	}
	lockedSite := create(t, NewOptions{Role: Site, Name: "07", Passphrase: somePass})
	trust(t, lockedSite, readFile(t, lab.path(publicFile)), "")
	lockedLab := create(t, NewOptions{Role: Lab, Name: "tern-lab", Passphrase: somePass})
	sshLab := create(t, NewOptions{Role: Lab, Name: "tern-lab", Identity: readFile(t, lab.path(signingFile))})

	rsaKey, err := rsa.GenerateKey(rand.Reader, 1024)
	if err != nil {
		t.Fatal(err)
	}
	weak, err := ssh.MarshalPrivateKey(rsaKey, "x")
	if err != nil {
		t.Fatal(err)
	}
	foreign := map[string][]byte{
		"a weak RSA key": pem.EncodeToMemory(weak),
		"words":          []byte("Marta said that this is the key\n"),
		"UTF-16":         []byte("\xff\xfea\x00g\x00e\x001\x00\n\x00"),
		"zeros":          make([]byte, 300),
		"a certificate":  []byte("-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"),
	}
	folders := map[string]*Folder{"site": site, "laboratory": lab, "site with passphrase": lockedSite, "laboratory with passphrase": lockedLab, "laboratory with an SSH key": sshLab}
	secrets := [][]byte{[]byte("PRIVATE KEY"), []byte("AGE-SECRET-KEY")}
	tried := 0
	for who, f := range folders {
		if err := useAll(f.Dir()); err != nil {
			t.Fatalf("%s, as made: %v", who, err)
		}
		entries, err := os.ReadDir(f.Dir())
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			name := e.Name()
			if name == publicFile { // is handed over, and never read here
				continue
			}
			path := f.path(name)
			whole := readFile(t, path)
			info, err := os.Lstat(path)
			if err != nil {
				t.Fatal(err)
			}
			public := info.Mode().Perm() == 0o644
			slow := strings.Contains(who, "passphrase") && !public
			refused := func(state string) {
				t.Helper()
				tried++
				err := useAll(f.Dir())
				if err == nil {
					t.Errorf("%s: %s %s: accepted", who, name, state)
					return
				}
				text := err.Error()
				says := false
				for _, m := range mends {
					says = says || strings.Contains(text, m)
				}
				if !errors.As(err, new(*Error)) || !says || !strings.Contains(text, name) {
					t.Errorf("%s: %s %s: %T %v", who, name, state, err, err)
				}
				for _, s := range secrets {
					if bytes.Contains([]byte(text), s) && !strings.Contains(text, "AGE-SECRET-KEY-1...") {
						t.Errorf("%s: %s %s: content in %v", who, name, state, err)
					}
				}
			}
			restore := func() {
				t.Helper()
				if err := os.RemoveAll(path); err != nil {
					t.Fatal(err)
				}
				writeFile(t, path, whole, info.Mode().Perm())
				if err := os.Chmod(path, info.Mode().Perm()); err != nil {
					t.Fatal(err)
				}
			}

			// modes and owner
			modes := []fs.FileMode{0o644, 0o640, 0o604, 0o660, 0o666, 0o602}
			if public {
				modes = []fs.FileMode{0o664, 0o646, 0o666, 0o622}
			}
			for _, mode := range modes {
				if err := os.Chmod(path, mode); err != nil {
					t.Fatal(err)
				}
				refused("of mode " + mode.String())
			}
			if os.Geteuid() == 0 {
				restore()
				if err := os.Chown(path, 65534, -1); err != nil {
					t.Fatal(err)
				}
				refused("of another owner")
			}

			// no ordinary file
			away := filepath.Join(t.TempDir(), name)
			writeFile(t, away, whole, info.Mode().Perm())
			for state, lay := range map[string]func() error{
				"a link":            func() error { return os.Symlink(away, path) },
				"a link to nowhere": func() error { return os.Symlink(filepath.Join(f.Dir(), "none"), path) },
				"a folder":          func() error { return os.Mkdir(path, 0o700) },
				"a pipe":            func() error { return syscall.Mkfifo(path, 0o600) },
			} {
				if err := os.Remove(path); err != nil {
					t.Fatal(err)
				}
				if err := lay(); err != nil {
					t.Fatal(err)
				}
				refused("is " + state)
				restore()
			}

			// another content
			type content struct {
				state string
				data  []byte
			}
			var contents []content
			for state, data := range foreign {
				contents = append(contents, content{"holds " + state, data})
			}
			contents = append(contents, content{"is huge", bytes.Repeat([]byte("#"), maxList+1)})
			if !public {
				step := max(1, len(whole)/40)
				if slow {
					step = max(1, len(whole)/5)
				}
				for n := 0; n < len(bytes.TrimSpace(whole))-1; n += step {
					contents = append(contents, content{"is cut short", whole[:n]})
				}
				for _, other := range entries {
					if other.Name() != name && !strings.HasPrefix(other.Name(), "pseudonym") {
						contents = append(contents, content{"holds " + other.Name(), readFile(t, f.path(other.Name()))})
					}
				}
			} else {
				// Cut inside its last key. A list that ends with a whole line, or with
				// none, is a shorter list: whom it does not name is not trusted.
				end := bytes.TrimSpace(whole)
				if last := end[bytes.LastIndexByte(end, '\n')+1:]; len(last) > 0 && last[0] != '#' {
					contents = append(contents, content{"is cut in its key", end[:len(end)-len(last)+len(last)/2]})
				}
				contents = append(contents, content{"holds a secret key", readFile(t, f.path(signingFile))})
			}
			for _, c := range contents {
				writeFile(t, path, c.data, info.Mode().Perm())
				refused(c.state)
			}
			restore()

			// a text editor's line ends are harmless in lists
			if public {
				writeFile(t, path, bytes.ReplaceAll(whole, []byte("\n"), []byte("\r\n")), 0o644)
				if err := useAll(f.Dir()); err != nil {
					t.Errorf("%s: %s with CRLF: %v", who, name, err)
				}
				restore()
			}
		}
	}
	if tried < 500 {
		t.Errorf("only %d states were tried", tried)
	}
	t.Logf("%d states refused", tried)

	// the folder itself
	for state, spoil := range map[string]func(dir string) error{
		"mode 0755": func(dir string) error { return os.Chmod(dir, 0o755) },
		"mode 0770": func(dir string) error { return os.Chmod(dir, 0o770) },
		"owner": func(dir string) error {
			if os.Geteuid() != 0 {
				return os.Chmod(dir, 0o755)
			}
			return os.Chown(dir, 65534, -1)
		},
		"link": func(dir string) error {
			if err := os.Rename(dir, dir+"2"); err != nil {
				return err
			}
			return os.Symlink(dir+"2", dir)
		},
	} {
		f := create(t, NewOptions{Role: Site, Name: "07"})
		if err := spoil(f.Dir()); err != nil {
			t.Fatal(err)
		}
		if err := useAll(f.Dir()); !errors.As(err, new(*Error)) || !strings.Contains(err.Error(), "run: ") && !strings.Contains(err.Error(), "name the folder") {
			t.Errorf("%s: %v", state, err)
		}
	}
}
