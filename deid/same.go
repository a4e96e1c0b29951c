package deid

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"

	"outbreath/schema"
)

// edfOwn is the length in bytes of the part of an EDF header that names patient, date
// and time. Copies of a recording may differ there. Source: EDF specification, header
// record.
const edfOwn = 256

// sample is how many bytes of a recording are compared before all of it is.
const sample = 64 << 10

// sameCurves reports recordings with equal content: one of them was copied, exported or
// named wrongly, and one subject's breath would be analysed as another's. Files of the
// same size are first compared by a sample from their middle, and read in full only if
// the samples are equal. Most collections are therefore not read a second time.
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

// parted splits a group of recordings into groups that are equal in the bytes from
// start to end. A recording that has changed or is gone is left out; reading it later
// reports that.
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
