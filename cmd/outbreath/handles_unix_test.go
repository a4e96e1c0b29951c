//go:build unix

package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"outbreath/schema/costtest"
)

// A scene is a job that has come as far as its receipt, a decoy outside of it, and
// the program as a person runs it.
type scene struct {
	*job
	bin string
}

// decoyText represents a file of somebody's own: a key, a letter, a roster.
const decoyText = "a file that is none of the program's business\n"

// newScene seals a shipment and lets the laboratory write its receipt.
func newScene(t *testing.T) *scene {
	t.Helper()
	s := &scene{job: newJob(t, smallDemo), bin: binary(t)}
	for _, dir := range []string{"decoy", "out"} {
		ok(t, os.Mkdir(s.at(dir), 0o755))
	}
	ok(t, os.WriteFile(s.at("decoy/file"), []byte(decoyText), 0o644))
	var box []string
	for _, visit := range s.truth.Sessions {
		box = append(box, visit.Tubes...)
	}
	ok(t, os.WriteFile(s.at("box"), []byte(strings.Join(box, "\n")+"\n"), 0o644))
	for _, args := range [][]string{
		{"seal", s.collection, "--to", s.media, "--keys", s.site},
		{"verify", s.shipment, "--receipt", s.at("receipt"), "--keys", s.lab},
		{"keys", "rotate", "--keys", s.site},
	} {
		if status, out := s.run(t, "", args...); status != 0 {
			t.Fatalf("%v: %d\n%s", args, status, out)
		}
	}
	return s
}

func ok(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// copied returns the scene in a folder of its own, files, modes and times alike.
func (s *scene) copied(t *testing.T) *scene {
	t.Helper()
	// A socket's path has 107 bytes at most, unix(7).
	top, err := os.MkdirTemp("", "s")
	ok(t, err)
	t.Cleanup(func() { os.RemoveAll(top) })
	dir := filepath.Join(top, "d")
	if out, err := exec.Command("cp", "-a", s.dir, dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	j := *s.job
	j.dir = dir
	j.collection, j.site, j.lab, j.media = j.at("collection"), j.at("site"), j.at("lab"), j.at("media")
	j.shipment = filepath.Join(j.media, filepath.Base(s.shipment))
	return &scene{job: &j, bin: s.bin}
}

// run runs the program in the scene's folder, and fails if it hangs.
func (s *scene) run(t *testing.T, input string, args ...string) (status int, out string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), costtest.Hang)
	defer cancel()
	cmd := exec.CommandContext(ctx, s.bin, args...)
	cmd.Dir, cmd.Stdin = s.dir, strings.NewReader(input)
	var both bytes.Buffer
	cmd.Stdout, cmd.Stderr = &both, &both
	err := cmd.Run()
	if ctx.Err() != nil {
		t.Fatalf("%v hangs\n%s", args, both.String())
	}
	if exit := new(exec.ExitError); errors.As(err, &exit) {
		return exit.ExitCode(), both.String()
	}
	ok(t, err)
	return 0, both.String()
}

// marks of a tree: names, kinds, modes, times, owners, links and contents.
func marks(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	ok(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		st := info.Sys().(*syscall.Stat_t)
		fmt.Fprintf(&b, "%s %v %v %d %d", path, info.Mode(), info.ModTime(), st.Uid, st.Ino)
		if info.Mode().IsRegular() {
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			fmt.Fprintf(&b, " %x", sha256.Sum256(data))
		}
		b.WriteString("\n")
		return nil
	}))
	return b.String()
}

// A plant puts something else in the place of a file; the decoy is what a link
// leads to.
type plant struct {
	what string
	put  func(t *testing.T, path, decoy string)
}

var plants = []plant{
	{"a link to a file outside", func(t *testing.T, path, decoy string) { ok(t, os.Symlink(decoy, path)) }},
	{"a link to a folder outside", func(t *testing.T, path, decoy string) {
		ok(t, os.Symlink(filepath.Dir(decoy),
			path))
	}},
	{"a link to nothing outside", func(t *testing.T, path, decoy string) { ok(t, os.Symlink(decoy+"-new", path)) }},
	{"a hard link to a file outside", func(t *testing.T, path, decoy string) { ok(t, os.Link(decoy, path)) }},
	{"a named pipe", func(t *testing.T, path, _ string) { ok(t, syscall.Mkfifo(path, 0o644)) }},
	{"a socket", func(t *testing.T, path, _ string) {
		l, err := net.ListenUnix("unix", &net.UnixAddr{Name: path})
		ok(t, err)
		l.SetUnlinkOnClose(false)
		ok(t, l.Close())
	}},
	{"a device", func(t *testing.T, path, _ string) {
		if err := syscall.Mknod(path, syscall.S_IFCHR|0o644, 1<<8|5); err != nil { // 1:5, /dev/zero
			t.Skip("only root makes devices")
		}
	}},
}

