package deid

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"

	"outbreath/schema"
)

// edfOwn is how much of an EDF file says whose it is: the rest would be equal
// in a copy with another patient line. Source: EDF specification, header record.
const edfOwn = 256

// sample is how much of a recording is looked at before all of it.
const sample = 64 << 10

// sameCurves names recordings of equal content in two places: one of them was copied,
// exported or named wrongly, and one subject's breath would stand for
// another's. Files of one size are compared by a piece from their middle, and
// only where that is equal to the end, so that the usual collection is not read
// a second time.
func (d *draft) sameCurves() ([]schema.Problem, error) {
	type kind struct {
		format string
		size   int64
	}
	sizes := map[kind][]*recording{}
	var order []kind
	for _, s := range d.sessions {
		for i := range s.recordings {
			r := &s.recordings[i]
			k := kind{r.Format, r.Size}
			if sizes[k] == nil {
				order = append(order, k)
			}
			sizes[k] = append(sizes[k], r)
		}
	}
	var problems []schema.Problem
	for _, k := range order {
		alike := [][]*recording{sizes[k]}
		start := int64(0)
		if k.format == "edf" {
			start = min(edfOwn, k.size)
		}
		middle := max(start, k.size/2-sample/2)
		for _, stretch := range [][2]int64{{middle, min(k.size, middle+sample)}, {start, k.size}} {
			var next [][]*recording
			for _, group := range alike {
				if len(group) < 2 {
					continue
				}
				parted, err := d.parted(group, stretch[0], stretch[1])
				if err != nil {
					return nil, err
				}
				next = append(next, parted...)
			}
			alike = next
		}
		for _, group := range alike {
			for _, r := range group[min(1, len(group)):] {
				problems = append(problems, schema.Problem{File: r.File, Rule: "recording.same", Severity: schema.Error,
					Message: fmt.Sprintf("this recording holds the same curve as %q, byte for byte: find out which "+
						"session it belongs to, and put the right file in place of the other", group[0].File)})
			}
		}
	}
	return problems, nil
}

// parted sorts recordings by the bytes from start to end. A recording that has
// changed or gone is left out: reading it says so.
func (d *draft) parted(group []*recording, start, end int64) ([][]*recording, error) {
	bySum := map[[sha256.Size]byte]int{}
	var out [][]*recording
	for _, r := range group {
		f, err := r.open(d.c.Root)
		if errors.As(err, new(*schema.QueriesError)) {
			continue
		} else if err != nil {
			return nil, err
		}
		h := sha256.New()
		_, err = io.Copy(h, io.NewSectionReader(f.File, start, end-start))
		f.Close()
		if err != nil {
			return nil, r.unreadable(err)
		}
		sum := [sha256.Size]byte(h.Sum(nil))
		i, ok := bySum[sum]
		if !ok {
			i = len(out)
			bySum[sum] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], r)
	}
	return out, nil
}
