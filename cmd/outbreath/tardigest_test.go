package main

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"os/exec"
	"testing"
)

// tarDigest decrypts and unpacks an archive with programs of others and returns
// the SHA-256 of the tar stream inside.
func tarDigest(t *testing.T, archive, identity string) string {
	t.Helper()
	outside(t, "zstd")
	decrypt := exec.Command("go", "tool", "age", "-d", "-i", identity, archive)
	unpack := exec.Command("zstd", "-q", "-d", "-c")
	decrypt.Stderr, unpack.Stderr = os.Stderr, os.Stderr
	var err error
	if unpack.Stdin, err = decrypt.StdoutPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := unpack.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []*exec.Cmd{decrypt, unpack} {
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
	}
	h := sha256.New()
	if _, err := io.Copy(h, out); err != nil {
		t.Fatal(err)
	}
	for _, c := range []*exec.Cmd{unpack, decrypt} {
		if err := c.Wait(); err != nil {
			t.Fatal(err)
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}
