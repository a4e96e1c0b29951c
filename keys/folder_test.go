package keys

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"
)

var somePass = []byte("correct tube barcode")

func ask(pass []byte, calls *int) PassphraseFunc {
	return func(string) ([]byte, error) {
		if calls != nil {
			*calls++
		}
		return pass, nil
	}
}

func TestCreate(t *testing.T) {
	secret := []string{pseudonymFile, identityPlain, identityAge, signingFile}
	for _, tt := range []struct {
		name  string
		o     NewOptions
		files []string
	}{
		{"site", NewOptions{Role: Site, Name: "07"},
			[]string{"allowed_signers", "pseudonym.key", "public-keys.txt", "recipients.txt", "signing",
				"signing.pub"}},
		{"site with passphrase", NewOptions{Role: Site, Name: "07", Passphrase: somePass},
			[]string{"allowed_signers", "pseudonym.key", "public-keys.txt", "recipients.txt", "signing",
				"signing.pub"}},
		{"lab", NewOptions{Role: Lab, Name: "lab"},
			[]string{"allowed_signers", "identity.txt", "public-keys.txt", "recipient.txt", "signing", "signing.pub"}},
		{"classic lab with passphrase", NewOptions{Role: Lab, Classic: true, Passphrase: somePass},
			[]string{"allowed_signers", "identity.age", "public-keys.txt", "recipient.txt", "signing", "signing.pub"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			parent := t.TempDir()
			dir := filepath.Join(parent, "deep", "keys")
			made, err := Create(dir, tt.o)
			if err != nil {
				t.Fatal(err)
			}
			if got := listing(t, dir); !slices.Equal(got, tt.files) {
				t.Errorf("files %q", got)
			}
			if got := listing(t, filepath.Dir(dir)); len(got) != 1 {
				t.Errorf("left beside the folder: %q", got)
			}
			if hasModes {
				for _, name := range append(tt.files, ".") {
					info, err := os.Stat(filepath.Join(dir, name))
					if err != nil {
						t.Fatal(err)
					}
					want := fs.FileMode(0o644)
					switch {
					case name == ".":
						want = 0o700
					case slices.Contains(secret, name):
						want = 0o600
					}
					if info.Mode().Perm() != want {
						t.Errorf("%s: mode %o, not %o", name, info.Mode().Perm(), want)
					}
				}
			}
			opened, err := Open(dir, ask(tt.o.Passphrase, nil))
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range []*Folder{made, opened} {
				if f.Dir() != dir || f.Role() != tt.o.Role || f.Name() != tt.o.Name {
					t.Errorf("dir %q, role %q, name %q", f.Dir(), f.Role(), f.Name())
				}
				signerOf(t, f)
				if tt.o.Role == Site {
					if _, err := f.PseudonymKey(); err != nil {
						t.Error(err)
					}
					_, _, err := f.Recipients(nil, "2026-11-25")
					wantError(t, err, "recipients.txt", string(NoRecipient))
				} else if _, err := f.Identities(); err != nil {
					t.Error(err)
				}
				if a, err := f.Allowed(); err != nil || len(a.lines) != 0 {
					t.Errorf("allowed_signers of a new folder: %v, %v", a, err)
				}
			}
			if tt.o.Passphrase != nil {
				for _, name := range tt.files {
					if data := readFile(t, filepath.Join(dir, name)); secretLine(string(data)) == "an age secret key" ||
						secretLine(string(data)) == "a pseudonym key" {
						t.Errorf("%s holds its secret in plain", name)
					}
				}
			}
		})
	}
}

func TestCreateMakesNewKeysEachTime(t *testing.T) {
	a, b := create(t, NewOptions{Role: Site}), create(t, NewOptions{Role: Site})
	for _, name := range []string{pseudonymFile, signingFile, signingPub} {
		if bytes.Equal(readFile(t, a.path(name)), readFile(t, b.path(name))) {
			t.Errorf("%s is the same in two folders", name)
		}
	}
}

