package pack

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"sync"

	"github.com/klauspost/compress/zstd"
)

const (
	maxFrame = 8 << 20   // bytes of plain data in one frame; outbreath writes pieceSize
	maxBlock = 128 << 10 // bytes of a block in a frame (RFC 8878, 3.1.1.2)
)

var errFrame = errors.New("is not compressed as outbreath does it")

// An unpacker is the inverse of a packer: it finds the frames of a stream,
// decompresses them by several workers and gives their data in order. It takes
// only frames that say how much is in them, without dictionary, of at most
// maxFrame bytes, so that memory is bounded whatever comes.
type unpacker struct {
	ctx    context.Context
	cancel context.CancelFunc

	free, work, order chan *piece
	now               *piece
	rest              []byte // what is left of now
	running           sync.WaitGroup
}

// newUnpacker starts workers on src. The caller ends them by stop.
func newUnpacker(ctx context.Context, src io.Reader, workers int) (*unpacker, error) {
	u := &unpacker{free: newPieces(), work: make(chan *piece, pieces), order: make(chan *piece, pieces)}
	decoders := make([]*zstd.Decoder, workers)
	for i := range decoders {
		var err error
		decoders[i], err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxMemory(maxFrame), zstd.WithDecoderMaxWindow(maxFrame), zstd.WithDecodeAllCapLimit(true))
		if err != nil {
			return nil, err
		}
	}
	u.ctx, u.cancel = context.WithCancel(ctx)
	for _, dec := range decoders {
		u.running.Go(func() {
			defer dec.Close()
			for q := range u.work {
				q.unpack(dec)
				q.done <- struct{}{}
			}
		})
	}
	u.running.Go(func() { u.split(bufio.NewReaderSize(src, 128<<10)) })
	return u, nil
}

// unpack decompresses the frame. The library's words are not passed on, because
// they may quote data, and its faults not either.
func (q *piece) unpack(dec *zstd.Decoder) {
	q.err = errFrame
	defer func() { recover() }()
	plain, err := dec.DecodeAll(q.packed, q.store[:0:q.size])
	if err == nil && len(plain) == q.size {
		q.plain, q.err = plain, nil
	}
}

// split hands on frame after frame, and at last a piece with the error that
// ended the stream, io.EOF included.
func (u *unpacker) split(src *bufio.Reader) {
	defer close(u.order)
	defer close(u.work)
	for {
		var q *piece
		select {
		case q = <-u.free:
		case <-u.ctx.Done():
			return
		}
		q.packed, q.size, q.err = readFrame(src, q.packed[:0])
		if q.err != nil {
			q.done <- struct{}{}
			u.order <- q
			return
		}
		if cap(q.store) < q.size {
			q.store = make([]byte, max(q.size, pieceSize))
		}
		u.work <- q
		u.order <- q
	}
}

// take returns the next data, at most n bytes, at least one. The bytes hold
// until the next call. The error may be io.EOF, errFrame or one of src.
func (u *unpacker) take(n int) ([]byte, error) {
	for len(u.rest) == 0 {
		if u.now != nil {
			u.free <- u.now
			u.now = nil
		}
		q, ok := <-u.order
		if !ok {
			if u.ctx.Err() != nil {
				return nil, context.Cause(u.ctx)
			}
			return nil, io.EOF
		}
		<-q.done
		if q.err != nil {
			return nil, q.err
		}
		u.now, u.rest = q, q.plain
	}
	b := u.rest[:min(n, len(u.rest))]
	u.rest = u.rest[len(b):]
	return b, nil
}

func (u *unpacker) Read(b []byte) (int, error) {
	p, err := u.take(len(b))
	return copy(b, p), err
}

// stop ends the workers; src is not read any more when it returns.
func (u *unpacker) stop() {
	u.cancel()
	for range u.order {
	}
	u.running.Wait()
}

// readFrame reads one zstd frame into buf and returns it with the size of its
// content. The error is io.EOF at the end of r, io.ErrUnexpectedEOF inside a
// frame, errFrame for a frame that we do not take.
//
// Source: RFC 8878, 3.1.1.
func readFrame(r *bufio.Reader, buf []byte) (frame []byte, size int, err error) {
	more := func(n int) ([]byte, error) {
		from := len(buf)
		if from+n > maxFrame+maxBlock {
			return nil, errFrame
		}
		if cap(buf) < from+n {
			buf = append(make([]byte, 0, max(3*maxBlock, 2*cap(buf), from+n)), buf...)
		}
		buf = buf[:from+n]
		_, err := io.ReadFull(r, buf[from:])
		if err == io.EOF && from > 0 {
			err = io.ErrUnexpectedEOF
		}
		return buf[from:], err
	}
	head, err := more(5)
	if err != nil {
		return buf, 0, err
	}
	descriptor := head[4]
	single := descriptor>>5&1 == 1
	checksum := descriptor>>2&1 == 1
	sizeBytes := [4]int{0, 2, 4, 8}[descriptor>>6]
	if single && sizeBytes == 0 {
		sizeBytes = 1
	}
	// Bit 3 is reserved, bits 0 and 1 would announce a dictionary.
	if binary.LittleEndian.Uint32(head) != 0xFD2FB528 || descriptor&0b1011 != 0 || sizeBytes == 0 {
		return buf, 0, errFrame
	}
	if !single {
		if _, err := more(1); err != nil { // the window, which the decoder bounds
			return buf, 0, err
		}
	}
	field, err := more(sizeBytes)
	if err != nil {
		return buf, 0, err
	}
	var content uint64
	for i, b := range field {
		content |= uint64(b) << (8 * i)
	}
	if sizeBytes == 2 {
		content += 256
	}
	if content == 0 || content > maxFrame {
		return buf, 0, errFrame
	}
	for last := false; !last; {
		h, err := more(3)
		if err != nil {
			return buf, 0, err
		}
		block := uint32(h[0]) | uint32(h[1])<<8 | uint32(h[2])<<16
		last = block&1 == 1
		n := int(block >> 3)
		if n > maxBlock {
			return buf, 0, errFrame
		}
		switch block >> 1 & 3 {
		case 1: // one byte, repeated
			n = 1
		case 3: // reserved
			return buf, 0, errFrame
		}
		if _, err := more(n); err != nil {
			return buf, 0, err
		}
	}
	if checksum {
		if _, err := more(4); err != nil {
			return buf, 0, err
		}
	}
	return buf, int(content), nil
}
