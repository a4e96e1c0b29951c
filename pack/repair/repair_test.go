package repair

import (
	"bytes"
	"context"
	"io"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// parts cuts data into parts of size bytes.
func parts(data []byte, size int) (parts [][]byte, sizes []int64) {
	for len(data) > 0 {
		n := min(size, len(data))
		parts = append(parts, bytes.Clone(data[:n]))
		sizes = append(sizes, int64(n))
		data = data[n:]
	}
	return parts, sizes
}

func random(seed uint64, n int) []byte {
	b := make([]byte, n)
	r := rand.NewChaCha8([32]byte{byte(seed), byte(seed >> 8), byte(seed >> 16)})
	r.Read(b)
	return b
}

func readers(parts [][]byte) (r []io.ReaderAt) {
	for _, p := range parts {
		r = append(r, bytes.NewReader(p))
	}
	return r
}

type sink []byte

func (s sink) WriteAt(b []byte, off int64) (int, error) { return copy(s[off:], b), nil }

// restored returns what Restore makes of damaged parts.
func restored(l Layout, damaged [][]byte, file []byte) ([]byte, error) {
	var out []io.WriterAt
	var bufs []sink
	for i := range l.Parts {
		bufs = append(bufs, make(sink, l.size(i)))
		out = append(out, bufs[i])
	}
	err := Restore(context.Background(), l, readers(damaged), bytes.NewReader(file), out)
	var all []byte
	for _, b := range bufs {
		all = append(all, b...)
	}
	return all, err
}

func encode(t rapid.TB, l Layout, p [][]byte) []byte {
	var file bytes.Buffer
	if err := Encode(context.Background(), l, readers(p), &file); err != nil {
		t.Fatal(err)
	}
	if int64(file.Len()) != l.Size() {
		t.Fatalf("the file has %d bytes, Size says %d", file.Len(), l.Size())
	}
	return file.Bytes()
}

// TestAnyBlocks loses as many blocks as there are repair blocks, of data and of
// repair, wherever they are, and one more.
func TestAnyBlocks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := random(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(1, 300_000).Draw(t, "bytes"))
		p, sizes := parts(data, rapid.IntRange(max(1, len(data)/20), len(data)).Draw(t, "part"))
		l, err := NewLayout(rapid.IntRange(MinPercent, MaxPercent).Draw(t, "percent"), sizes)
		if err != nil {
			t.Fatal(err)
		}
		file := encode(t, l, p)
		n, repair := l.shards(0)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "where"), 1))
		lost := r.Perm(n + repair)[:min(repair, n+repair)]
		spoil := func(k int) {
			if k >= n {
				file[int64(HeadSize)+tableSize(n+repair)+int64(k-n)*blockSize+
					int64(r.IntN(blockSize))] ^= 1 << r.IntN(8)
				return
			}
			part, offset := l.at(int64(k))
			length := min(blockSize, l.size(part)-offset)
			p[part][offset+r.Int64N(length)] ^= 1 << r.IntN(8)
		}
		bad := int64(0)
		for _, k := range lost {
			spoil(k)
			if k < n {
				part, offset := l.at(int64(k))
				bad += min(blockSize, l.size(part)-offset)
			}
		}
		d, err := Scan(context.Background(), l, readers(p), bytes.NewReader(file))
		if err != nil || !d.Repairing || d.Unknown || d.Bytes != bad {
			t.Fatalf("Scan: %+v %v; %d bytes are damaged", d, err, bad)
		}
		got, err := restored(l, p, file)
		if err != nil || !bytes.Equal(got, data) {
			t.Fatalf("not restored: %v", err)
		}
		for k := range n + repair {
			if !contains(lost, k) {
				spoil(k)
				break
			}
		}
		if _, err := restored(l, p, file); err != ErrTooMuch {
			t.Fatalf("one block too many: %v", err)
		}
	})
}

func contains(in []int, k int) bool {
	for _, x := range in {
		if x == k {
			return true
		}
	}
	return false
}

// TestManyGroups is larger than one group, with a hole in one place and parts
// cut off.
func TestManyGroups(t *testing.T) {
	data := random(5, 40<<20)
	p, sizes := parts(data, 9<<20+77)
	l, err := NewLayout(5, sizes)
	if err != nil {
		t.Fatal(err)
	}
	if l.groups() != 3 {
		t.Fatalf("%d groups", l.groups())
	}
	file := encode(t, l, p)
	clear(p[1][3<<20 : 4<<20+300<<10])
	p[4] = p[4][:len(p[4])-100<<10]
	clear(file[:HeadSize])
	if l2, err := FindLayout(bytes.NewReader(file), l.Size()); err != nil || l2 != l {
		t.Fatalf("the layout is not found in the last head: %v", err)
	}
	clear(file[HeadSize : HeadSize+4000]) // of a table
	d, err := Scan(context.Background(), l, readers(p), bytes.NewReader(file))
	if err != nil || !d.Repairing || len(d.Ranges) != 2 {
		t.Fatalf("%+v %v", d, err)
	}
	if got, err := restored(l, p, file); err != nil || !bytes.Equal(got, data) {
		t.Fatalf("not restored: %v", err)
	}
}

// FuzzParseHead holds the parser to its inverse.
func FuzzParseHead(f *testing.F) {
	f.Add(Layout{5, 1, 100, 100}.Head())
	f.Add(Layout{50, 999, 1<<32 - 1, 1}.Head())
	f.Fuzz(func(t *testing.T, head []byte) {
		l, err := ParseHead(head)
		if err == nil && !bytes.Equal(l.Head(), head) {
			t.Fatal("another head")
		}
	})
}

// FuzzRestore gives damaged files to all that reads them: never a fault, and
// what is called restored agrees with the tables.
func FuzzRestore(f *testing.F) {
	data := random(1, 5000)
	p, sizes := parts(data, 3000)
	l, _ := NewLayout(5, sizes)
	var file bytes.Buffer
	Encode(context.Background(), l, readers(p), &file)
	f.Add(file.Bytes(), data)
	f.Add(file.Bytes()[:3000], data[:100])
	f.Fuzz(func(t *testing.T, file, data []byte) {
		found, err := FindLayout(bytes.NewReader(file), int64(len(file)))
		if err != nil || found != l {
			found = l
		}
		in := [][]byte{data[:min(3000, len(data))], data[min(3000, len(data)):]}
		if _, err := Scan(context.Background(), found, readers(in), bytes.NewReader(file)); err != nil {
			t.Fatal(err)
		}
		restored(found, in, file)
	})
}
