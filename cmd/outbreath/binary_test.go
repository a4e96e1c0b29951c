package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// binary builds the program as a person runs it.
func binary(t *testing.T) string {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "outbreath")
	if out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return bin
}

// many returns n, or all when the long runs were asked for by OUTBREATH_FULL=1.
func many(n, all int) int {
	if os.Getenv("OUTBREATH_FULL") != "" {
		return all
	}
	return n
}
