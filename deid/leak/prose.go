package leak

import (
	"math"
	"sync"
)

// Prose finds words among bytes that are not text, such as the samples of a recording:
// runs of eight or more ASCII letters with the letter pairs of words. It knows no roster
// and is not exact: a person must look at the places that it reports.
//
// It does not report 16-bit samples whose high bytes happen to be letters. Every second
// byte of these changes little, or steadily, from sample to sample.
type Prose struct {
	found func(offset int64, size int)
	total int64  // bytes seen
	tail  []byte // the last of them, if a run may continue
}

const (
	leastProse = 8   // letters in a run
	mostProse  = 256 // bytes of a run; a longer one is reported in pieces
	proseBits  = 9   // a run must be 2^proseBits times likelier among words than among random letters
)

// NewProse returns a Prose that calls found with the offset and the size in bytes of
// every run.
func NewProse(found func(offset int64, size int)) *Prose { return &Prose{found: found} }

// Write takes the next bytes. It never fails.
func (w *Prose) Write(p []byte) (int, error) {
	n := len(p)
	if len(w.tail) > 0 { // a run continues
		k := 0
		for k < len(p) && proseByte[p[k]] && len(w.tail) < mostProse {
			k++
			w.tail = append(w.tail, p[k-1])
		}
		w.total += int64(k)
		if p = p[k:]; len(p) == 0 {
			return n, nil
		}
		w.end()
	}
	before := false
	for i := 3; i < len(p); i += 4 { // a run of eight bytes or more contains two that are examined
		if here := proseByte[p[i]]; !here || !before {
			before = here
			continue
		}
		s, e := i, i+1
		for s > 0 && i-s < mostProse && proseByte[p[s-1]] {
			s--
		}
		for e < len(p) && e-s < mostProse && proseByte[p[e]] {
			e++
		}
		if e == len(p) {
			break
		}
		if e-s >= leastProse {
			w.judge(p[s:e], w.total+int64(s))
		}
		i, before = (e&^3)-1, false
	}
	w.total += int64(len(p))
	s := len(p)
	for s > 0 && len(p)-s < mostProse && proseByte[p[s-1]] {
		s--
	}
	w.tail = append(w.tail, p[s:]...)
	return n, nil
}

// Skip passes over n bytes without searching them. No run extends across them.
func (w *Prose) Skip(n int64) {
	w.end()
	w.total += n
}

// Close judges the run at the end, if there is one. It never fails.
func (w *Prose) Close() error {
	w.end()
	return nil
}

func (w *Prose) end() {
	if len(w.tail) >= leastProse {
		w.judge(w.tail, w.total-int64(len(w.tail)))
	}
	w.tail = w.tail[:0]
}

// judge reports the run b at offset at, without the marks at its ends, if it reads as
// words.
func (w *Prose) judge(b []byte, at int64) {
	for len(b) > 0 && !asciiLetter(b[0]) {
		b, at = b[1:], at+1
	}
	for len(b) > 0 && !asciiLetter(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	if isProse(b) {
		w.found(at, len(b))
	}
}

// isProse reports whether b reads as words.
func isProse(b []byte) bool {
	letters, marks, bits := 0, 0, 0.0
	model := letterPairs()
	for i, c := range b {
		if !asciiLetter(c) {
			if marks++; i > 0 && !asciiLetter(b[i-1]) {
				return false // two marks
			}
			continue
		}
		letters++
		before := byte(26)
		if i > 0 && asciiLetter(b[i-1]) {
			before = b[i-1] | 0x20 - 'a'
			small, now := b[i-1]&0x20 != 0, c&0x20 != 0
			if small && !now || !small && now && i > 1 && asciiLetter(b[i-2]) && b[i-2]&0x20 == 0 {
				bits -= 3 // aB, ABc
			}
		}
		bits += model[before][c|0x20-'a']
	}
	return letters >= leastProse && 3*marks <= letters && bits >= proseBits && !steady(b, 0) && !steady(b, 1)
}

// steady reports whether every second byte of b from b[from] on could be from a curve:
// it hardly changes, or moves in one direction in small steps.
func steady(b []byte, from int) bool {
	flat, up, down := true, true, true
	for i := from + 2; i < min(len(b), 24); i += 2 {
		d := int(b[i]) - int(b[i-2])
		flat = flat && -2 <= d && d <= 2
		up = up && 0 <= d && d <= 8
		down = down && -8 <= d && d <= 0
	}
	return flat || up || down
}

func asciiLetter(c byte) bool { return 'a' <= c|0x20 && c|0x20 <= 'z' }

// proseByte marks letters, and the marks between words and names.
var proseByte = func() (t [256]bool) {
	for c := range t {
		t[c] = asciiLetter(byte(c))
	}
	for _, c := range []byte(" .,'-_") {
		t[c] = true
	}
	return t
}()

// letterPairs returns, for each letter (0 to 25) after another, or at the start of a
// word (26), by how many bits it is likelier in the words of the vocabulary than by
// chance.
var letterPairs = sync.OnceValue(func() *[27][26]float64 {
	var n [27][26]float64
	for w := range vocabulary() {
		before := 26
		for _, c := range []byte(w) {
			if !asciiLetter(c) {
				before = 26
				continue
			}
			n[before][c-'a']++
			before = int(c - 'a')
		}
	}
	for k := range n {
		sum := 0.0
		for _, x := range n[k] {
			sum += x + 0.5
		}
		for c, x := range n[k] {
			n[k][c] = math.Log2((x + 0.5) / sum * 26)
		}
	}
	return &n
})
