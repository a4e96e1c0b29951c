package edf

// A Head gathers a header that arrives in pieces: the first 256 bytes, and 256 more
// for each signal that they announce. The zero Head is empty. It holds at most 1 MiB
// and judges nothing: [ReadHeader] does, of Bytes.
type Head struct {
	b     []byte
	whole bool
}

// Add takes from p what belongs to the header, and returns what follows it.
func (h *Head) Add(p []byte) (rest []byte) {
	for !h.whole && len(p) > 0 {
		take := min(len(p), h.size()-len(h.b))
		h.b = append(h.b, p[:take]...)
		p = p[take:]
		h.whole = len(h.b) == h.size()
	}
	return p
}

// size returns the bytes of the header, as far as it is known; 256 if it does not
// announce from 1 to MaxSignals signals.
func (h *Head) size() int {
	if len(h.b) >= 256 {
		if ns, ok := count(h.b, signals, 0, 0); ok && 1 <= ns && ns <= MaxSignals {
			return 256 * (1 + ns)
		}
	}
	return 256
}

// Whole reports whether the header has arrived to its end.
func (h *Head) Whole() bool { return h.whole }

// Bytes returns what has arrived of the header.
func (h *Head) Bytes() []byte { return h.b }
