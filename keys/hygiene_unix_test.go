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
	"slices"
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
		_, err = f.State("LARK-2")
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

// secretTexts are stretches of the secret files of a folder as they would be in
// a message: lines of what is in the file and of what it decrypts to.
func secretTexts(t *testing.T, f *Folder) (out []string) {
	f, err := Open(f.Dir(), func(string) ([]byte, error) { return somePass, nil })
	if err != nil {
		t.Fatal(err)
	}
	names, err := f.earlier()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range append(names, secretFiles...) {
		data, found, err := f.read(name, true, maxSecret)
		if err != nil {
			t.Fatal(err)
		}
		if !found {
			continue
		}
		if bytes.HasPrefix(data, ageMagic) {
			if data, err = unseal(name, data, somePass); err != nil {
				t.Fatal(err)
			}
		}
		for line := range strings.Lines(string(data)) {
			if line = strings.TrimSpace(line); len(line) > 36 && !strings.HasPrefix(line, "-----") && line[0] != '#' {
				out = append(out, line[20:31], line[len(line)-11:]) // "AGE-SECRET-KEY-1..." is explained to people
			}
		}
	}
	return out
}

// cutOff are the contents in other places that a rotation leaves which was cut
// off between its two files: the key in use is there twice, and nothing says that
// another was meant to be there.
var cutOff = map[[2]string]bool{
	{pseudonymFile, "pseudonym-2.key"}: true,
	{"pseudonym-2.key", pseudonymFile}: true,
}

