package edf

import "bytes"

// A Check makes the checks of [ReadHeader], [Header.Check] and [WalkAnnotations] on a recording
// that streams through: every rule of the header, the size that the header announces, and
// annotations that are texts with times. It is an io.Writer that holds only the header and the
// annotations of one data record.
type Check struct {
	size int64 // announced, in bytes
	at   int64 // bytes seen
	head Head
	h    *Header
	w    walk
	held [][]byte // annotation signals of the current data record
	in   []Range
	err  error
}

// NewCheck checks a recording of size bytes.
func NewCheck(size int64) *Check { return &Check{size: size} }

// Write takes the next bytes. It never returns an error: ask Close.
func (c *Check) Write(p []byte) (int, error) {
	n := len(p)
	for len(p) > 0 && c.err == nil {
		if c.h == nil {
			p = c.header(p)
			continue
		}
		if len(c.in) == 0 {
			c.at += int64(len(p))
			break
		}
		p = c.record(p)
	}
	return n, nil
}

// header consumes bytes until the header is complete, and returns those after it.
func (c *Check) header(p []byte) []byte {
	rest := c.head.Add(p)
	c.at += int64(len(p) - len(rest))
	if !c.head.Whole() {
		return rest
	}
	h, err := ReadHeader(bytes.NewReader(c.head.Bytes()))
	if err == nil {
		err = h.Check(c.size)
	}
	if c.err = err; err != nil {
		return nil
	}
	c.h, c.head, c.in = h, Head{}, h.AnnotationRanges()
	c.w = walk{fn: func(int, int64, string) error { return nil }, continuous: h.flag() == "EDF+C",
		step: h.RecordSeconds()}
	for _, r := range c.in {
		c.held = append(c.held, make([]byte, 0, r.Size))
	}
	return rest
}

// record consumes bytes up to the end of the current data record, and returns the rest.
func (c *Check) record(p []byte) []byte {
	size := c.h.RecordSize()
	begin := (c.at - c.h.HeaderSize()) % int64(size) // in the data record
	from, to := int(begin), min(size, int(begin)+len(p))
	for i, r := range c.in {
		if a, b := max(from, r.Offset), min(to, r.Offset+r.Size); a < b {
			c.held[i] = append(c.held[i], p[a-from:b-from]...)
		}
	}
	c.at += int64(to - from)
	if to == size {
		start := c.at - int64(size)
		for i, r := range c.in {
			if c.err = c.w.signal(c.held[i], start+int64(r.Offset), i == 0); c.err != nil {
				return nil
			}
			c.held[i] = c.held[i][:0]
		}
		c.w.record++
	}
	return p[to-from:]
}

// Close returns the first fault of the recording, a *FieldError, or nil.
func (c *Check) Close() error {
	switch {
	case c.err != nil:
		return c.err
	case c.h == nil:
		_, err := ReadHeader(bytes.NewReader(c.head.Bytes()))
		return err
	}
	return c.h.Check(c.at)
}