func TestCreateRefuses(t *testing.T) {
	parent := t.TempDir()
	full := filepath.Join(parent, "full")
	if err := os.Mkdir(full, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(full, "note.txt"), []byte("mine"), 0o600)
	file := filepath.Join(parent, "file")
	writeFile(t, file, []byte("mine"), 0o600)
	empty := filepath.Join(parent, "empty")
	if err := os.Mkdir(empty, 0o755); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(parent, "link")
	if err := os.Symlink(empty, link); err != nil {
		t.Fatal(err)
	}
	before := listing(t, parent)
	for _, tt := range []struct {
		name, dir string
		o         NewOptions
		want      string
	}{
		{"folder with something in it", full, NewOptions{Role: Site}, "never overwritten"},
		{"file", file, NewOptions{Role: Site}, "never overwritten"},
		{"link", link, NewOptions{Role: Site}, "never overwritten"},
		{"below a file", filepath.Join(file, "keys"), NewOptions{Role: Site}, "cannot"},
		{"no role", filepath.Join(parent, "new"), NewOptions{}, string(NoRole)},
		{"unknown role", filepath.Join(parent, "new"), NewOptions{Role: "courier"}, string(NoRole)},
		{"classic site", filepath.Join(parent, "new"), NewOptions{Role: Site, Classic: true}, "laboratory's choice"},
		{"empty passphrase", filepath.Join(parent, "new"), NewOptions{Role: Site, Passphrase: []byte{}}, "empty"},
		{"name with a star", filepath.Join(parent, "new"), NewOptions{Role: Site, Name: "0*"}, "signer's name"},
		{"name with a line feed", filepath.Join(parent, "new"), NewOptions{Role: Site, Name: "07\n08"},
			"signer's name"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Create(tt.dir, tt.o)
			wantError(t, err, tt.want)
			if after := listing(t, parent); !slices.Equal(after, before) {
				t.Errorf("left behind: %q", after)
			}
		})
	}
	if string(readFile(t, filepath.Join(full, "note.txt"))) != "mine" || string(readFile(t, file)) != "mine" {
		t.Error("something was overwritten")
	}
	if _, err := Create(full, NewOptions{Role: Site}); !errors.Is(err, fs.ErrExist) {
		t.Errorf("not fs.ErrExist: %v", err)
	}
	// An empty folder is taken, whatever its mode was.
	if _, err := Create(empty, NewOptions{Role: Site}); err != nil {
		t.Error(err)
	}
	f := create(t, NewOptions{Role: Lab})
	_, err := Create(f.Dir(), NewOptions{Role: Lab})
	wantError(t, err, "never overwritten")
}

// TestCreateWholeOrNot: when a file cannot be written nothing stays.
func TestCreateWholeOrNot(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "keys")
	twice := []newFile{{signingFile, []byte("a"), 0o600}, {signingFile, []byte("b"), 0o600}}
	wantError(t, writeFolder(dir, twice), "signing", "cannot write")
	open := []newFile{{pseudonymFile, []byte("a"), 0o640}}
	if hasModes {
		wantError(t, writeFolder(dir, open), "does not keep files private")
	}
	if left := listing(t, parent); len(left) != 0 {
		t.Errorf("left behind: %q", left)
	}
}

