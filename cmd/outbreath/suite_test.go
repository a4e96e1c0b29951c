package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"outbreath/schema/costtest"
)

// A suite runs the tests with what they share: a place for temporary folders, and
// programs that are built once and then only run.
type suite struct{ *testing.M }

// shared is the folder of what tests make once and then only read.
var shared string

func (s suite) Run() int {
	if dir := memory(); dir != "" && os.Getenv("TMPDIR") == "" {
		os.Setenv("TMPDIR", dir)
	}
	var err error
	if shared, err = os.MkdirTemp("", "outbreath-shared-"); err != nil {
		panic(err)
	}
	defer os.RemoveAll(shared)
	if err := os.Chmod(shared, 0o755); err != nil { // some tests run them as another user
		panic(err)
	}
	return s.M.Run()
}

// eventually reports whether done comes to be true, however slow the machine is.
func eventually(done func() bool) bool {
	for until := time.Now().Add(costtest.Hang); !done(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(until) {
			return false
		}
	}
	return true
}

// full reports whether the long runs were asked for, by OUTBREATH_FULL=1.
func full() bool { return os.Getenv("OUTBREATH_FULL") != "" }

// many returns n, or all when the long runs were asked for.
func many(n, all int) int {
	if full() {
		return all
	}
	return n
}

// binary returns the program as a person runs it.
func binary(t *testing.T) string {
	t.Helper()
	return builtOnce(t, &program)
}

// ageBinary returns the age command of go.mod.
func ageBinary(t *testing.T) string {
	t.Helper()
	return builtOnce(t, &age)
}

// A product is a command of Go, built at its first use.
type product struct {
	of, name string // import path, command
	attempt
}

// An attempt is made once, and what came of it is told to every test.
type attempt struct {
	sync.Once
	out []byte
	err error
}

var (
	program = product{of: "outbreath/cmd/outbreath", name: "outbreath"}
	age     = product{of: "filippo.io/age/cmd/age", name: "age"}
)

func builtOnce(t *testing.T, p *product) string {
	t.Helper()
	path := filepath.Join(shared, p.name)
	p.Do(func() { p.out, p.err = exec.Command("go", "build", "-o", path, p.of).CombinedOutput() })
	if p.err != nil {
		t.Fatalf("building %s: %v\n%s", p.of, p.err, p.out)
	}
	return path
}
