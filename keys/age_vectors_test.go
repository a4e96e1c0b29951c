package keys

import (
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"io/fs"
	"strings"
	"testing"

	agetest "c2sp.org/CCTV/age"
)

// The published age files under a passphrase, read as a key file under a
// passphrase is read: what is invalid, asks for too much work or is in ASCII
// armour is refused, and what is valid is opened. Source: C2SP, CCTV, age
// (module c2sp.org/CCTV/age), whose README describes the form.
func TestAgeVectors(t *testing.T) {
	entries, err := fs.ReadDir(agetest.Vectors, ".")
	if err != nil {
		t.Fatal(err)
	}
	opened, refused := 0, 0
	for _, e := range entries {
		data, err := fs.ReadFile(agetest.Vectors, e.Name())
		if err != nil {
			t.Fatal(err)
		}
		head, file, _ := bytes.Cut(data, []byte("\n\n"))
		fields := make(map[string]string)
		for line := range strings.Lines(string(head)) {
			key, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
			fields[key] = value
		}
		pass, ok := fields["passphrase"]
		if !ok {
			continue
		}
		if _, ok := fields["compressed"]; ok {
			z, err := zlib.NewReader(bytes.NewReader(file))
			if err != nil {
				t.Fatal(err)
			}
			if file, err = io.ReadAll(z); err != nil {
				t.Fatal(err)
			}
		}
		_, armored := fields["armored"]
		text, err := unseal("key", file, []byte(pass))
		sum := sha256.Sum256(text)
		switch {
		case fields["expect"] == "success" && !armored:
			opened++
			if err != nil || hex.EncodeToString(sum[:]) != fields["payload"] {
				t.Errorf("%s: a valid file is refused or read wrongly: %v", e.Name(), err)
			}
		case err == nil:
			t.Errorf("%s (%s) is opened", e.Name(), fields["expect"])
		default:
			refused++
		}
	}
	t.Logf("%d files under a passphrase opened, %d refused", opened, refused)
	if opened < 1 || refused < 25 {
		t.Errorf("only %d and %d files", opened, refused)
	}
}