func TestOpenRefuses(t *testing.T) {
	mode := func(name string, mode fs.FileMode) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			if !hasModes {
				t.Skip("no mode bits")
			}
			if err := os.Chmod(filepath.Join(dir, name), mode); err != nil {
				t.Fatal(err)
			}
		}
	}
	link := func(name string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			real := filepath.Join(dir, "..", "elsewhere")
			if err := os.Rename(filepath.Join(dir, name), real); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(real, filepath.Join(dir, name)); err != nil {
				t.Fatal(err)
			}
		}
	}
	replace := func(name string, data string) func(*testing.T, string) {
		return func(t *testing.T, dir string) { writeFile(t, filepath.Join(dir, name), []byte(data), 0o600) }
	}
	for _, tt := range []struct {
		name string
		role Role
		harm func(*testing.T, string)
		want []string
	}{
		{"folder open to the group", Site, mode(".", 0o750), []string{string(OpenFolder)}},
		{"folder open to others", Site, mode(".", 0o701), []string{string(OpenFolder)}},
		{"pseudonym key read by others", Site, mode(pseudonymFile, 0o604), []string{"others can read this key",
			string(ReadableKey), pseudonymFile}},
		{"signing key read by the group", Site, mode(signingFile, 0o640), []string{string(ReadableKey), signingFile}},
		{"signing key written by the group", Lab, mode(signingFile, 0o620), []string{string(ReadableKey), signingFile}},
		{"identity read by others", Lab, mode(identityPlain, 0o644), []string{string(ReadableKey), identityPlain}},
		{"pseudonym key is a link", Site, link(pseudonymFile), []string{"is a link", pseudonymFile}},
		{"identity is a link", Lab, link(identityPlain), []string{"is a link", identityPlain}},
		{"signing.pub is a link", Site, link(signingPub), []string{"is a link", signingPub}},
		{"pseudonym key too large", Site, replace(pseudonymFile, strings.Repeat("0", maxSecret+1)),
			[]string{"larger than 65536 bytes"}},
		{"signing.pub is empty", Site, replace(signingPub, ""), []string{"signing.pub", string(NoPublicKey)}},
		{"signing.pub has two keys", Site, func(t *testing.T, dir string) {
			pub := readFile(t, filepath.Join(dir, signingPub))
			writeFile(t, filepath.Join(dir, signingPub), append(pub, pub...), 0o644)
		}, []string{"signing.pub", "line 2"}},
		{"signing.pub is no key", Site, replace(signingPub, "Marta's notes\n"), []string{"signing.pub", "line 1"}},
		{"site and lab in one", Site, replace(identityPlain, "x"), []string{string(MixedFolder)}},
		{"two identities", Lab, replace(identityAge, "x"), []string{string(TwoIdentities)}},
		{"a folder instead of a key", Lab, func(t *testing.T, dir string) {
			os.Remove(filepath.Join(dir, signingFile))
			if err := os.Mkdir(filepath.Join(dir, signingFile), 0o700); err != nil {
				t.Fatal(err)
			}
		}, []string{"not an ordinary file"}},
		{"no key in it", Lab, func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, identityPlain)) },
			[]string{"not a key folder"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := create(t, NewOptions{Role: tt.role, Name: "07"})
			if _, err := Open(f.Dir(), nil); err != nil {
				t.Fatalf("before: %v", err)
			}
			tt.harm(t, f.Dir())
			_, err := Open(f.Dir(), nil)
			wantError(t, err, tt.want...)
			if err != nil && strings.Contains(err.Error(), "Marta") {
				t.Error("the content is in the error")
			}
		})
	}
	missing := filepath.Join(t.TempDir(), "none")
	_, err := Open(missing, nil)
	wantError(t, err, string(NoFolder))
	if !errors.Is(err, fs.ErrNotExist) {
		t.Error("a missing folder is not fs.ErrNotExist")
	}
	file := filepath.Join(t.TempDir(), "file")
	writeFile(t, file, nil, 0o600)
	_, err = Open(file, nil)
	wantError(t, err, "not a folder")
	f := create(t, NewOptions{Role: Site})
	l := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(f.Dir(), l); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{l, l + "/"} {
		_, err = Open(path, nil)
		wantError(t, err, "is a link")
	}
}

// TestEveryUseChecksAgain: a mode that was widened after Open is found.
func TestEveryUseChecksAgain(t *testing.T) {
	if !hasModes {
		t.Skip("no mode bits")
	}
	site, lab := create(t, NewOptions{Role: Site}), create(t, NewOptions{Role: Lab})
	uses := map[string]struct {
		f    *Folder
		file string
		use  func() error
	}{
		"PseudonymKey": {site, pseudonymFile, func() error { _, err := site.PseudonymKey(); return err }},
		"Signer":       {site, signingFile, func() error { _, err := site.Signer(); return err }},
		"Identities":   {lab, identityPlain, func() error { _, err := lab.Identities(); return err }},
		"Recipients":   {site, "", func() error { _, err := site.recipients(); return err }},
		"Allowed":      {site, "", func() error { _, err := site.Allowed(); return err }},
		"Public":       {lab, "", func() error { _, _, err := lab.Public(); return err }},
	}
	for name, u := range uses {
		if err := u.use(); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if u.file != "" {
			os.Chmod(u.f.path(u.file), 0o644)
			wantError(t, u.use(), string(ReadableKey))
			os.Chmod(u.f.path(u.file), 0o600)
		}
		os.Chmod(u.f.Dir(), 0o755)
		wantError(t, u.use(), string(OpenFolder))
		os.Chmod(u.f.Dir(), 0o700)
	}
}

