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
	f := frameReader{src: r, buf: buf}
	size, checksum, err := f.header()
	for last := false; err == nil && !last; {
		last, err = f.block()
	}
	if err == nil && checksum {
		_, err = f.more(4)
	}
	if err != nil {
		return f.buf, 0, err
	}
	return f.buf, size, nil
}

// A frameReader collects the bytes of one frame.
type frameReader struct {
	src *bufio.Reader
	buf []byte
}

// more reads the next n bytes of the frame.
func (f *frameReader) more(n int) ([]byte, error) {
	from := len(f.buf)
	if from+n > maxFrame+maxBlock {
		return nil, errFrame
	}
	if cap(f.buf) < from+n {
		f.buf = append(make([]byte, 0, max(3*maxBlock, 2*cap(f.buf), from+n)), f.buf...)
	}
	f.buf = f.buf[:from+n]
	_, err := io.ReadFull(f.src, f.buf[from:])
	if err == io.EOF && from > 0 {
		err = io.ErrUnexpectedEOF
	}
	return f.buf[from:], err
}

// header reads the frame's header (RFC 8878, 3.1.1.1): the size of the content in bytes,
// and whether a checksum ends the frame.
func (f *frameReader) header() (size int, checksum bool, err error) {
	head, err := f.more(5)
	if err != nil {
		return 0, false, err
	}
	descriptor := head[4]
	single := descriptor>>5&1 == 1
	checksum = descriptor>>2&1 == 1
	sizeBytes := [4]int{0, 2, 4, 8}[descriptor>>6]
	if single && sizeBytes == 0 {
		sizeBytes = 1
	}
	// Bit 3 is reserved, bits 0 and 1 would announce a dictionary.
	if binary.LittleEndian.Uint32(head) != 0xFD2FB528 || descriptor&0b1011 != 0 || sizeBytes == 0 {
		return 0, false, errFrame
	}
	if !single {
		if _, err := f.more(1); err != nil { // the window, which the decoder bounds
			return 0, false, err
		}
	}
	field, err := f.more(sizeBytes)
	if err != nil {
		return 0, false, err
	}
	var content uint64
	for i, b := range field {
		content |= uint64(b) << (8 * i)
	}
	if sizeBytes == 2 {
		content += 256
	}
	if content == 0 || content > maxFrame {
		return 0, false, errFrame
	}
	return int(content), checksum, nil
}

// block reads one block with its header (RFC 8878, 3.1.1.2), and reports whether it is
// the last of the frame.
func (f *frameReader) block() (last bool, err error) {
	h, err := f.more(3)
	if err != nil {
		return false, err
	}
	block := uint32(h[0]) | uint32(h[1])<<8 | uint32(h[2])<<16
	n := int(block >> 3)
	if n > maxBlock {
		return false, errFrame
	}
	switch block >> 1 & 3 {
	case 1: // one byte, repeated
		n = 1
	case 3: // reserved
		return false, errFrame
	}
	_, err = f.more(n)
	return block&1 == 1, err
}
