package pack

import (
	"cmp"
	"context"

	"outbreath/deid"
	"outbreath/pack/media"
)

// Rehearse does with c all that [Seal] does before a medium counts, and by the
// same code: names, sizes and counts, every reader to its end, both searches of
// what would be in the bag, the manifests. It writes nothing anywhere and needs
// neither recipient nor signer. Of o it takes Number, Program, Workers and Progress.
//
// The error is what Seal's would be. When it is nil, Seal of the same c can fail
// only by the medium, the recipients, the signer or BeforeCommit.
func Rehearse(ctx context.Context, c *deid.Cleared, o SealOptions) error {
	p, err := payloadOf(c)
	if err != nil {
		return err
	}
	return rehearse(ctx, p, o)
}

func rehearse(ctx context.Context, p *payload, o SealOptions) error {
	if err := cmp.Or(p.check(o.Number), checkProgram(o.Program)); err != nil {
		return err
	}
	w := newBagWriter(&nowhere{ctx: ctx}, p, &o)
	defer w.close()
	_, err := w.contents(p)
	return err
}

// HasSpace looks at the media, folders that exist, as Seal would before it writes:
// whether they are apart, have no shipment of that number, and have space for c.
// It writes nothing, so it does not know whether they can be written. The error
// is as Seal's.
func HasSpace(c *deid.Cleared, folders []string, number string) error {
	p, err := payloadOf(c)
	if err != nil {
		return err
	}
	s := &sealing{p: p, targets: targetsOn(media.OS{}, folders, number)}
	defer func() {
		for _, t := range s.targets {
			t.end(false)
		}
	}()
	return s.look(false)
}

// nowhere is a sink that keeps nothing.
type nowhere struct {
	ctx   context.Context
	space []byte
}

func (n *nowhere) Write(b []byte) (int, error) { return len(b), n.ctx.Err() }
func (n *nowhere) fill(int)                    {}

func (n *nowhere) buffer() ([]byte, error) {
	if n.space == nil {
		n.space = make([]byte, nearBytes)
	}
	return n.space, n.ctx.Err()
}