// TestTruncatedKeys cuts each secret file at every length.
func TestTruncatedKeys(t *testing.T) {
	for _, pass := range [][]byte{nil, somePass} {
		site := create(t, NewOptions{Role: Site, Passphrase: pass})
		lab := create(t, NewOptions{Role: Lab, Passphrase: pass})
		identityFile := identityPlain
		if pass != nil {
			identityFile = identityAge
		}
		for _, c := range []struct {
			f    *Folder
			name string
			use  func(*Folder) error
		}{
			{site, pseudonymFile, func(f *Folder) error { _, err := f.PseudonymKey(); return err }},
			{site, signingFile, func(f *Folder) error { _, err := f.Signer(); return err }},
			{lab, identityFile, func(f *Folder) error { _, err := f.Identities(); return err }},
		} {
			path := c.f.path(c.name)
			whole := readFile(t, path)
			end := len(bytes.TrimRight(whole, "\n"))
			if c.name != signingFile && (c.name != identityPlain) {
				end = len(whole)
			}
			step := 1
			if pass != nil && c.name == signingFile {
				step = 17 // the key stretching of this format takes its time
			}
			for n := 0; n < end; n += step {
				writeFile(t, path, whole[:n], 0o600)
				if err := c.use(c.f); err == nil {
					t.Errorf("%s cut after %d of %d bytes: accepted", c.name, n, len(whole))
				} else if !errors.As(err, new(*Error)) {
					t.Errorf("%s cut after %d bytes: %T", c.name, n, err)
				}
			}
			writeFile(t, path, whole, 0o600)
			if err := c.use(c.f); err != nil {
				t.Errorf("%s, whole again: %v", c.name, err)
			}
		}
	}
}

func TestPassphrase(t *testing.T) {
	site := create(t, NewOptions{Role: Site, Passphrase: somePass})
	lab := create(t, NewOptions{Role: Lab, Passphrase: somePass})
	open := func(f *Folder, p PassphraseFunc) *Folder {
		t.Helper()
		g, err := Open(f.Dir(), p)
		if err != nil {
			t.Fatal(err)
		}
		return g
	}
	use := func(f *Folder) []error {
		var errs []error
		if f.Role() == Site {
			_, err := f.PseudonymKey()
			errs = append(errs, err)
		} else {
			_, err := f.Identities()
			errs = append(errs, err)
		}
		_, err := f.Signer()
		return append(errs, err)
	}
	for _, f := range []*Folder{site, lab} {
		calls := 0
		right := open(f, ask(somePass, &calls))
		if calls != 0 {
			t.Error("asked before it was needed")
		}
		for range 2 {
			for _, err := range use(right) {
				if err != nil {
					t.Error(err)
				}
			}
		}
		if calls != 1 {
			t.Errorf("asked %d times", calls)
		}
		calls = 0
		for _, err := range use(open(f, ask([]byte("other words entirely"), &calls))) {
			wantError(t, err, "the passphrase is wrong")
			if !errors.Is(err, ErrPassphrase) {
				t.Error("not ErrPassphrase")
			}
			if strings.Contains(err.Error(), "entirely") {
				t.Error("the passphrase is in the error")
			}
		}
		if calls != 1 {
			t.Errorf("asked %d times", calls)
		}
		for _, err := range use(open(f, nil)) {
			wantError(t, err, string(NoPassphrase))
		}
		for _, err := range use(open(f, ask([]byte{}, nil))) {
			wantError(t, err, "an empty one")
		}
		cause := errors.New("terminal closed")
		for _, err := range use(open(f, func(string) ([]byte, error) { return nil, cause })) {
			wantError(t, err, "could not be read")
			if !errors.Is(err, cause) {
				t.Error("the cause is lost")
			}
		}
	}
	// The caller may wipe what it gave.
	given := bytes.Clone(somePass)
	f := open(site, func(string) ([]byte, error) { return given, nil })
	if _, err := f.PseudonymKey(); err != nil {
		t.Fatal(err)
	}
	clear(given)
	if _, err := f.Signer(); err != nil {
		t.Error(err)
	}
}

// TestWorkFactor: new files cost a guesser at least age's own default (2^18),
// and the reader accepts them.
func TestWorkFactor(t *testing.T) {
	if shippedWorkFactor < 18 || shippedWorkFactor > maxScryptWorkFactor {
		t.Errorf("2^%d", shippedWorkFactor)
	}
	f := create(t, NewOptions{Role: Site, Passphrase: somePass})
	if !bytes.Contains(readFile(t, f.path(pseudonymFile)), []byte(" 8\n")) {
		t.Error("the work factor does not reach the file")
	}
}

