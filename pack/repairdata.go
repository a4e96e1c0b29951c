package pack

import (
	"context"
	"errors"
	"fmt"
	"io"

	"outbreath/pack/media"
	"outbreath/pack/repair"
)

// repairData writes the repair data onto each medium and reads them back.
func (s *sealing) repairData(ctx context.Context) (made media.Part, err error) {
	files := make(map[*target]*media.Part)
	for _, t := range s.targets {
		files[t] = new(media.Part)
	}
	err = each(s.targets, func(t *target) error {
		q, err := t.repairData(ctx, s.o)
		if err != nil {
			return err
		}
		*files[t] = q
		return t.check(ctx, q)
	})
	made = *files[s.targets[0]]
	for _, t := range s.targets {
		if err == nil && *files[t] != made {
			err = mediaError(t.media, errors.New("took other bytes than the other medium"))
		}
	}
	return made, err
}

// repairData writes the repair data of the parts, which it reads from the
// medium once more.
func (t *target) repairData(ctx context.Context, o *SealOptions) (made media.Part, err error) {
	var sizes []int64
	var from []io.ReaderAt
	for _, p := range t.written {
		f, err := t.stage.Open(p.Name)
		if err != nil {
			return made, mediaError(t.media, err)
		}
		defer f.Close()
		sizes, from = append(sizes, p.Bytes), append(from, f)
	}
	l, err := repair.NewLayout(o.Repair, sizes)
	if err != nil {
		return made, fmt.Errorf("the archive %w", err)
	}
	limit, err := t.stage.FileLimit()
	if err != nil {
		return made, mediaError(t.media, err)
	}
	if limit > 0 && l.Size() > limit {
		return made, &MediaError{Path: t.media, Fault: RepairTooLarge,
			Err: errors.New("cannot hold so much repair data in one file")}
	}
	out := media.NewParts(t.stage, repairName(o.Number), 0)
	err = repair.Encode(ctx, l, from, out)
	var files []media.Part
	if err == nil {
		files, err = out.Finish()
	}
	if err != nil {
		out.Abort() // the folder goes in any case
		if ctx.Err() != nil {
			return made, context.Cause(ctx)
		}
		return made, mediaError(t.media, err)
	}
	return files[0], nil
}
