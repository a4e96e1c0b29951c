package main

import (
	"fmt"
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

// TestHardened: while a command waits for a passphrase it can leave no core dump,
// and no secret stands in its arguments or environment; what it then writes is
// its owner's alone.
func TestHardened(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("sh", "-c", "ulimit -c unlimited 2>/dev/null; umask 0; exec outbreath keys new --role site --name WEIR --passphrase-file "+pipe+" --keys "+filepath.Join(dir, "site"))
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	proc := func(name string) string {
		data, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", cmd.Process.Pid, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	core := ""
	for range 200 { // until it waits
		for line := range strings.Lines(proc("limits")) {
			if f := strings.Fields(strings.TrimPrefix(line, "Max core file size")); strings.HasPrefix(line, "Max core file size") {
				core = f[0] + " " + f[1]
			}
		}
		if core == "0 0" {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if core != "0 0" {
		t.Errorf("core dumps up to %q", core)
	}
	const secret = "seven words that nobody says"
	w, err := os.OpenFile(pipe, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintln(w, secret)
	w.Close()
	for range 20 {
		if text := proc("cmdline") + proc("environ"); strings.Contains(text, "seven words") {
			t.Fatal("the passphrase stands in arguments or environment")
		}
		time.Sleep(5 * time.Millisecond)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(filepath.Join(dir, "site"))
	if err != nil || len(entries) < 5 {
		t.Fatal(entries, err)
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm()&0o022 != 0 || strings.Contains("pseudonym.key signing", e.Name()) && info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %v", e.Name(), info.Mode())
		}
		data, err := os.ReadFile(filepath.Join(dir, "site", e.Name()))
		if err != nil || strings.Contains(string(data), "seven words that") {
			t.Errorf("%s: %v, or the passphrase stands in it", e.Name(), err)
		}
	}
}

// No flag takes a secret: one would stand in the list of processes and in the
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
