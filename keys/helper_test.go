package keys

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"

	"outbreath/keys/sshsig"
)

// shippedWorkFactor is what the program itself uses.
var (
	shippedWorkFactor = scryptWorkFactor
	shippedRounds     = signingRounds
)

func TestMain(m *testing.M) {
	scryptWorkFactor, signingRounds = 8, 2
	os.Exit(m.Run())
}

// needTool skips when an outside program is absent, but not where all checks
// must run.
func needTool(t testing.TB, name string) {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is needed", name)
		}
		t.Skipf("no %s", name)
	}
}

// run runs an outside program in dir and returns its standard output.
func run(t testing.TB, dir string, in []byte, name string, args ...string) ([]byte, error) {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir, cmd.Stdin = dir, bytes.NewReader(in)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	err := cmd.Run()
	t.Logf("%s %q: %v\n%s%s", name, args, err, out.Bytes(), errs.Bytes())
	return out.Bytes(), err
}

func create(t testing.TB, o NewOptions) *Folder {
	t.Helper()
	f, err := Create(filepath.Join(t.TempDir(), "keys"), o)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func writeFile(t testing.TB, path string, data []byte, mode fs.FileMode) {
	t.Helper()
	if err := os.WriteFile(path, data, mode); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, mode); err != nil {
		t.Fatal(err)
	}
}

// wantError fails unless err is an *Error whose text and fault have every part.
func wantError(t testing.TB, err error, parts ...string) {
	t.Helper()
	if err == nil {
		t.Fatal("no error")
	}
	var e *Error
	if !errors.As(err, &e) || e.Fault == "" {
		t.Fatalf("%T is not an *Error with a fault: %v", err, err)
	}
	text := fmt.Sprintf("%s (%s)", err, e.Fault)
	for _, p := range parts {
		if !strings.Contains(text, p) {
			t.Errorf("error %q does not speak of %q", text, p)
		}
	}
}

func sign(t testing.TB, s ssh.Signer, namespace string, message []byte) []byte {
	t.Helper()
	sig, err := sshsig.Sign(s, namespace, message)
	if err != nil {
		t.Fatal(err)
	}
	return sig
}

func signerOf(t testing.TB, f *Folder) ssh.Signer {
	t.Helper()
	s, err := f.Signer()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func trust(t testing.TB, f *Folder, data []byte, name string) []Trusted {
	t.Helper()
	got, err := f.Trust(data, TrustOptions{Name: name, Day: today})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func listing(t testing.TB, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// rawEd25519 returns the 32 secret bytes of a key as ssh.ParseRawPrivateKey gives it.
func rawEd25519(t testing.TB, key any) []byte {
	t.Helper()
	k, ok := key.(*ed25519.PrivateKey)
	if !ok {
		t.Fatalf("%T is not an Ed25519 key", key)
	}
	return k.Seed()
}

func identityFileOf(pass []byte) string {
	if pass != nil {
		return identityAge
	}
	return identityPlain
}

func decrypt(t testing.TB, data []byte, with ...age.Identity) []byte {
	t.Helper()
	r, err := age.Decrypt(bytes.NewReader(data), with...)
	if err != nil {
		t.Fatal(err)
	}
	out, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return out
}
