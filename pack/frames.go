package pack

import (
	"context"
	"io"
	"sync"

	"github.com/klauspost/compress/zstd"
)

const (
	pieceSize = 1 << 20   // bytes of plain data in one zstd frame
	window    = 128 << 10 // how far back the encoder looks: farther made csv larger, not smaller
	pieces    = 8         // in flight; what a job holds is about 2 * pieces * pieceSize
)

// A piece is one frame, plain and packed, on its way through the workers.
type piece struct {
	plain  []byte
	packed []byte
	done   chan struct{} // of capacity 1: the worker is through

	// Unpacking only.
	store []byte // where plain is put
	size  int    // of plain, as the frame says
	err   error
}

func newPieces() chan *piece {
	free := make(chan *piece, pieces)
	for range pieces {
		free <- &piece{done: make(chan struct{}, 1)}
	}
	return free
}

// A packer cuts a stream into pieces and writes each to dst as a zstd frame of
// its own, compressed by several workers and written in order. `zstd -d` reads
// the frames as one stream. Memory does not depend on the stream's length.
type packer struct {
	ctx    context.Context
	cancel context.CancelCauseFunc
	dst    io.Writer

	free, work, order chan *piece
	now               *piece // being filled
	running           sync.WaitGroup
	stopOnce          sync.Once
}

// newPacker starts workers. An error of dst cancels the packer's context; the
// caller ends it by close or abort.
func newPacker(ctx context.Context, dst io.Writer, workers int) (*packer, error) {
	p := &packer{dst: dst, free: newPieces(), work: make(chan *piece, pieces), order: make(chan *piece, pieces)}
	p.ctx, p.cancel = context.WithCancelCause(ctx)
	encoders := make([]*zstd.Encoder, workers)
	for i := range encoders {
		var err error
		// Samples of 16 bits repeat nothing, but their upper bytes are few: their
		// entropy alone takes off a tenth, at three times the default level's speed.
		encoders[i], err = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest),
			zstd.WithAllLitEntropyCompression(true), zstd.WithEncoderCRC(false), zstd.WithEncoderConcurrency(1),
			zstd.WithWindowSize(window), zstd.WithSingleSegment(true), zstd.WithLowerEncoderMem(true))
		if err != nil {
			return nil, err
		}
	}
	for _, enc := range encoders {
		p.running.Go(func() {
			for q := range p.work {
				q.packed = enc.EncodeAll(q.plain, q.packed[:0])
				q.done <- struct{}{}
			}
		})
	}
	p.running.Go(p.write)
	return p, nil
}

// write takes the pieces in order. After an error it only hands them back.
func (p *packer) write() {
	for q := range p.order {
		<-q.done
		if p.ctx.Err() == nil {
			if _, err := p.dst.Write(q.packed); err != nil {
				p.cancel(err)
			}
		}
		p.free <- q
	}
}

// buffer returns at least one byte of space to fill, to be followed by fill.
func (p *packer) buffer() ([]byte, error) {
	if p.ctx.Err() != nil {
		return nil, context.Cause(p.ctx)
	}
	if p.now == nil {
		select {
		case p.now = <-p.free:
		case <-p.ctx.Done():
			return nil, context.Cause(p.ctx)
		}
		if p.now.plain == nil {
			p.now.plain = make([]byte, 0, pieceSize)
		}
		p.now.plain = p.now.plain[:0]
	}
	return p.now.plain[len(p.now.plain):pieceSize], nil
}

// fill says that n bytes of the buffer hold data.
func (p *packer) fill(n int) {
	p.now.plain = p.now.plain[:len(p.now.plain)+n]
	if len(p.now.plain) == pieceSize {
		p.send()
	}
}

func (p *packer) send() {
	p.work <- p.now
	p.order <- p.now
	p.now = nil
}

func (p *packer) Write(b []byte) (n int, err error) {
	for len(b) > 0 {
		space, err := p.buffer()
		if err != nil {
			return n, err
		}
		m := copy(space, b)
		p.fill(m)
		n, b = n+m, b[m:]
	}
	return n, nil
}

// close writes what is left and ends the workers.
func (p *packer) close() error {
	if p.now != nil && len(p.now.plain) > 0 && p.ctx.Err() == nil {
		p.send()
	}
	p.stop()
	err := context.Cause(p.ctx)
	p.cancel(nil)
	return err
}

// abort ends the workers without writing more. After close it does nothing.
func (p *packer) abort() {
	p.cancel(nil)
	p.stop()
}

func (p *packer) stop() {
	p.stopOnce.Do(func() {
		close(p.work)
		close(p.order)
	})
	p.running.Wait()
}
