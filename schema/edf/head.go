package edf

// A Head collects a header that arrives in pieces: the first 256 bytes, and 256 more for each
// signal that they announce. The zero Head is empty. It holds at most 1 MiB. It checks nothing:
// give Bytes to [ReadHeader] for that.
type Head struct {
	b     []byte
	whole bool
}

// Add takes the bytes of p that belong to the header, and returns the rest.
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

// Whole reports whether the header is complete.
func (h *Head) Whole() bool { return h.whole }

// Bytes returns the bytes of the header so far.
func (h *Head) Bytes() []byte { return h.b }
