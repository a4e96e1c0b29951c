package leak

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func proseOf(b []byte, piece int) (out []string) {
	w := NewProse(func(at int64, n int) { out = append(out, string(b[at:at+int64(n)])) })
	for p := b; len(p) > 0; p = p[min(piece, len(p)):] {
		w.Write(p[:min(piece, len(p))])
	}
	w.Close()
	return out
}

// signals are samples as recorders write them, 16 bits, and bytes of no order.
func signals(r *rand.Rand, kind, n int) []byte {
	b := make([]byte, 2*n)
	amplitude, period, noise := math.Exp(r.Float64()*10.4), 3+r.Float64()*400, math.Exp(r.Float64()*8)
	middle, walk := r.Float64()*60000-30000, 0.0
	for i := range n {
		v := 0.0
		switch kind {
		case 0:
			v = float64(r.IntN(65536) - 32768)
		case 1:
			v = amplitude*math.Sin(2*math.Pi*float64(i)/period) + noise*r.NormFloat64()
		case 2:
			walk += r.NormFloat64() * noise / 4
			v = middle + walk
		case 3: // a triangle, through all values
			v = math.Mod(float64(i)*amplitude/period, 65536) - 32768
		case 4:
			v = middle + noise*r.NormFloat64()
		}
		binary.LittleEndian.PutUint16(b[2*i:], uint16(int16(max(-32768, min(32767, v)))))
	}
	return b
}

// Samples hold no words by chance. OUTBREATH_PROSE asks for more than 64 MB.
func TestProseOfSamples(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 5))
	total, alarms := 0, 0
	for k := range 640 {
		b := signals(r, k%5, 50_000)
		if k%2 == 1 {
			for i := 0; i < len(b); i += 2 {
				b[i], b[i+1] = b[i+1], b[i]
			}
		}
		total += len(b)
		for _, s := range proseOf(b, 1<<16) {
			alarms++
			t.Logf("signal %d: %q", k%5, s)
		}
	}
	t.Logf("%d alarms in %d bytes", alarms, total)
	if alarms > 0 || total < 60<<20 {
		t.Error("samples are taken for words")
	}
}

func TestProse(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	found, all := 0, 0
	for _, text := range []string{"patient was nervous before the test", "Ottoline Winter", "consultant",
		"Anneliese van der Zwaluwen", "Giacomo", "seen by Doctor Penhallowick",
		"KOWALSKA, HALINA", "Johannes Brandt", "Seraphine", "collected in the ward", "Brackenthwaite",
		"Kovalychenko Daryna", "Margaret", "telephone"} {
		letters := len(strings.Map(func(r rune) rune {
			if r < 128 && asciiLetter(byte(r)) {
				return r
			}
			return -1
		}, text))
		for range 20 {
			b := signals(r, r.IntN(5), 500)
			at := r.IntN(len(b) - len(text))
			b[max(0, at-1)], b[at+len(text)] = 0, 0
			copy(b[at:], text)
			hit := false
			for _, piece := range []int{1, 7, 1 << 20} {
				hit = strings.Contains(strings.Join(proseOf(b, piece), "|"), text)
				if letters >= 16 && !hit {
					t.Errorf("%q is not seen in pieces of %d", text, piece)
				}
				if letters < 8 && hit {
					t.Errorf("%q counts", text)
				}
			}
			if letters >= 8 {
				all++
				if hit {
					found++
				}
			}
		}
	}
	t.Logf("found %d of %d", found, all)
	if 4*found < 3*all {
		t.Error("fewer than three in four")
	}
}

func BenchmarkProse(b *testing.B) {
	data := signals(rand.New(rand.NewPCG(1, 1)), 0, 2<<20)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		w := NewProse(func(int64, int) {})
		w.Write(data)
		w.Close()
	}
}
