package repair

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"

	"github.com/klauspost/reedsolomon"
)

// Encode writes the repair data of parts to w. It reads every byte of the parts
// once, in pieces of up to 256 KiB. The error is the context's, or one of parts or w.
func Encode(ctx context.Context, l Layout, parts []io.ReaderAt, w io.Writer) error {
	if err := l.check(); err != nil || len(parts) != l.Parts {
		return errLayout
	}
	if _, err := w.Write(l.Head()); err != nil {
		return err
	}
	for g := range l.groups() {
		if err := l.encodeGroup(ctx, g, parts, w); err != nil {
			return err
		}
	}
	_, err := w.Write(l.Head())
	return err
}

func (l Layout) encodeGroup(ctx context.Context, g int64, parts []io.ReaderAt, w io.Writer) error {
	data, repair := l.shards(g)
	buf := make([]byte, (data+repair)*blockSize)
	at := int64(0)
	for _, r := range l.runs(g) {
		if err := ctx.Err(); err != nil {
			return context.Cause(ctx)
		}
		if err := readAll(parts[r.part], buf[at:at+r.bytes], r.offset); err != nil {
			return err
		}
		at += r.n * blockSize
	}
	shards := cut(buf)
	coder, err := newCoder(data, repair)
	if err != nil {
		return err
	}
	if err := coder.Encode(shards); err != nil {
		return fmt.Errorf("repair data: %w", err)
	}
	table := newTable(g, shards)
	for _, b := range [][]byte{table, buf[data*blockSize:], table} {
		if _, err := w.Write(b); err != nil {
			return err
		}
	}
	return nil
}

func newCoder(data, repair int) (reedsolomon.Encoder, error) {
	c, err := reedsolomon.New(data, repair, reedsolomon.WithLeopardGF16(true))
	if err != nil {
		return nil, fmt.Errorf("repair data: %w", err)
	}
	return c, nil
}

// cut returns the blocks of buf.
func cut(buf []byte) [][]byte {
	blocks := make([][]byte, len(buf)/blockSize)
	for i := range blocks {
		blocks[i] = buf[i*blockSize : (i+1)*blockSize : (i+1)*blockSize]
	}
	return blocks
}

// readAll fills b.
func readAll(r io.ReaderAt, b []byte, offset int64) error {
	n, err := r.ReadAt(b, offset)
	if n == len(b) {
		return nil
	}
	if err == nil || err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return err
}

func blockSum(b []byte) [sumSize]byte {
	s := sha256.Sum256(b)
	return [sumSize]byte(s[:sumSize])
}

// newTable returns the table of group g.
func newTable(g int64, shards [][]byte) []byte {
	t := make([]byte, 0, tableSize(len(shards)))
	for _, b := range shards {
		s := blockSum(b)
		t = append(t, s[:]...)
	}
	s := tableSum(g, t)
	return append(t, s[:]...)
}

// tableSum binds a table to its group.
func tableSum(g int64, sums []byte) [sha256.Size]byte {
	h := sha256.New()
	binary.Write(h, binary.BigEndian, g)
	h.Write(sums)
	return [sha256.Size]byte(h.Sum(nil))
}
