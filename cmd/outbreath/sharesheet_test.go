package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestShareSheetOnPaper prints a custodian's sheet with Chromium, reads its QR
// code back with zbar, and joins what was read with other shares.
func TestShareSheetOnPaper(t *testing.T) {
	t.Parallel()
	p := newPlace(t, "chromium", "zbarimg", "pdftoppm")
	p.run("outbreath", "keys", "new", "--role", "site", "--name", "WEIR", "--no-passphrase", "--keys", "site")
	if err := os.WriteFile(filepath.Join(p.dir, "all"), []byte("one custodian types this\ntwo custodian types this\n"),
		0o600); err != nil {
		t.Fatal(err)
	}
	p.run("outbreath", "keys", "split", "--shares", "2", "--threshold", "2", "--to", "shares", "--share-passphrases",
		"all",
		"--keys", "site")
	sheets, err := filepath.Glob(filepath.Join(p.dir, "shares", "share-*-2-of-2-*.html"))
	if err != nil || len(sheets) != 1 {
		t.Fatal(sheets, err)
	}
	exec.Command("cp", sheets[0], filepath.Join(p.dir, "sheet.html")).Run()
	tool(t, p.dir, "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
		"--user-data-dir="+t.TempDir(), "--print-to-pdf=sheet.pdf", "sheet.html")
	tool(t, p.dir, "pdftoppm", "-r", "300", "-gray", "sheet.pdf", "paper")
	pictures, _ := filepath.Glob(filepath.Join(p.dir, "paper-*.pgm"))
	if len(pictures) == 0 || len(pictures) > 2 {
		t.Fatalf("%d sheets of paper", len(pictures))
	}
	var read string
	for _, picture := range pictures {
		// fails for a page without code
		out, _ := exec.Command("zbarimg", "-q", "--raw", "-Sdisable", "-Sqrcode.enable", picture).Output()
		read += string(out)
	}
	if err := os.WriteFile(filepath.Join(p.dir, "scanned.txt"), []byte(read), 0o600); err != nil {
		t.Fatal(err)
	}
	shares, _ := filepath.Glob(filepath.Join(p.dir, "shares", "share-*-1-of-2-*.age"))
	if len(shares) != 1 {
		t.Fatal(shares)
	}
	out := p.run("outbreath", "keys", "join", shares[0], "scanned.txt", "--share-passphrases", "all", "--keys", "site")
	if !strings.Contains(out, "join to the pseudonym key of this folder") {
		t.Error(out)
	}
}