func TestSealedByOthers(t *testing.T) {
	site := create(t, NewOptions{Role: Site, Passphrase: somePass})
	text := formatPseudonymKey(NewPseudonymKey([32]byte{1, 2, 3}))
	encrypt := func(r age.Recipient) []byte {
		var b bytes.Buffer
		w, err := age.Encrypt(&b, r)
		if err != nil {
			t.Fatal(err)
		}
		w.Write(text)
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	// A file that age itself made under the passphrase.
	r, err := age.NewScryptRecipient(string(somePass))
	if err != nil {
		t.Fatal(err)
	}
	r.SetWorkFactor(9)
	sealed := encrypt(r)
	writeFile(t, site.path(pseudonymFile), sealed, 0o600)
	k, err := site.PseudonymKey()
	if err != nil {
		t.Fatal(err)
	}
	if k.bytes() != [32]byte{1, 2, 3} {
		t.Error("another key was read")
	}
	// One that asks for 2^21 work.
	writeFile(t, site.path(pseudonymFile), bytes.Replace(sealed, []byte(" 9\n"), []byte(" 21\n"), 1), 0o600)
	_, err = site.PseudonymKey()
	wantError(t, err, "more work than 2^20")
	// One encrypted to a key.
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, site.path(pseudonymFile), encrypt(id.Recipient()), 0o600)
	_, err = site.PseudonymKey()
	wantError(t, err, "encrypted to another key")
}

func TestSignerMustMatchItsPublicKey(t *testing.T) {
	a, b := create(t, NewOptions{Role: Site}), create(t, NewOptions{Role: Site})
	writeFile(t, a.path(signingPub), readFile(t, b.path(signingPub)), 0o644)
	_, err := a.Signer()
	wantError(t, err, "signing.pub", string(UnmatchedFiles))

	lab, other := create(t, NewOptions{Role: Lab}), create(t, NewOptions{Role: Lab})
	writeFile(t, lab.path(recipientFile), readFile(t, other.path(recipientFile)), 0o644)
	_, err = lab.Identities()
	wantError(t, err, "recipient.txt", string(UnmatchedFiles))
}

