package pack

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"

	"filippo.io/age"

	"outbreath/pack/media"
	"outbreath/pack/media/mediatest"
)

// TestFATLimit seals onto a medium that holds no larger file than FAT32 does:
// the archive is split, verifies, and is joined by cat. By itself the limit and
// the data are a thousandth; OUTBREATH_LARGE=1 takes the true ones, 5 GB of archive.
func TestFATLimit(t *testing.T) {
	limit, rows := int64(media.FATLimit/1000), int64(750_000)
	if os.Getenv("OUTBREATH_LARGE") != "" {
		limit, rows = media.FATLimit, 750_000_000
	}
	b := newBench(t)
	p := sample(t, 1, 1000)
	for i := range p.files {
		if f := &p.files[i]; kindOf(f.Name) == recordingFile {
			f.Size = int64(len(head)) + rows*rowSize
			f.Open = func() (io.ReadCloser, error) {
				return io.NopCloser(&digits{in: rand.NewChaCha8([32]byte{5}), next: []byte(head), left: rows}), nil
			}
		}
	}
	o := b.sealOptions(t.TempDir())
	s, err := seal(context.Background(), &mediatest.Faults{FS: media.OS{}, Limit: limit}, p, o)
	if err != nil {
		t.Fatal(err)
	}
	var total int64
	for _, q := range s.Parts {
		total += q.Bytes
	}
	if len(s.Parts) != 2 || s.Parts[0].Bytes != limit || total < limit {
		t.Fatalf("parts: %+v", s.Parts)
	}
	if v := b.mustVerify(t, s.Folder); v.Decision != Accepted {
		t.Fatalf("%+v", v.Checks)
	}

	// joined and opened by stock tools; age itself by its library
	for _, tool := range []string{"sh", "cat", "zstd", "tar", "sha256sum"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("%s is not installed", tool)
		}
	}
	join := exec.Command("sh", "-c", "cat *.tar.zst.age.*")
	join.Dir = s.Folder
	joined, err := join.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := join.Start(); err != nil {
		t.Fatal(err)
	}
	plain, err := age.Decrypt(joined, b.identity)
	if err != nil {
		t.Fatal(err)
	}
	var sum bytes.Buffer
	unpack := exec.Command("sh", "-c", "zstd -qdc | tar -xO -f - 07-0012/tagmanifest-sha256.txt | sha256sum")
	unpack.Stdin, unpack.Stdout = plain, &sum
	if err := unpack.Run(); err != nil {
		t.Fatal(err)
	}
	if err := join.Wait(); err != nil {
		t.Fatal(err)
	}
	if got := sum.String(); len(got) < 64 || got[:64] != s.Bag {
		t.Errorf("joined by cat it holds %s, sealed was %s", got, s.Bag)
	}
	t.Logf("%d bytes in %d parts of at most %d", total, len(s.Parts), limit)
}

// digits are rows of random digits, which shrink to less than a half.
type digits struct {
	in         *rand.ChaCha8
	next       []byte
	left, done int64 // rows
}

const (
	head    = "t_s,co2_kpa,pressure_pa\n"
	rowSize = 5 + 1 + 4 + 2*(1+2+5) + 1 // bytes
)

func (d *digits) Read(b []byte) (int, error) {
	for len(d.next) < rowSize && d.left > 0 {
		d.next = fmt.Appendf(d.next, "%05d.%04d,", d.done/10_000, d.done%10_000)
		for _, end := range []byte(",\n") {
			d.next = fmt.Appendf(d.next, "1.%05d%c", d.in.Uint64()%100_000, end)
		}
		d.done, d.left = d.done+1, d.left-1
	}
	if len(d.next) == 0 {
		return 0, io.EOF
	}
	n := copy(b, d.next)
	d.next = d.next[:copy(d.next, d.next[n:])]
	return n, nil
}