// TestLogLinkIsNotWrittenThrough: a link that lies where the log's new signature
// was once put overwrites nothing, whatever adds an entry.
func TestLogLinkIsNotWrittenThrough(t *testing.T) {
	first := newScene(t)
	for name, act := range map[string]func(s *scene) (int, string){
		"custody --receipt": func(s *scene) (int, string) {
			return s.run(t, "", "custody", s.collection, "--receipt", s.at("receipt"), "--keys", s.site)
		},
		"withdraw": func(s *scene) (int, string) {
			return s.run(t, s.truth.Roster[s.truth.Sessions[0].Row]["subject_id"]+"\n", "withdraw", s.collection,
				"--reason", "asked in writing", "--to", s.at("out/notice"), "--keys", s.site)
		},
		"seal": func(s *scene) (int, string) {
			return s.run(t, "", "seal", "--new-number", s.collection, "--to", s.media, "--keys", s.site)
		},
	} {
		s := first.copied(t)
		key := filepath.Join(s.site, "pseudonym.key")
		before := marks(t, key)
		ok(t, os.Symlink(key, filepath.Join(s.collection, "custody.jsonl.sig.new")))
		want := exitOK
		if name == "seal" {
			want = exitResolve // a link in the collection is told before anything is sealed
		}
		if status, out := act(s); status != want {
			t.Errorf("%s: status %d\n%s", name, status, out)
		}
		if marks(t, key) != before {
			t.Errorf("%s: the pseudonym key was overwritten", name)
		}
		if status, out := s.run(t, "", "custody", s.collection, "--check", "--keys", s.site); !strings.Contains(out,
			"are as they were signed") {
			t.Errorf("%s: then custody --check: %d\n%s", name, status, out)
		}
	}
}

// TestLogWithSecondName: what has another name elsewhere is not appended to.
func TestLogWithSecondName(t *testing.T) {
	s := newScene(t)
	log := filepath.Join(s.collection, "custody.jsonl")
	ok(t, os.Link(log, s.at("decoy/log")))
	before := marks(t, s.at("decoy"))
	status, out := s.run(t, "", "custody", s.collection, "--receipt", s.at("receipt"), "--keys", s.site)
	if status != exitUsage || !strings.Contains(out, "has a second name elsewhere") ||
		!strings.Contains(out, "put a copy in its place") {
		t.Errorf("status %d\n%s", status, out)
	}
	if marks(t, s.at("decoy")) != before {
		t.Error("the other name was written through")
	}
	// What the message advises helps.
	data, err := os.ReadFile(log)
	ok(t, err)
	ok(t, os.Remove(log))
	ok(t, os.WriteFile(log, data, 0o600))
	if status, out := s.run(t, "", "custody", s.collection, "--receipt", s.at("receipt"), "--keys",
		s.site); status != 0 {
		t.Errorf("then: status %d\n%s", status, out)
	}
	if marks(t, s.at("decoy")) != before {
		t.Error("the other name was written through")
	}
}

// exchange is what a member of the group does in the collection and on the medium, as
// fast as a shell can, until it is killed: links to files outside, pipes, and back.
const exchange = `
cd "$1" || exit 1
while :; do
	for n in custody.jsonl custody.jsonl.sig custody.jsonl.sig.new review.jsonl roster.csv sessions/0001.json recordings/trace-0001.csv; do
		mv -f "$n" "$n.aside" 2>/dev/null
		ln -s "$2/file" "$n" 2>/dev/null; mv -f "$n" "$n.link" 2>/dev/null
		mkfifo "$n" 2>/dev/null; mv -f "$n" "$n.pipe" 2>/dev/null
		ln -s "$2/new" "$n" 2>/dev/null; rm -f "$n" "$n.link" "$n.pipe"
		mv -f "$n.aside" "$n" 2>/dev/null
	done
	for stage in "$3"/.outbreath-*; do
		[ -d "$stage" ] || continue
		mv "$stage" "$3/moved" 2>/dev/null && ln -s "$2" "$stage" 2>/dev/null
		rm -f "$stage" 2>/dev/null; mv "$3/moved" "$stage" 2>/dev/null
	done
done
`

// TestGroupMemberRaces lets another user of the group exchange names while the
// program works.
func TestGroupMemberRaces(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("only root can act as another user")
	}
	outside(t, "sh")
	const uid, gid = 23456, 23457
	s := newScene(t).copied(t)
	for _, dir := range []string{filepath.Dir(s.dir), s.dir} {
		ok(t, os.Chmod(dir, 0o755))
	}
	for _, dir := range []string{s.collection, filepath.Join(s.collection, "sessions"), filepath.Join(s.collection,
		"recordings"), s.media} {
		ok(t, os.Chown(dir, 0, gid))
		ok(t, os.Chmod(dir, 0o775))
	}
	ok(t, filepath.WalkDir(s.collection, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			err = os.Chmod(path, 0o664)
		}
		return err
	}))
	before := marks(t, s.at("decoy"))
	rival := exec.Command("sh", "-c", exchange, "sh", s.collection, s.at("decoy"), s.media)
	rival.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uid, Gid: gid}}
	ok(t, rival.Start())
	defer func() { rival.Process.Kill(); rival.Wait() }()
	counts := map[int]int{}
	for i := range many(6, 60) {
		for _, args := range [][]string{
			{"check", "collection", "--keys", "site", "--quiet"},
			{"custody", "collection", "--receipt", "receipt", "--keys", "site"},
			{"seal", "collection", "--to", "media", "--new-number", "--keys", "site", "--quiet"},
			{"withdraw", "collection", "--reason", "asked in writing", "--to", fmt.Sprintf("out/n%d", i), "--keys",
				"site"},
		} {
			status, out := s.run(t, "LARK2-WEIR-001\n", args...)
			counts[status]++
			if strings.Contains(out, decoyText) {
				t.Errorf("%v shows a file outside\n%s", args, out)
			}
			if after := marks(t, s.at("decoy")); after != before {
				t.Fatalf("%v, status %d: files outside were touched\n%s\n%s\n%s", args, status, before, after, out)
			}
		}
	}
	t.Logf("runs by status: %v", counts)
}
