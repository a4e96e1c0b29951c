package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

const spoken = "seven words that nobody says"

// unprivileged is a command that runs without the rights of an administrator, whom
// no setting keeps out.
func unprivileged(name string, args ...string) *exec.Cmd {
	if os.Geteuid() == 0 {
		name, args = "setpriv", append([]string{"--bounding-set=-all", "--inh-caps=-all", name}, args...)
	}
	return exec.Command(name, args...)
}

// readable reports whether another process of the same user can look into the
// process pid.
//
// Source: proc(5) and prctl(2), PR_SET_DUMPABLE.
func readable(t *testing.T, pid int) bool {
	t.Helper()
	err := unprivileged("cat", fmt.Sprintf("/proc/%d/environ", pid)).Run()
	if _, failed := errors.AsType[*exec.ExitError](err); err != nil && !failed {
		t.Fatal(err)
	}
	return err == nil
}

// environment returns the environment of a process that closed its memory. An
// administrator reads it all the same. To everybody else the refusal of the system
// is what is wanted: nobody can read its contents, and "" is returned.
//
// Source: proc(5), /proc/pid/environ is subject to PTRACE_MODE_READ_FSCREDS.
func environment(t *testing.T, pid int) string {
	t.Helper()
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/environ", pid))
	switch {
	case err == nil, errors.Is(err, syscall.ESRCH): // ESRCH: it has ended already
	case os.Geteuid() == 0 || !errors.Is(err, fs.ErrPermission):
		t.Fatal(err)
	}
	return string(data)
}

// watched runs the program with a passphrase that comes through a pipe, and looks
// at its process before and after: no core dump, its memory closed to others of the
// same user, and the passphrase neither in its arguments nor its environment.
func watched(t *testing.T, args ...string) {
	t.Helper()
	other := unprivileged("sleep", "3600")
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	defer other.Wait()
	defer other.Process.Kill()
	if !eventually(func() bool { return readable(t, other.Process.Pid) }) { // until it is what it shall be
		t.Fatal("this system lets no process look into another one: nothing can be shown")
	}
	pipe := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	var errOut bytes.Buffer
	cmd := unprivileged("sh",
		append([]string{"-c", `ulimit -c unlimited 2>/dev/null; umask 0; exec outbreath "$@" --passphrase-file ` + pipe,
			"sh"}, args...)...)
	cmd.Stderr = &errOut
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	proc := func(name string) string {
		data, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", cmd.Process.Pid, name))
		if err != nil {
			t.Fatal(args, err)
		}
		return string(data)
	}
	core := ""
	if !eventually(func() bool { // until it waits
		for line := range strings.Lines(proc("limits")) {
			if f := strings.Fields(strings.TrimPrefix(line, "Max core file size")); strings.HasPrefix(line,
				"Max core file size") {
				core = f[0] + " " + f[1]
			}
		}
		return core == "0 0"
	}) {
		t.Errorf("%q: core dumps up to %q", args, core)
	}
	if !eventually(func() bool { return !readable(t, cmd.Process.Pid) }) { // set right after the limit
		t.Errorf("%q: another process of the same user can read its memory", args)
	}
	w, err := os.OpenFile(pipe, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintln(w, spoken)
	w.Close()
	for range 20 {
		if text := proc("cmdline") + environment(t, cmd.Process.Pid); strings.Contains(text, "seven words") {
			t.Fatalf("%q: the passphrase is in arguments or environment", args)
		}
		time.Sleep(5 * time.Millisecond)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%q: %v: %s", args, err, errOut.String())
	}
}

// TestHardened: while a command waits for a passphrase it can leave no core dump,
// no other program of its user can read its memory, and no secret is in its arguments or
// environment; what it then writes is
// its owner's alone.
func TestHardened(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	watched(t, "keys", "new", "--role", "site", "--name", "WEIR", "--keys", at("site"))
	must(t, "keys", "new", "--role", "lab", "--name", "harbour-lab", "--no-passphrase", "--keys", at("lab"))
	must(t, "keys", "trust", filepath.Join(at("lab"), "public-keys.txt"), "--keys", at("site"))
	custodians := []byte{}
	for _, name := range []string{"ada", "ben"} {
		must(t, "keys", "new", "--role", "lab", "--name", name, "--no-passphrase", "--classic", "--keys", at(name))
		data, err := os.ReadFile(filepath.Join(at(name), "recipient.txt"))
		if err != nil {
			t.Fatal(err)
		}
		custodians = append(custodians, data...)
	}
	if err := os.WriteFile(at("custodians"), custodians, 0o600); err != nil {
		t.Fatal(err)
	}
	watched(t, "keys", "split", "--shares", "2", "--threshold", "2", "--recipients", at("custodians"), "--to",
		at("shares"), "--keys", at("site"))
	watched(t, "keys", "rotate", "--keys", at("site"))
	entries, err := os.ReadDir(filepath.Join(dir, "site"))
	if err != nil || len(entries) < 5 {
		t.Fatal(entries, err)
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm()&0o022 != 0 || strings.Contains("pseudonym.key signing", e.Name()) &&
			info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %v", e.Name(), info.Mode())
		}
		data, err := os.ReadFile(filepath.Join(dir, "site", e.Name()))
		if err != nil || strings.Contains(string(data), "seven words that") {
			t.Errorf("%s: %v, or the passphrase is in it", e.Name(), err)
		}
	}
}

// No flag takes a secret: one would be in the list of processes and in the
// shell's history.
func TestNoFlagTakesASecret(t *testing.T) {
	files := map[string]bool{"passphrase-file": true, "passphrases-from": true, "no-passphrase": true}
	seen := 0
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		c.Flags().VisitAll(func(f *pflag.Flag) {
			seen++
			for _, word := range []string{"pass", "secret", "password", "pin"} {
				if strings.Contains(f.Name, word) && !files[f.Name] && !strings.Contains(f.Usage, "file") {
					t.Errorf("%s --%s", c.CommandPath(), f.Name)
				}
			}
		})
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(newRootCmd(newUI(nil, nil, nil)))
	if seen < 30 {
		t.Errorf("only %d flags were seen", seen)
	}
}
