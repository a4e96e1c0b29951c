package media_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"outbreath/pack/media"
	"outbreath/pack/media/mediatest"
)

var ctx = context.Background()

func TestReadBack(t *testing.T) {
	dir := t.TempDir()
	data := noise(3<<20+5, 3)
	sum := sha256.Sum256(data)
	size := int64(len(data))
	if err := media.WriteFile(opened(t, media.OS{}, dir), "x", data); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "x")
	if _, err := media.ReadBack(ctx, opened(t, media.OS{}, dir), "x", sum, size); err != nil {
		t.Fatal(err)
	}
	var mismatch *media.MismatchError
	for _, other := range []int64{0, 1, size - 1, size + 1} {
		if _, err := media.ReadBack(ctx, opened(t, media.OS{}, dir), "x", sum, other); !errors.As(err, &mismatch) {
			t.Errorf("size %d: %v", other, err)
		}
	}
	for name, change := range map[string]func([]byte) []byte{
		"first bit":  func(b []byte) []byte { b[0] ^= 1; return b },
		"last bit":   func(b []byte) []byte { b[len(b)-1] ^= 0x80; return b },
		"cut":        func(b []byte) []byte { return b[:len(b)-1] },
		"longer":     func(b []byte) []byte { return append(b, 0) },
		"empty":      func(b []byte) []byte { return nil },
		"zeros last": func(b []byte) []byte { return append(b[:len(b)-4096], make([]byte, 4096)...) },
	} {
		if err := os.WriteFile(path, change(append([]byte{}, data...)), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := media.ReadBack(ctx, opened(t, media.OS{}, dir), "x", sum, size); !errors.As(err, &mismatch) ||
			mismatch.Path != path {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := media.ReadBack(ctx, opened(t, media.OS{}, dir), "xy", sum, size); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
}

// TestDamage: right on the way in, wrong on the way out.
func TestDamage(t *testing.T) {
	dir := t.TempDir()
	data := noise(2<<20, 4)
	if err := media.WriteFile(opened(t, media.OS{}, dir), "x", data); err != nil {
		t.Fatal(err)
	}
	m := &mediatest.Faults{FS: media.OS{}, Damage: func(_ string, off int64, b []byte) {
		if at := int64(1<<20 + 17); off <= at && at < off+int64(len(b)) {
			b[at-off] ^= 4
		}
	}}
	if _, err := media.ReadBack(ctx, opened(t, m, dir), "x", sha256.Sum256(data), int64(len(data))); !errors.As(err,
		new(*media.MismatchError)) {
		t.Error(err)
	}
	m = &mediatest.Faults{FS: media.OS{}, Fail: mediatest.Nth("read", 2, syscall.EIO)}
	if _, err := media.ReadBack(ctx, opened(t, m, dir), "x", sha256.Sum256(data), int64(len(data))); !errors.Is(err,
		syscall.EIO) {
		t.Error(err)
	}
}

// TestReadBackBounded: a file that is far too long is not read to its end.
func TestReadBackBounded(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, 1<<40); err != nil {
		t.Skip("no sparse files here")
	}
	m := &mediatest.Faults{FS: media.OS{}}
	if _, err := media.ReadBack(ctx, opened(t, m, filepath.Dir(path)), "x", [32]byte{}, 100); !errors.As(err,
		new(*media.MismatchError)) {
		t.Error(err)
	}
	if n := m.Count("read"); n > 1 {
		t.Errorf("%d reads", n)
	}
}

func TestReadBackCancelled(t *testing.T) {
	dir := t.TempDir()
	if err := media.WriteFile(opened(t, media.OS{}, dir), "x", make([]byte, 100)); err != nil {
		t.Fatal(err)
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := media.ReadBack(stopped, opened(t, media.OS{}, dir), "x", [32]byte{}, 100); !errors.Is(err,
		context.Canceled) {
		t.Error(err)
	}
}
