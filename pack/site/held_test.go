package site

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Size, time and mode each tell alone that a file was changed.
func TestChangedByOneMark(t *testing.T) {
	for name, do := range map[string]func(file string, at time.Time) error{
		"its bytes, in the same number": func(file string, at time.Time) error {
			return errors.Join(os.WriteFile(file, []byte("two"), 0o600), os.Chtimes(file, at, at.Add(time.Second)))
		},
		"its size, with its time set back": func(file string, at time.Time) error {
			return errors.Join(os.WriteFile(file, []byte("three"), 0o600), os.Chtimes(file, at, at))
		},
		"its mode": func(file string, _ time.Time) error { return os.Chmod(file, 0o644) },
	} {
		dir := t.TempDir()
		file := filepath.Join(dir, "study.json")
		at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
		if err := errors.Join(os.WriteFile(file, []byte("one"), 0o600), os.Chtimes(file, at, at)); err != nil {
			t.Fatal(err)
		}
		h, err := Hold(dir)
		if err != nil {
			t.Fatal(err)
		}
		if err := h.Unchanged(); err != nil {
			t.Errorf("unchanged: %v", err)
		}
		if err := do(file, at); err != nil {
			t.Fatal(err)
		}
		if e, ok := errors.AsType[*SourceChangedError](h.Unchanged()); !ok || e.How != "changed" {
			t.Errorf("%s: %v", name, e)
		}
		h.Release()
	}
}

// Folders that are missing, or are none, are for the reader of the collection to report.
func TestHoldOddFolder(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "sessions"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	h, err := Hold(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer h.Release()
	if err := h.Unchanged(); err != nil {
		t.Error(err)
	}
	if _, err := Hold(dir); !errors.As(err, new(*SealAtWorkError)) {
		t.Errorf("held twice: %v", err)
	}
}

// A shipment number is the site's code, a hyphen and four digits.
func TestNumberOf(t *testing.T) {
	for shipment, want := range map[string]int{"WEIR-0012": 12, "WEIR-0000": 0, "WEIR-9999": 9999, "0012": -1,
		"WEIR-abcd": -1, "WEIR-012": -1, "WEIR-00012": -1, "HOLM-0012": -1, "WEIR0012": -1, "": -1, "WEIR-+012": -1} {
		if n, ok := numberOf("WEIR", shipment); ok != (want >= 0) || ok && n != want {
			t.Errorf("%q: %d, %v", shipment, n, ok)
		}
	}
}
