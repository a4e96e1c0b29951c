package media_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"os"
	"path/filepath"
	"testing"

	"outbreath/pack/media"
)

// BenchmarkReadBack reads a file back past the cache, as far as the system lets us.
func BenchmarkReadBack(b *testing.B) {
	data := bytes.Repeat([]byte("breath, out "), 4<<20/12)
	dir := b.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "archive"), data, 0o600); err != nil {
		b.Fatal(err)
	}
	medium := opened(b, media.OS{}, dir)
	sum := sha256.Sum256(data)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := media.ReadBack(context.Background(), medium, "archive", sum, int64(len(data))); err != nil {
			b.Fatal(err)
		}
	}
}
