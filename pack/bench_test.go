package pack

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"testing"

	"outbreath/pack/media"
)

// benchSets: eight long recordings, and many short records.
var benchSets = []struct {
	name           string
	sessions, size int
}{{"recordings", 8, 8 << 20}, {"records", 5000, 100}}

func BenchmarkSeal(b *testing.B) {
	bench := newBench(b)
	for _, set := range benchSets {
		b.Run(set.name, func(b *testing.B) {
			p := sample(b, set.sessions, set.size)
			o := bench.sealOptions(b.TempDir())
			b.SetBytes(p.total())
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				o.Number = fmt.Sprintf("07-%04d", n%10000)
				n++
				s, err := seal(context.Background(), media.OS{}, p, o)
				if err != nil {
					b.Fatal(err)
				}
				b.StopTimer()
				os.RemoveAll(s.Folder)
				b.StartTimer()
			}
		})
	}
}

func BenchmarkVerify(b *testing.B) {
	bench := newBench(b)
	for _, set := range benchSets {
		b.Run(set.name, func(b *testing.B) {
			p := sample(b, set.sessions, set.size)
			dir, _ := bench.mustSeal(b, p)
			b.SetBytes(p.total())
			b.ReportAllocs()
			for b.Loop() {
				if v := bench.mustVerify(b, dir); v.Decision != Accepted {
					b.Fatalf("%+v", v.Checks)
				}
			}
		})
	}
}

// BenchmarkFrames takes the two halves of the compression alone, on text of numbers.
func BenchmarkFrames(b *testing.B) {
	var plain bytes.Buffer
	for i := 0; plain.Len() < 32<<20; i++ {
		fmt.Fprintf(&plain, "%d.%02d,%d.%02d,%d.%d\n", i/100, i%100, i*7%5, i*31%100, i*13%90, i%10)
	}
	pack := func(w io.Writer) {
		p, err := newPacker(context.Background(), w, workers(0))
		if err != nil {
			b.Fatal(err)
		}
		if _, err := p.Write(plain.Bytes()); err != nil {
			b.Fatal(err)
		}
		if err := p.close(); err != nil {
			b.Fatal(err)
		}
	}
	b.Run("pack", func(b *testing.B) {
		b.SetBytes(int64(plain.Len()))
		b.ReportAllocs()
		for b.Loop() {
			pack(io.Discard)
		}
	})
	b.Run("unpack", func(b *testing.B) {
		var packed bytes.Buffer
		pack(&packed)
		b.SetBytes(int64(plain.Len()))
		b.ReportAllocs()
		for b.Loop() {
			u, err := newUnpacker(context.Background(), bytes.NewReader(packed.Bytes()), workers(0))
			if err != nil {
				b.Fatal(err)
			}
			if n, err := io.Copy(io.Discard, u); err != nil || n != int64(plain.Len()) {
				b.Fatal(n, err)
			}
			u.stop()
		}
	})
}