// TestKeyFilesRefused: every file of a key folder, in every state that it should
// not be in, is refused with its name and a fault, and nothing of any file is told. What is
// harmless is listed, and why.
func TestKeyFilesRefused(t *testing.T) {
	if !hasModes {
		t.Skip("no mode bits")
	}
	site := create(t, NewOptions{Role: Site, Name: "07"})
	lab := create(t, NewOptions{Role: Lab, Name: "tern-lab"})
	trust(t, site, readFile(t, lab.path(publicFile)), "")
	trust(t, lab, readFile(t, site.path(publicFile)), "")
	for range 2 {
		if err := site.Rotate(); err != nil {
			t.Fatal(err)
		}
	}
	if err := site.ChangeState("LARK-2",
		func([]byte) ([]byte, error) { return []byte("what the site must not forget\n"), nil }); err != nil {
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
	folders := map[string]*Folder{"site": site, "laboratory": lab, "site with passphrase": lockedSite,
		"laboratory with passphrase": lockedLab, "laboratory with an SSH key": sshLab}
	secrets := map[string]bool{}
	for _, f := range folders {
		for _, text := range secretTexts(t, f) {
			secrets[text] = true
		}
	}
	if len(secrets) < 20 {
		t.Fatalf("only %d secrets to look for", len(secrets))
	}
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
				var e *Error
				if !errors.As(err, &e) || e.Fault == "" || !strings.Contains(text, name) {
					t.Errorf("%s: %s %s: %T %v", who, name, state, err, err)
				}
				for s := range secrets {
					if strings.Contains(text, s) {
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
				"a socket":          func() error { return syscall.Mknod(path, syscall.S_IFSOCK|0o600, 0) },
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
				step := 1
				if slow { // each opens what is left with scrypt
					step = max(1, len(whole)/10)
				}
				for n := 0; n < len(bytes.TrimSpace(whole))-1; n += step {
					contents = append(contents, content{"is cut short", whole[:n]})
				}
				for _, other := range entries {
					if other.Name() != name && !cutOff[[2]string{name, other.Name()}] {
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
			// A second name elsewhere is harmless: owner and mode are the file's.
			if err := os.Link(path, filepath.Join(t.TempDir(), "second")); err != nil {
				t.Fatal(err)
			}
			if err := useAll(f.Dir()); err != nil {
				t.Errorf("%s: %s with a second name: %v", who, name, err)
			}
			restore()
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
	if tried < 1500 {
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
		var e *Error
		if err := useAll(f.Dir()); !errors.As(err, &e) ||
			!slices.Contains([]Fault{OpenFolder, ForeignFolder, LinkedFolder}, e.Fault) {
			t.Errorf("%s: %v", state, err)
		}
	}
}

// TestChangedWhileOpened: owner and mode are looked at once more on the file that
// lies open, so that nothing can be slipped in after the first look.
func TestChangedWhileOpened(t *testing.T) {
	if !hasModes {
		t.Skip("no mode bits")
	}
	f := create(t, NewOptions{Role: Site, Name: "07"})
	path := f.path(pseudonymFile)
	check := func(now fs.FileInfo) error { return checkOwn(path, now, true) }
	look := func() fs.FileInfo {
		info, err := checkFile(path, true, maxSecret)
		if info == nil || err != nil {
			t.Fatal(err)
		}
		return info
	}
	info := look()
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := readChecked(path, info, maxSecret, check)
	wantError(t, err, pseudonymFile, string(ReadableKey))
	os.Chmod(path, 0o600)

	info = look()
	data := readFile(t, path)
	os.Remove(path)
	writeFile(t, path+"2", data, 0o600) // so that the number of the old one is not given again at once
	writeFile(t, path, data, 0o600)
	_, err = readChecked(path, info, maxSecret, check)
	wantError(t, err, pseudonymFile, "was replaced", string(ReplacedFile))

	info = look()
	os.Remove(path)
	if err := os.Symlink(path+"2", path); err != nil {
		t.Fatal(err)
	}
	_, err = readChecked(path, info, maxSecret, check)
	wantError(t, err, pseudonymFile, "cannot open")
}

// TestNamedFiles: secret keys that lie outside of a key folder, and what people hand
// to each other, in every state that they should not be in.
func TestNamedFiles(t *testing.T) {
	if !hasModes {
		t.Skip("no mode bits")
	}
	for what, read := range map[string]func(string) ([]byte, error){
		"secret": ReadSecret,
		"handed": func(path string) ([]byte, error) { return ReadHanded(path, 64<<10) },
	} {
		dir := t.TempDir()
		path := filepath.Join(dir, "file")
		for state, c := range map[string]struct {
			lay  func() error
			says string
		}{
			"none":           {func() error { return nil }, "no such file"},
			"a folder":       {func() error { return os.Mkdir(path, 0o700) }, string(NamedFolder)},
			"a link":         {func() error { return os.Symlink(dir, path) }, string(NamedLink)},
			"a link to none": {func() error { return os.Symlink("nowhere", path) }, string(NamedLink)},
			"a pipe":         {func() error { return syscall.Mkfifo(path, 0o600) }, string(NamedOther)},
			"a socket": {func() error { return syscall.Mknod(path, syscall.S_IFSOCK|0o600, 0) },
				string(NamedOther)},
			"larger than any": {func() error { return os.WriteFile(path, make([]byte, 64<<10+1), 0o600) },
				string(WrongFile)},
		} {
			if err := c.lay(); err != nil {
				t.Fatal(err)
			}
			_, err := read(path)
			if err == nil {
				t.Errorf("%s, %s: read", what, state)
			}
			wantError(t, err, path, c.says)
			os.RemoveAll(path)
		}
		states := 0
		for mode := fs.FileMode(0o600); mode <= 0o777; mode++ {
			writeFile(t, path, []byte("x"), mode)
			if err := os.Chmod(path, mode); err != nil {
				t.Fatal(err)
			}
			_, err := read(path)
			if open := what == "secret" && mode&0o077 != 0; open {
				wantError(t, err, path, "others can read", string(ReadableKey))
			} else if err != nil {
				t.Errorf("%s, mode %o: %v", what, mode, err)
			}
			states++
			os.Remove(path)
		}
		if states != 128 {
			t.Errorf("%d modes", states)
		}
		if os.Geteuid() == 0 {
			writeFile(t, path, []byte("x"), 0o600)
			if err := os.Chown(path, 65534, -1); err != nil {
				t.Fatal(err)
			}
			_, err := read(path)
			if what == "secret" {
				wantError(t, err, path, string(ForeignFile))
			} else if err != nil {
				t.Error(what, err)
			}
		}
	}
}