func TestMissingFiles(t *testing.T) {
	site := create(t, NewOptions{Role: Site, Name: "07"})
	for _, name := range []string{allowedFile, recipientsFile, signingPub, signingFile, publicFile} {
		if err := os.Remove(site.path(name)); err != nil {
			t.Fatal(err)
		}
	}
	f, err := Open(site.Dir(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if f.Name() != "" {
		t.Error("a name out of nothing")
	}
	if a, err := f.Allowed(); err != nil || len(a.lines) != 0 {
		t.Errorf("Allowed: %v, %v", a, err)
	}
	_, _, err = f.Recipients(nil, "2026-11-25")
	wantError(t, err, string(NoRecipient))
	_, err = f.Signer()
	wantError(t, err, "missing")
	if !errors.Is(err, fs.ErrNotExist) {
		t.Error("not fs.ErrNotExist")
	}
	_, err = f.Identities()
	wantError(t, err, "missing")
}

func TestSigningKeyOfOtherForms(t *testing.T) {
	site := create(t, NewOptions{Role: Site})
	os.Remove(site.path(signingPub))
	for name, text := range map[string]string{
		"empty":      "",
		"public key": string(readFile(t, create(t, NewOptions{Role: Site}).path(signingPub))),
		"PKCS#8": "-----BEGIN PRIVATE " +
			"KEY-----\nMC4CAQAwBQYDK2VwBCIEIJ+DYvh6SEqVTm50DFtMDoQikTmiCqirVv9mWG9qfSnF\n-----END PRIVATE KEY-----\n",
		"something follows": string(readFile(t, site.path(signingFile))) + "x\n",
	} {
		writeFile(t, site.path(signingFile), []byte(text), 0o600)
		_, err := site.Signer()
		if err == nil {
			t.Errorf("%s: accepted", name)
			continue
		}
		wantError(t, err, "not an OpenSSH private key")
	}
}

// TestOpenSSHReadsOurKeys: ssh-keygen opens the signing key, with and without
// passphrase, and gives the public key and the fingerprint that we give.
func TestOpenSSHReadsOurKeys(t *testing.T) {
	needTool(t, "ssh-keygen")
	for _, pass := range [][]byte{nil, somePass} {
		f := create(t, NewOptions{Role: Site, Name: "07", Passphrase: pass})
		out, err := run(t, f.Dir(), nil, "ssh-keygen", "-y", "-P", string(pass), "-f", "signing")
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(out, readFile(t, f.path(signingPub))) {
			t.Error("ssh-keygen derives another public key line")
		}
		out, err = run(t, f.Dir(), nil, "ssh-keygen", "-l", "-f", "signing.pub")
		if err != nil {
			t.Fatal(err)
		}
		own, _, err := f.Public()
		if err != nil {
			t.Fatal(err)
		}
		if len(own) != 1 || !strings.Contains(string(out), " "+own[0].Fingerprint+" ") {
			t.Errorf("fingerprints differ: %v", own)
		}
		if pass != nil {
			if _, err := run(t, f.Dir(), nil, "ssh-keygen", "-y", "-P", "x", "-f", "signing"); err == nil {
				t.Error("ssh-keygen opens the key under another passphrase")
			}
		}
	}
}

// TestWeReadOpenSSHKeys: keys that ssh-keygen made serve as signing keys.
func TestWeReadOpenSSHKeys(t *testing.T) {
	needTool(t, "ssh-keygen")
	for _, kind := range []string{"ed25519", "ecdsa", "rsa"} {
		for _, pass := range []string{"", "correct tube barcode"} {
			f := create(t, NewOptions{Role: Site})
			os.Remove(f.path(signingFile))
			os.Remove(f.path(signingPub))
			if _, err := run(t, f.Dir(), nil, "ssh-keygen", "-q", "-t", kind, "-N", pass, "-C", "07", "-f",
				"signing"); err != nil {
				t.Fatal(err)
			}
			g, err := Open(f.Dir(), ask([]byte(pass), nil))
			if err != nil {
				t.Fatal(err)
			}
			if g.Name() != "07" {
				t.Errorf("name %q", g.Name())
			}
			s := signerOf(t, g)
			sign(t, s, "shipment@outbreath", []byte("m"))
			if _, ok := s.(ssh.AlgorithmSigner); !ok {
				t.Error("not an AlgorithmSigner")
			}
		}
	}
}

// TestAgeReadsOurFiles: age itself takes recipient.txt and identity.txt, and
// what is encrypted with one opens with the other.
func TestAgeReadsOurFiles(t *testing.T) {
	for _, classic := range []bool{false, true} {
		for _, pass := range [][]byte{nil, somePass} {
			lab := create(t, NewOptions{Role: Lab, Name: "lab", Classic: classic, Passphrase: pass})
			site := create(t, NewOptions{Role: Site, Name: "07"})
			trust(t, site, readFile(t, lab.path(publicFile)), "")
			ours, _, err := site.Recipients(nil, "2026-11-25")
			if err != nil {
				t.Fatal(err)
			}
			theirs, err := age.ParseRecipients(bytes.NewReader(readFile(t, lab.path(recipientFile))))
			if err != nil {
				t.Fatal(err)
			}
			alsoTheirs, err := age.ParseRecipients(bytes.NewReader(readFile(t, site.path(recipientsFile))))
			if err != nil {
				t.Fatal(err)
			}
			identities, err := lab.Identities()
			if err != nil {
				t.Fatal(err)
			}
			text := readFile(t, lab.path(identityFileOf(pass)))
			if pass != nil {
				id, err := age.NewScryptIdentity(string(pass))
				if err != nil {
					t.Fatal(err)
				}
				text = decrypt(t, text, id)
			}
			agesOwn, err := age.ParseIdentities(bytes.NewReader(text))
			if err != nil {
				t.Fatal(err)
			}
			for _, to := range [][]age.Recipient{ours, theirs, alsoTheirs} {
				var b bytes.Buffer
				w, err := age.Encrypt(&b, to...)
				if err != nil {
					t.Fatal(err)
				}
				w.Write([]byte("a bag"))
				if err := w.Close(); err != nil {
					t.Fatal(err)
				}
				for _, with := range [][]age.Identity{identities, agesOwn} {
					if got := decrypt(t, b.Bytes(), with...); string(got) != "a bag" {
						t.Errorf("got %q", got)
					}
				}
				other, err := create(t, NewOptions{Role: Lab, Classic: classic}).Identities()
				if err != nil {
					t.Fatal(err)
				}
				if _, err := age.Decrypt(bytes.NewReader(b.Bytes()), other...); !errors.As(err,
					new(*age.NoIdentityMatchError)) {
					t.Errorf("another laboratory's identity: %v", err)
				}
			}
		}
	}
}
