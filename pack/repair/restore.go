package repair

import (
	"context"
	"errors"
	"io"
	"math/bits"
)

// A Range is a row of bytes of a part, [From, To).
type Range struct {
	Part     int // from 0
	From, To int64
}

// Damage is what Scan found.
type Damage struct {
	Ranges    []Range // damaged bytes in blocks, in order; at most the first 1000
	Bytes     int64   // damaged, all of them
	Repairing bool    // the repair data suffice
	Unknown   bool    // a table is lost: damage of its group is not in Ranges
}

const maxRanges = 1000

// ErrTooMuch says that more is damaged than can be computed again.
var ErrTooMuch = errors.New("more is damaged than the repair data can mend")

// FindLayout returns the layout of a repair file of size bytes, from its first
// head or, if that is damaged, from its last.
func FindLayout(file io.ReaderAt, size int64) (Layout, error) {
	head := make([]byte, HeadSize)
	for _, at := range []int64{0, size - HeadSize} {
		if at < 0 || readAll(file, head, at) != nil {
			continue
		}
		if l, err := ParseHead(head); err == nil && l.least() <= size && l.Size() == size {
			return l, nil
		}
	}
	return Layout{}, errLayout
}

// Scan compares parts with the tables of file. What cannot be read is damaged;
// so the error is the context's only, or that l does not belong to parts.
func Scan(ctx context.Context, l Layout, parts []io.ReaderAt, file io.ReaderAt) (*Damage, error) {
	if err := l.check(); err != nil || len(parts) != l.Parts {
		return nil, errLayout
	}
	d := &Damage{Repairing: true}
	bad := make([]uint64, ceil(l.blocks(), 64))
	at := int64(HeadSize)
	for g := range l.groups() {
		grp, err := l.readGroup(ctx, g, at, parts, file)
		if err != nil {
			return nil, err
		}
		d.Unknown = d.Unknown || grp.table == nil
		d.Repairing = d.Repairing && grp.repairable()
		k := 0
		for _, r := range grp.runs {
			for i := range r.n {
				if grp.shards[k] == nil {
					bad[(r.first+i)/64] |= 1 << ((r.first + i) % 64)
				}
				k++
			}
		}
		at += l.section(g)
	}
	l.ranges(d, bad)
	return d, nil
}

// ranges joins bad blocks to ranges.
func (l Layout) ranges(d *Damage, bad []uint64) {
	for w, word := range bad {
		for word != 0 {
			bit := bits.TrailingZeros64(word)
			word &= word - 1
			part, from := l.at(int64(w*64 + bit))
			to := min(from+blockSize, l.size(part))
			d.Bytes += to - from
			if last := len(d.Ranges) - 1; last >= 0 && d.Ranges[last].Part == part && d.Ranges[last].To == from {
				d.Ranges[last].To = to
			} else if len(d.Ranges) < maxRanges {
				d.Ranges = append(d.Ranges, Range{part, from, to})
			}
		}
	}
}

// Restore writes the parts anew, all their bytes, to out. The error is
// ErrTooMuch, the context's, or one of out. Only a comparison with a signed
// digest says that what came out is what was sealed.
func Restore(ctx context.Context, l Layout, parts []io.ReaderAt, file io.ReaderAt, out []io.WriterAt) error {
	if err := l.check(); err != nil || len(parts) != l.Parts || len(out) != l.Parts {
		return errLayout
	}
	at := int64(HeadSize)
	for g := range l.groups() {
		grp, err := l.readGroup(ctx, g, at, parts, file)
		if err != nil {
			return err
		}
		if err := grp.restore(); err != nil {
			return err
		}
		at, grp.k = at+l.section(g), 0
		for _, r := range grp.runs {
			if err := grp.write(r, out[r.part]); err != nil {
				return err
			}
		}
	}
	return nil
}

// A group is what could be read of the blocks of one group.
type group struct {
	runs         []run
	data, repair int
	shards       [][]byte // nil: damaged
	table        []byte   // nil: both copies are damaged
	k            int      // the next shard to write
}

func (l Layout) readGroup(ctx context.Context, g, at int64, parts []io.ReaderAt, file io.ReaderAt) (*group, error) {
	grp := &group{runs: l.runs(g)}
	grp.data, grp.repair = l.shards(g)
	size := tableSize(grp.data + grp.repair)
	grp.table = readTable(g, file, size, at, at+size+int64(grp.repair)*blockSize)
	grp.shards = cut(make([]byte, (grp.data+grp.repair)*blockSize))
	k := 0
	take := func(r io.ReaderAt, offset, bytes int64, n int) {
		for i := range n {
			b := grp.shards[k][:min(blockSize, bytes-int64(i)*blockSize)]
			if readAll(r, b, offset+int64(i)*blockSize) != nil || !grp.good(k) {
				grp.shards[k] = nil
			}
			k++
		}
	}
	for _, r := range grp.runs {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		take(parts[r.part], r.offset, r.bytes, int(r.n))
	}
	take(file, at+size, int64(grp.repair)*blockSize, grp.repair)
	return grp, nil
}

// readTable returns the table from the first of its places where it is whole.
func readTable(g int64, file io.ReaderAt, size int64, places ...int64) []byte {
	for _, at := range places {
		t := make([]byte, size)
		if readAll(file, t, at) != nil {
			continue
		}
		sums := t[:size-int64(len(tableSum(g, nil)))]
		if s := tableSum(g, sums); string(s[:]) == string(t[len(sums):]) {
			return sums
		}
	}
	return nil
}

// good reports whether block k agrees with the table; without a table it is
// believed.
func (g *group) good(k int) bool {
	if g.table == nil {
		return true
	}
	s := blockSum(g.shards[k])
	return string(s[:]) == string(g.table[k*sumSize:(k+1)*sumSize])
}

func (g *group) lost() (n int) {
	for _, b := range g.shards {
		if b == nil {
			n++
		}
	}
	return n
}

func (g *group) repairable() bool { return g.lost() <= g.repair }

// restore computes the damaged blocks of data.
func (g *group) restore() error {
	switch n := g.lost(); {
	case n == 0:
		return nil
	case n > g.repair:
		return ErrTooMuch
	}
	coder, err := newCoder(g.data, g.repair)
	if err != nil {
		return err
	}
	if coder.ReconstructData(g.shards) != nil {
		return ErrTooMuch
	}
	for k := range g.data {
		if !g.good(k) {
			return ErrTooMuch
		}
	}
	return nil
}

// write writes the next run.
func (g *group) write(r run, out io.WriterAt) error {
	buf := make([]byte, 0, r.n*blockSize)
	for range r.n {
		buf = append(buf, g.shards[g.k]...)
		g.k++
	}
	_, err := out.WriteAt(buf[:r.bytes], r.offset)
	return err
}
