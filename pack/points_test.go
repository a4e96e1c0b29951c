package pack

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"outbreath/pack/media"
	"outbreath/pack/media/mediatest"
)

// full says that the long runs were asked for: OUTBREATH_FULL=1.
func full() bool { return os.Getenv("OUTBREATH_FULL") != "" }

// shm returns a folder in memory, where a sync costs nothing; any folder where
// there is none.
func shm(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "outbreath-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// TestFaultPoints fails the n-th write, sync, rename and read of a seal, each
// with ENOSPC and with EIO, at 200 points each (at 20 without OUTBREATH_FULL):
// no shipment is there afterwards or a whole one, and the next seal succeeds.
func TestFaultPoints(t *testing.T) {
	b := newBench(t)
	points := 20
	if full() {
		points = 200
	}
	dir := shm(t)
	for _, op := range []string{"write", "sync", "rename", "read"} {
		for name, code := range map[string]error{"ENOSPC": syscall.ENOSPC, "EIO": syscall.EIO} {
			none, whole := 0, 0
			for i := range points {
				medium := filepath.Join(dir, fmt.Sprintf("%s-%s-%d", op, name, i))
				if err := os.Mkdir(medium, 0o755); err != nil {
					t.Fatal(err)
				}
				o := b.sealOptions(medium)
				p := sample(t, 2, 9000)
				fail := mediatest.Nth(op, 1+i*200/points, code)
				switch op {
				case "rename": // two of each shipment: the archive's and the folder's
					p = sample(t, 1, 1000+i)
					fail = mediatest.Nth(op, 1+i%2, code)
				case "write": // some of it is written
					o.PartSize = 40
					fail = func(c mediatest.Call) error {
						if c.Op == op && c.N == 1+i*200/points {
							return &mediatest.Partial{Wrote: i % 41, Err: code}
						}
						return nil
					}
				default:
					o.PartSize = 40
				}
				m := &mediatest.Faults{FS: media.OS{}, Fail: fail}
				if _, err := seal(context.Background(), m, p, o); !errors.Is(err, code) {
					t.Fatalf("%s %d: %v", op, i, err)
				}
				if _, err := os.Lstat(filepath.Join(medium, o.Number)); err != nil {
					none++
					empty(t, medium)
				} else {
					whole++
					if v := b.mustVerify(t, filepath.Join(medium, o.Number)); v.Decision != Accepted {
						t.Fatalf("%s %d: %+v", op, i, v.Checks)
					}
				}
				o.PartSize = 0
				s, err := seal(context.Background(), media.OS{}, p, o)
				if err != nil {
					t.Fatalf("%s %d: the next seal: %v", op, i, err)
				}
				if v := b.mustVerify(t, s.Folder); v.Decision != Accepted {
					t.Fatalf("%s %d: the next seal: %+v", op, i, v.Checks)
				}
				os.RemoveAll(medium)
			}
			t.Logf("%s on %s: %d points, %d left no shipment, %d a whole one", name, op, points, none, whole)
		}
	}
}

// TestTwoMediaFault fails one of two media wherever it can fail: the error
// names it, and no copy is left on either.
func TestTwoMediaFault(t *testing.T) {
	b := newBench(t)
	points := 0
	shared := shm(t)
	for _, op := range []string{"mkdir", "create", "write", "sync", "read", "rename", "syncdir", "open"} {
		for _, bad := range []string{"one", "two"} {
			for n := 1; ; n++ {
				dir := filepath.Join(shared, fmt.Sprintf("%s-%s-%d", op, bad, n))
				o := b.sealOptions(filepath.Join(dir, "one"))
				o.Media = append(o.Media, filepath.Join(dir, "two"))
				for _, m := range o.Media {
					if err := os.MkdirAll(m, 0o755); err != nil {
						t.Fatal(err)
					}
				}
				count := 0
				m := &mediatest.Faults{FS: media.OS{}, Fail: func(c mediatest.Call) error {
					if c.Op == op && strings.HasPrefix(c.Path, filepath.Join(dir, bad)) {
						if count++; count == n {
							return syscall.EIO
						}
					}
					return nil
				}}
				s, err := seal(context.Background(), m, sample(t, 1, 2000), o)
				if err == nil {
					if count >= n || s.Folder != filepath.Join(dir, "one", o.Number) || len(s.Copies) != 2 {
						t.Fatalf("%s %d on %s: %+v after %d calls", op, n, bad, s, count)
					}
					for _, c := range s.Copies {
						if v := b.mustVerify(t, c.Folder); v.Decision != Accepted {
							t.Fatalf("%+v", v.Checks)
						}
					}
					break
				}
				points++
				failed, ok := errors.AsType[*MediaError](err)
				if !ok || failed.Path != filepath.Join(dir, bad) || !failed.Several {
					t.Fatalf("%s %d on %s: %v", op, n, bad, err)
				}
				for _, m := range o.Media {
					empty(t, m)
				}
			}
		}
	}
	if points < 30 {
		t.Errorf("only %d points", points)
	}
	t.Logf("%d points", points)
}

// Two media that both fail are both named, and media of different limits get
// the same parts.
func TestTwoMedia(t *testing.T) {
	b := newBench(t)
	one, two := shm(t), shm(t)
	o := b.sealOptions(one)
	o.Media = append(o.Media, two)
	m := &mediatest.Faults{FS: media.OS{}, Fail: func(c mediatest.Call) error {
		if c.Op == "write" {
			return syscall.EIO
		}
		return nil
	}}
	_, err := seal(context.Background(), m, sample(t, 1, 2000), o)
	if err == nil || !strings.Contains(err.Error(), one) || !strings.Contains(err.Error(), two) {
		t.Errorf("both failed: %v", err)
	}
	empty(t, one)
	empty(t, two)

	s, err := seal(context.Background(), limitOf{media.OS{}, two, 3000}, sample(t, 2, 9000), o)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Parts) < 3 || s.Parts[0].Bytes != 3000 {
		t.Errorf("parts %+v", s.Parts)
	}
	if a, b := tree(t, s.Copies[0].Folder), tree(t, s.Copies[1].Folder); fmt.Sprint(a) != fmt.Sprint(b) {
		t.Error("the copies differ")
	}
	if v := b.mustVerify(t, s.Copies[1].Folder); v.Decision != Accepted {
		t.Errorf("%+v", v.Checks)
	}
}

// limitOf is a file system with a limit in one folder only.
type limitOf struct {
	media.FS
	dir   string
	limit int64
}

func (l limitOf) Open(dir string) (media.Folder, error) {
	d, err := l.FS.Open(dir)
	if dir == l.dir {
		d = limited{d, l.limit}
	}
	return d, err
}

type limited struct {
	media.Folder
	limit int64
}

func (l limited) FileLimit() (int64, error) { return l.limit, nil }

func (l limited) Mkdir(name string) (media.Folder, error) {
	sub, err := l.Folder.Mkdir(name)
	return limited{sub, l.limit}, err
}
