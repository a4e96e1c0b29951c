package repair

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
)

const (
	blockSize   = BlockSize
	runBlocks   = 256   // blocks in a row that go to one group
	groupBlocks = 16384 // of data in a group, at most
	leastRepair = 8     // repair blocks of a group, at least
	sumSize     = 8     // bytes kept of a block's SHA-256

	// BlockSize is the unit in which damage is counted, in bytes.
	BlockSize = 1024

	// HeadSize is the length of the head in bytes.
	HeadSize = 512

	maxParts = 999
	maxPart  = 1 << 44 // bytes
)

// MinPercent and MaxPercent bound the share of repair data.
const (
	MinPercent = 1
	MaxPercent = 50
)

// A Layout says what a repair file is for. All parts but the last have equal
// length.
type Layout struct {
	Percent int   // repair blocks in a hundred blocks of data, rounded up
	Parts   int   // 1 to 999
	Part    int64 // bytes of each part but the last; of the only part
	Last    int64 // bytes of the last part, at most Part
}

// NewLayout returns the layout for parts of these lengths.
func NewLayout(percent int, parts []int64) (Layout, error) {
	if len(parts) == 0 {
		return Layout{}, errLayout
	}
	l := Layout{percent, len(parts), parts[0], parts[len(parts)-1]}
	for _, n := range parts[:len(parts)-1] {
		if n != l.Part {
			return Layout{}, errLayout
		}
	}
	return l, l.check()
}

var errLayout = errors.New("is not in the form of repair data")

func (l Layout) check() error {
	if l.Percent < MinPercent || l.Percent > MaxPercent || l.Parts < 1 || l.Parts > maxParts ||
		l.Last < 1 || l.Last > l.Part || l.Part > maxPart || l.Parts == 1 && l.Last != l.Part {
		return errLayout
	}
	return nil
}

const headForm = "outbreath-repair-1\npercent %d\nparts %d\npart-bytes %d\nlast-bytes %d\n"

// Head returns the head: HeadSize bytes.
func (l Layout) Head() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, headForm, l.Percent, l.Parts, l.Part, l.Last)
	fmt.Fprintf(&b, "sha256 %x\n", sha256.Sum256(b.Bytes()))
	return append(b.Bytes(), bytes.Repeat([]byte("\n"), HeadSize-b.Len())...)
}

// ParseHead reads exactly what Head returns. The error holds no content.
func ParseHead(head []byte) (Layout, error) {
	var l Layout
	if len(head) != HeadSize {
		return l, errLayout
	}
	if _, err := fmt.Sscanf(string(head), headForm, &l.Percent, &l.Parts, &l.Part, &l.Last); err != nil {
		return Layout{}, errLayout
	}
	if err := l.check(); err != nil {
		return Layout{}, err
	}
	if !bytes.Equal(l.Head(), head) {
		return Layout{}, errLayout
	}
	return l, nil
}

func ceil(n, by int64) int64 { return (n + by - 1) / by }

// size returns the length of a part.
func (l Layout) size(part int) int64 {
	if part == l.Parts-1 {
		return l.Last
	}
	return l.Part
}

func (l Layout) blocks() int64 {
	return int64(l.Parts-1)*ceil(l.Part, blockSize) + ceil(l.Last, blockSize)
}

func (l Layout) groups() int64 { return ceil(l.blocks(), groupBlocks) }

// at returns the part and the offset of block i.
func (l Layout) at(i int64) (part int, offset int64) {
	per := ceil(l.Part, blockSize)
	return int(i / per), i % per * blockSize
}

// A run is a sequence of blocks in one part.
type run struct {
	first, n int64 // block numbers
	part     int
	offset   int64 // bytes, in the part
	bytes    int64 // of the part; less than n blocks at its end
}

// runs returns the data of group g in order.
func (l Layout) runs(g int64) (runs []run) {
	all, per := l.blocks(), ceil(l.Part, blockSize)
	for from := g * runBlocks; from < all; from += l.groups() * runBlocks {
		for i, end := from, min(from+runBlocks, all); i < end; {
			part, offset := l.at(i)
			n := min(end, int64(part+1)*per) - i
			runs = append(runs, run{i, n, part, offset, min(n*blockSize, l.size(part)-offset)})
			i += n
		}
	}
	return runs
}

// shards returns how many blocks of data and of repair group g has.
func (l Layout) shards(g int64) (data, repair int) {
	all := l.blocks()
	for from := g * runBlocks; from < all; from += l.groups() * runBlocks {
		data += int(min(runBlocks, all-from))
	}
	return data, max(leastRepair, int(ceil(int64(data)*int64(l.Percent), 100)))
}

func tableSize(shards int) int64 { return int64(shards)*sumSize + sha256.Size }

func (l Layout) section(g int64) int64 {
	data, repair := l.shards(g)
	return 2*tableSize(data+repair) + int64(repair)*blockSize
}

// least is less than Size, and costs nothing to compute of a layout that a damaged
// or hostile file claims.
func (l Layout) least() int64 { return l.blocks() / 100 * int64(l.Percent) * blockSize }

// Size returns the length of the repair file in bytes.
func (l Layout) Size() int64 {
	size := int64(2 * HeadSize)
	for g := range l.groups() {
		size += l.section(g)
	}
	return size
}
