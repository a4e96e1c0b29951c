package pack

import (
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"filippo.io/age"

	agetest "c2sp.org/CCTV/age"

	"outbreath/keys"
)

// An ageVector is one of the published test files. Source: C2SP, CCTV, age
// (module c2sp.org/CCTV/age), whose README describes the form.
type ageVector struct {
	name, expect         string
	payload              string // SHA-256 of the plain data, hexadecimal
	identities           []string
	passphrases, armored bool
	file                 []byte
}

func ageVectors(t *testing.T) []ageVector {
	t.Helper()
	entries, err := fs.ReadDir(agetest.Vectors, ".")
	if err != nil {
		t.Fatal(err)
	}
	var all []ageVector
	for _, e := range entries {
		data, err := fs.ReadFile(agetest.Vectors, e.Name())
		if err != nil {
			t.Fatal(err)
		}
		head, file, ok := bytes.Cut(data, []byte("\n\n"))
		if !ok {
			t.Fatalf("%s has no end of its head", e.Name())
		}
		v := ageVector{name: e.Name(), file: file}
		for line := range strings.Lines(string(head)) {
			key, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
			switch key {
			case "expect":
				v.expect = value
			case "payload":
				v.payload = value
			case "identity":
				v.identities = append(v.identities, value)
			case "passphrase":
				v.passphrases = true
			case "armored":
				v.armored = true
			case "compressed":
				z, err := zlib.NewReader(bytes.NewReader(v.file))
				if err != nil {
					t.Fatal(err)
				}
				if v.file, err = io.ReadAll(z); err != nil {
					t.Fatal(err)
				}
			}
		}
		all = append(all, v)
	}
	return all
}

// Every published age file goes the way that a shipment's archive goes, with
// the identities read from a laboratory's key folder: what is invalid is refused,
// what is valid and written to a recipient of a kind that such a folder holds is
// opened. Archives in ASCII armour or under a passphrase are none of ours and are
// refused too, valid or not.
func TestAgeVectors(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "keys")
	lab, err := keys.Create(dir, keys.NewOptions{Role: keys.Lab})
	if err != nil {
		t.Fatal(err)
	}
	own, err := lab.Identities()
	if err != nil {
		t.Fatal(err)
	}
	// it belongs to the identity that is replaced
	if err := os.Remove(filepath.Join(dir, "recipient.txt")); err != nil {
		t.Fatal(err)
	}
	opened, invalid, foreign := 0, 0, 0
	for _, v := range ageVectors(t) {
		identities := own
		if len(v.identities) > 0 {
			if err := os.WriteFile(filepath.Join(dir, "identity.txt"), []byte(strings.Join(v.identities, "\n")+"\n"),
				0o600); err != nil {
				t.Fatal(err)
			}
			if identities, err = lab.Identities(); err != nil {
				t.Fatalf("%s: %v", v.name, err)
			}
		}
		got, err := openAll(v.file, identities)
		switch ours := !v.armored && !v.passphrases; {
		case v.expect == "success" && ours:
			opened++
			if err != nil || got != v.payload {
				t.Errorf("%s: a valid file is refused or read wrongly: %v", v.name, err)
			}
		case err == nil:
			t.Errorf("%s (%s) is opened", v.name, v.expect)
		case v.expect == "success":
			foreign++
		default:
			invalid++
		}
		if r, ok := err.(*rejection); err != nil && (!ok || r.check != checkDecryption) {
			t.Errorf("%s: %v", v.name, err)
		}
	}
	t.Logf("%d valid files opened, %d invalid files refused, %d valid files in armour or under a passphrase refused",
		opened, invalid, foreign)
	if opened < 18 || invalid < 121 || foreign < 8 {
		t.Errorf("only %d, %d and %d files", opened, invalid, foreign)
	}
}

// openAll decrypts as readArchive does, to the end, and returns the SHA-256 of
// the plain data.
func openAll(file []byte, identities []age.Identity) (string, error) {
	plain, err := decrypt(bytes.NewReader(file), identities)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	if _, err := io.Copy(h, plain); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
