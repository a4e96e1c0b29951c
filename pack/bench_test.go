package pack

import (
	"context"
	"fmt"
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
			for b.Loop() {
				if v := bench.mustVerify(b, dir); v.Decision != Accepted {
					b.Fatalf("%+v", v.Checks)
				}
			}
		})
	}
}
