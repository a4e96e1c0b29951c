package pack

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"slices"

	"outbreath/pack/repair"
)

// Damage is which ranges of a signed archive are damaged. Nothing in it is an
// acceptance.
type Damage struct {
	Ranges   []DamagedRange `json:"ranges"`   // in order; the first thousand
	Bytes    int64          `json:"bytes"`    // of the archive, damaged, in all
	Unit     int64          `json:"unit"`     // damage is counted in pieces of so many bytes
	Unplaced bool           `json:"unplaced"` // some has no place: the archive's head, a table of the repair data
	Mendable bool           `json:"mendable"` // the repair data suffice
	Salvage  *Salvage       `json:"sessions"` // nil: the head of the archive is damaged, or this key does not open it
}

// Beyond reports whether there are repair data, and more is damaged than they can mend.
func (d *Damage) Beyond() bool {
	return d.Bytes > 0 && !d.Unplaced && !d.Mendable && d.Unit == repair.BlockSize
}

// Incomplete reports whether v is rejected because files of the shipment are not there,
// or not whole. The others were not compared then.
func (v *Verdict) Incomplete() bool {
	n := len(v.Checks)
	return n > 0 && v.Checks[n-1].Name == checkFiles && !v.Checks[n-1].OK
}

// A DamagedRange is a row of bytes of a part.
type DamagedRange struct {
	Part string `json:"part"`
	From int64  `json:"from"` // the first damaged byte, counted from 0
	To   int64  `json:"to"`   // the first byte after them
}

// plain reports whether d names parts of the archive and pseudonyms, and nothing else.
func (d *Damage) plain(parts []Part) bool {
	if d.Ranges == nil {
		return false
	}
	for _, r := range d.Ranges {
		within := func(p Part) bool { return p.Name == r.Part && r.To <= p.Bytes }
		if r.From < 0 || r.To <= r.From || !slices.ContainsFunc(parts, within) {
			return false
		}
	}
	if d.Salvage == nil {
		return true
	}
	odd := func(id string) bool { return !sessionName.MatchString("sessions/"+id+".json") || len(id) > maxName }
	return !slices.ContainsFunc(d.Salvage.Whole, odd) && !slices.ContainsFunc(d.Salvage.Ask, odd)
}

// examine finds out about damage of a shipment that fails cause. What comes
// back is the verdict, of the repaired folder if there is one.
func (v *verifying) examine(cause error) (*Verdict, error) {
	r, rejected := errors.AsType[*rejection](cause)
	_, medium := errors.AsType[*MediaError](cause)
	outcome := func() (*Verdict, error) {
		if !rejected {
			return nil, cause
		}
		v.verdict.Checks = append(v.verdict.Checks, Check{Name: r.check, Detail: r.detail, Cause: r.cause})
		return v.verdict, nil
	}
	archive := rejected && (r.check == checkArchive || r.check == checkRepair ||
		r.check == checkFiles && v.unreadable())
	if v.sums == nil || !archive && !(medium && v.o.RepairInto != "") {
		return outcome()
	}
	if v.labelMatches() != nil || !v.plausible() {
		return outcome()
	}
	d := v.damaged()
	defer d.close()
	damage, err := v.locate(d)
	if err == nil {
		err = v.readAround(d, damage)
	}
	if err != nil {
		return nil, err
	}
	v.verdict.Damage = damage
	if v.o.RepairInto == "" || !damage.Mendable {
		return outcome()
	}
	found, err := v.mend(d)
	if err != nil {
		if v.ctx.Err() != nil {
			return nil, context.Cause(v.ctx)
		}
		return nil, err
	}
	if found == nil {
		damage.Mendable = false
		return outcome()
	}
	found.Damage, found.Repaired = damage, &Repaired{v.o.RepairInto, damage.Bytes}
	if rejected {
		found.Checks = append([]Check{{Name: checkRepaired, OK: true,
			Detail: fmt.Sprintf("what arrived fails %q; the checks below are of the repaired folder", r.check)}},
			found.Checks...)
	}
	return found, nil
}

// plausible reports whether the sizes on the label are not out of all proportion to
// the files that are there. Damage is looked for piece by piece over the sizes of
// the label, and a hostile one could keep a computer busy for years.
func (v *verifying) plausible() bool {
	const (
		share = 8       // of what the label says, at least one part in so many is there
		spare = 1 << 30 // bytes that are looked at in any case
	)
	parts := v.label.Parts
	if v.label.Repair != nil {
		parts = append(slices.Clone(parts), *v.label.Repair)
	}
	var there, said float64
	for _, p := range parts {
		said += float64(p.Bytes)
		if info, err := v.root.Lstat(p.Name); err == nil && info.Mode().IsRegular() {
			there += float64(min(info.Size(), p.Bytes))
		}
	}
	return said <= share*there+spare
}

// locate says which bytes are damaged.
func (v *verifying) locate(d *damagedArchive) (*Damage, error) {
	if d.repair == nil {
		return &Damage{Ranges: []DamagedRange{}, Unplaced: true}, nil
	}
	found, err := repair.Scan(v.ctx, d.layout, d.parts, d.repair)
	if err != nil {
		return nil, err
	}
	damage := &Damage{
		Ranges: []DamagedRange{}, Bytes: found.Bytes, Unit: repair.BlockSize,
		Unplaced: found.Unknown, Mendable: found.Repairing,
	}
	for _, r := range found.Ranges {
		damage.Ranges = append(damage.Ranges, DamagedRange{v.label.Parts[r.Part].Name, r.From, r.To})
	}
	return damage, nil
}

// readAround reads what can be read around the damage. Without repair data,
// which place damage more closely, it notes the damaged chunks.
func (v *verifying) readAround(d *damagedArchive, damage *Damage) (err error) {
	src := joined{v.label.Parts, d.parts}
	c, ok := newChunkReader(src, src.size(), v.o.Identities)
	if !ok {
		return nil
	}
	placed := d.repair != nil
	if !placed {
		damage.Unit, damage.Unplaced = chunkSealed, false
	}
	altered := v.altered(d)
	damage.Salvage, err = v.salvage(v.ctx, c, func(from, to int64) {
		if placed {
			return
		}
		for _, r := range src.ranges(from, to) {
			if !altered(r.Part) {
				continue // a chunk reaches over the end of a part, and the other part is whole
			}
			damage.Bytes += r.To - r.From
			if n := len(damage.Ranges) - 1; n >= 0 && damage.Ranges[n].Part == r.Part && damage.Ranges[n].To == r.From {
				damage.Ranges[n].To = r.To
			} else if n < 999 {
				damage.Ranges = append(damage.Ranges, r)
			}
		}
	})
	return err
}

// altered returns a function that reports whether a part is not as the site signed it. Only
// parts that it is asked about are read, each once.
func (v *verifying) altered(d *damagedArchive) func(name string) bool {
	known := map[string]bool{}
	return func(name string) bool {
		is, ok := known[name]
		if !ok {
			i := slices.IndexFunc(v.label.Parts, func(p labelPart) bool { return p.Name == name })
			h, size := sha256.New(), v.label.Parts[i].Bytes
			n, err := io.Copy(h, contextReader{v.ctx, io.NewSectionReader(d.parts[i], 0, size+1)})
			want, _ := v.sumOf(name)
			is = err != nil || n != size || !bytes.Equal(h.Sum(nil), want[:])
			known[name] = is
		}
		return is
	}
}
