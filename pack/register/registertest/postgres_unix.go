//go:build unix

package registertest

import (
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
	"testing"
)

// Postgres starts a server of its own, with its data in a temporary folder and
// reachable by a socket there. It ends with the test. The function returned makes an
// empty database and returns its address, postgres://... Without the server's
// programs the test is skipped, or fails when CI is set.
func Postgres(t testing.TB) func() string {
	t.Helper()
	bins, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if len(bins) == 0 {
		if os.Getenv("CI") == "true" {
			t.Fatal("there is no PostgreSQL server (Debian package postgresql-15)")
		}
		t.Skip("there is no PostgreSQL server (Debian package postgresql-15)")
	}
	bin := filepath.Dir(bins[len(bins)-1])
	dir, err := os.MkdirTemp("", "pg") // short: a socket's path has 107 bytes at most
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	as := notRoot(t, dir)
	data := filepath.Join(dir, "data")
	command(t, as, dir, filepath.Join(bin, "initdb"), "-D", data, "-U", "outbreath", "-A", "trust", "-E", "UTF8",
		"--locale=C", "--no-sync")
	command(t, as, dir, filepath.Join(bin, "pg_ctl"), "-D", data, "-w", "-l", filepath.Join(dir, "log"), "-o", "-k "+
		dir+" -c listen_addresses=''", "start")
	t.Cleanup(func() {
		command(t, as, dir, filepath.Join(bin, "pg_ctl"), "-D", data, "-w", "-m", "immediate", "stop")
	})
	databases := 0
	return func() string {
		databases++
		name := fmt.Sprintf("register%d", databases)
		command(t, as, dir, filepath.Join(bin, "createdb"), "-h", dir, "-U", "outbreath", name)
		return "postgres://outbreath@/" + name + "?host=" + dir
	}
}

// notRoot returns an account for the server, which does not run as root, and
// gives it dir.
func notRoot(t testing.TB, dir string) *syscall.Credential {
	t.Helper()
	if os.Geteuid() != 0 {
		return nil
	}
	var ids [2]uint64
	i := slices.IndexFunc([]string{"postgres", "nobody"}, func(name string) bool {
		u, err := user.Lookup(name)
		if err != nil {
			return false
		}
		ids[0], _ = strconv.ParseUint(u.Uid, 10, 32)
		ids[1], _ = strconv.ParseUint(u.Gid, 10, 32)
		return ids[0] != 0
	})
	if i < 0 {
		t.Fatal("there is no account for the server: root may not run it")
	}
	if err := os.Chown(dir, int(ids[0]), int(ids[1])); err != nil {
		t.Fatal(err)
	}
	return &syscall.Credential{Uid: uint32(ids[0]), Gid: uint32(ids[1])}
}

func command(t testing.TB, as *syscall.Credential, dir, name string, args ...string) {
	t.Helper()
	c := exec.Command(name, args...)
	c.Dir = dir
	c.SysProcAttr = &syscall.SysProcAttr{Credential: as}
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", filepath.Base(name), err, out)
	}
}
