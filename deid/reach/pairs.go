package reach

// pairs numbers pairs of small numbers in the order in which they come: in a table while the
// table is small, else in a map.
type pairs struct {
	n     int // distinct pairs so far
	width uint64
	epoch uint32
	slots []slot
	large map[uint64]uint32 // nil: the table is in use
}

type slot struct{ epoch, number uint32 }

// maxSlots bounds the table: 8 MB.
const maxSlots = 1 << 20

// reset forgets all pairs. The first of a pair will be less than rows, the second less than width.
func (p *pairs) reset(rows, width int) {
	p.n, p.width, p.large = 0, uint64(width), nil
	if rows*width > maxSlots {
		p.large = map[uint64]uint32{}
		return
	}
	if p.epoch++; p.epoch == 0 || len(p.slots) < rows*width {
		p.slots, p.epoch = make([]slot, max(rows*width, 1<<14)), 1
	}
}

// number returns the number of a pair, and whether it came before.
func (p *pairs) number(a, b uint32) (n uint32, again bool) {
	key := uint64(a)*p.width + uint64(b)
	if p.large != nil {
		if n, ok := p.large[key]; ok {
			return n, true
		}
		p.large[key] = uint32(p.n)
	} else if s := &p.slots[key]; s.epoch == p.epoch {
		return s.number, true
	} else {
		*s = slot{p.epoch, uint32(p.n)}
	}
	p.n++
	return uint32(p.n - 1), false
}
