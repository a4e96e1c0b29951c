package pack

import (
	"context"
	"crypto/sha256"
	"io"
	"os"
)

const (
	readSize  = 512 << 10 // bytes asked of the medium at once
	readAhead = 4
)

// A partsReader reads the parts of an archive as one stream and hashes each,
// on a goroutine of its own. Not safe for concurrent use.
type partsReader struct {
	ctx    context.Context
	chunks chan []byte // closed at the end
	free   chan []byte
	now    []byte // what is left of buf
	buf    []byte

	// Set before chunks is closed.
	sums []partSum
	err  error // of the medium or the context
}

// A partSum is what was really read of a part.
type partSum struct {
	bytes  int64
	sha256 [sha256.Size]byte
}

// readParts starts to read parts in root. progress may be nil.
func readParts(ctx context.Context, root *os.Root, parts []labelPart, progress func(done, total int64)) *partsReader {
	r := &partsReader{ctx: ctx, chunks: make(chan []byte, readAhead), free: make(chan []byte, readAhead)}
	for range readAhead {
		r.free <- make([]byte, readSize)
	}
	var total, done int64
	for _, p := range parts {
		total += p.Bytes
	}
	count := func(n int) {
		done += int64(n)
		if progress != nil {
			progress(done, total)
		}
	}
	go func() {
		defer close(r.chunks)
		for _, p := range parts {
			s, err := r.part(root, p, count)
			if err != nil {
				r.err = err
				return
			}
			r.sums = append(r.sums, s)
		}
	}()
	return r
}

// part reads one part, and at most one byte more than it should have.
func (r *partsReader) part(root *os.Root, p labelPart, count func(int)) (s partSum, err error) {
	f, err := openRegular(root, p.Name)
	if err != nil {
		return s, err
	}
	defer f.Close()
	h := sha256.New()
	for from := io.LimitReader(f, p.Bytes+1); ; {
		var buf []byte
		select {
		case buf = <-r.free:
		case <-r.ctx.Done():
			return s, context.Cause(r.ctx)
		}
		n, err := io.ReadFull(from, buf[:readSize])
		h.Write(buf[:n])
		s.bytes += int64(n)
		count(n)
		select {
		case r.chunks <- buf[:n]:
		case <-r.ctx.Done():
			return s, context.Cause(r.ctx)
		}
		switch err {
		case nil:
		case io.EOF, io.ErrUnexpectedEOF:
			s.sha256 = [sha256.Size]byte(h.Sum(nil))
			return s, nil
		default:
			return s, readError(p.Name, err)
		}
	}
}

// Read reads on. At the end it says io.EOF, also when the medium failed: ask
// finish.
func (r *partsReader) Read(b []byte) (int, error) {
	for len(r.now) == 0 {
		if !r.next() {
			return 0, io.EOF
		}
	}
	n := copy(b, r.now)
	r.now = r.now[n:]
	return n, nil
}

func (r *partsReader) next() (ok bool) {
	if r.buf != nil {
		r.free <- r.buf
	}
	r.buf, ok = <-r.chunks
	r.now = r.buf
	return ok
}

// finish reads what is left, so that every part is judged whatever its content
// was good for.
func (r *partsReader) finish() ([]partSum, error) {
	for r.next() {
	}
	r.now, r.buf = nil, nil
	return r.sums, r.err
}
