package leak

import (
	"encoding/binary"
	"math"
)

// A Hit is an occurrence of a literal.
type Hit struct {
	Offset  int64 // of its first byte, from the start of the stream
	Size    int   // bytes
	Literal int   // index in the list without repeated texts
	Column  string
	Border  Border
}

// A Stream searches bytes that arrive in pieces of any size. It keeps at most as many of
// them as the longest literal has, and allocates nothing per piece.
type Stream struct {
	l     *Literals
	found func(h Hit, text []byte)
	total int64  // bytes seen
	tail  []byte // the last of them
	edge  []byte // buffer for tail and the beginning of a piece
}

// Stream starts a search. It calls found once for each hit, in no particular order. text
// holds the bytes of the hit, which are valid only during the call.
func (l *Literals) Stream(found func(h Hit, text []byte)) *Stream {
	n := l.longest + 2*around
	return &Stream{l: l, found: found, tail: make([]byte, 0, n), edge: make([]byte, 0, 2*n)}
}

// Write searches p, except for its end, where later bytes decide. It never fails.
//
// A literal can be judged once `around` bytes after it are known. Literals that begin
// before p or in its first `around` bytes are searched in the joined end of the earlier
// pieces and beginning of p, all others in p itself.
func (s *Stream) Write(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	reach := cap(s.tail)
	s.edge = append(append(s.edge[:0], s.tail...), p[:min(len(p), reach)]...)
	from := s.total - int64(len(s.tail))
	s.look(s.edge, from, 0, s.total+around, s.total-around, from+int64(len(s.edge))-around)
	if len(p) > around {
		s.look(p, s.total, s.total+around, math.MaxInt64, 0, s.total+int64(len(p))-around)
	}
	s.total += int64(len(p))
	switch {
	case len(p) >= reach:
		s.tail = append(s.tail[:0], p[len(p)-reach:]...)
	default:
		over := max(0, len(s.edge)-reach)
		s.tail = append(s.tail[:0], s.edge[over:]...)
	}
	return len(p), nil
}

// Skip passes over n bytes of the stream without searching them. No literal extends
// into them or across them.
func (s *Stream) Skip(n int64) {
	s.flush()
	s.total += n
}

// Close searches the remaining bytes. It never fails.
func (s *Stream) Close() error {
	s.flush()
	return nil
}

func (s *Stream) flush() {
	from := s.total - int64(len(s.tail))
	s.look(s.tail, from, 0, math.MaxInt64, s.total-around, math.MaxInt64)
	s.tail = s.tail[:0]
}

// look finds literals in b, which begins at offset at of the stream. It reports those
// that begin at minStart or later, but before maxStart, and end after minEnd, but not
// after maxEnd.
func (s *Stream) look(b []byte, at, minStart, maxStart, minEnd, maxEnd int64) {
	judge := func(start, k int) {
		end := start + int(s.l.list[k].size)
		from, to := at+int64(start), at+int64(end)
		if from < minStart || from >= maxStart || to <= minEnd || to > maxEnd {
			return
		}
		if s.l.admits(k, start, end, b) {
			x := &s.l.list[k]
			s.found(Hit{from, end - start, k, s.l.columns[x.column], x.border}, b[start:end])
		}
	}
	s.l.lookLong(b, judge)
	s.l.lookShort(b, judge)
}

// lookLong calls judge for every occurrence of a long literal.
func (l *Literals) lookLong(b []byte, judge func(start, k int)) {
	set, shift := l.long.bits, l.long.shift&63
	if len(set) == 0 {
		return
	}
	i, mask, step := 0, l.sampling.mask(), l.sampling.step
	for ; i+3*step+8 <= len(b); i += 4 * step { // four windows at a time
		h0 := (binary.LittleEndian.Uint64(b[i:]) | smallBits) & mask * prime1 >> shift
		h1 := (binary.LittleEndian.Uint64(b[i+step:]) | smallBits) & mask * prime1 >> shift
		h2 := (binary.LittleEndian.Uint64(b[i+2*step:]) | smallBits) & mask * prime1 >> shift
		h3 := (binary.LittleEndian.Uint64(b[i+3*step:]) | smallBits) & mask * prime1 >> shift
		s0, s1, s2, s3 := set[h0>>6]>>(h0&63), set[h1>>6]>>(h1&63), set[h2>>6]>>(h2&63), set[h3>>6]>>(h3&63)
		if (s0|s1|s2|s3)&1 == 0 {
			continue
		}
		for k, s := range [4]uint64{s0, s1, s2, s3} {
			if s&1 != 0 {
				l.suspect(b, i+k*step, judge)
			}
		}
	}
	for ; i+l.sampling.q <= len(b); i += step {
		l.suspect(b, i, judge)
	}
}

// suspect calls judge for the long literals that have the q-gram at b[i] and occur there
// in full.
func (l *Literals) suspect(b []byte, i int, judge func(start, k int)) {
	key := l.sampling.key(b[i:])
	w := &l.long
	for e := w.heads[w.head(key*prime1)]; e != 0; e = w.entries[e].next {
		x := &w.entries[e]
		if x.key == key {
			if start := i - int(x.offset); l.same(b, start, int(x.literal)) {
				judge(start, int(x.literal))
			}
		}
	}
}

// same reports whether literal k is at b[start].
func (l *Literals) same(b []byte, start, k int) bool {
	text := l.of(k)
	if start < 0 || start+len(text) > len(b) {
		return false
	}
	b = b[start : start+len(text)]
	for i, c := range text {
		if small[b[i]] != c {
			return false
		}
	}
	return true
}
