package pack

import (
	"context"
	"crypto/sha256"
	"errors"
	"io"
	"io/fs"
	"os"

	"outbreath/pack/durable"
	"outbreath/pack/repair"
)

// Repaired says that a damaged shipment was written anew, and how much of it
// was computed from its repair data. The verdict that holds it is the new
// folder's.
type Repaired struct {
	Folder string `json:"folder"`
	Bytes  int64  `json:"bytes"` // of the archive that were damaged, counted in blocks
}

// A damagedArchive is what is left of the parts and of the repair data. Parts
// that cannot be opened hold nothing.
type damagedArchive struct {
	parts  []io.ReaderAt
	repair io.ReaderAt // nil: there are no usable repair data
	layout repair.Layout
	opened []*os.File
}

// damaged opens the parts as the signed label names them.
func (v *verifying) damaged() *damagedArchive {
	d := new(damagedArchive)
	open := func(name string) io.ReaderAt {
		f, err := openRegular(v.root, name)
		if err != nil {
			return nothing{}
		}
		d.opened = append(d.opened, f)
		return f
	}
	var sizes []int64
	for _, p := range v.label.Parts {
		d.parts, sizes = append(d.parts, open(p.Name)), append(sizes, p.Bytes)
	}
	if v.label.Repair == nil {
		return d
	}
	file := open(v.label.Repair.Name)
	l, err := repair.FindLayout(file, v.label.Repair.Bytes)
	if err != nil {
		return d
	}
	if own, err := repair.NewLayout(l.Percent, sizes); err == nil && own == l {
		d.layout, d.repair = l, file
	}
	return d
}

func (d *damagedArchive) close() {
	for _, f := range d.opened {
		f.Close()
	}
}

// nothing is a file that is not there.
type nothing struct{}

func (nothing) ReadAt([]byte, int64) (int, error) { return 0, io.EOF }

// mend writes the shipment anew to v.o.RepairInto from what is left of it, and
// judges it there: the folder gets its name only when it was accepted. found is
// nil when the repair data do not suffice.
func (v *verifying) mend(d *damagedArchive) (found *Verdict, err error) {
	s, err := newStaging(v.o.RepairInto)
	if err != nil {
		return nil, err
	}
	defer s.remove()
	err = v.rewrite(s, d)
	if err == repair.ErrTooMuch {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	o := *v.o
	o.RepairInto, o.Progress = "", nil
	if found, err = verify(v.ctx, s.root, o, true); err != nil || found.Decision == Rejected {
		return nil, err
	}
	return found, s.commit()
}

// rewrite writes every file of the shipment into s.
func (v *verifying) rewrite(s *staging, d *damagedArchive) error {
	for _, name := range []string{readmeName, labelName, sumsName, sigName} {
		data, err := v.small(checkFiles, name, max(maxSums, maxReadme, maxLabel))
		if err != nil {
			if _, ok := errors.AsType[*rejection](err); ok {
				return repair.ErrTooMuch
			}
			return err
		}
		f, err := s.create(name)
		if err != nil {
			return err
		}
		_, err = f.Write(data)
		if err = errors.Join(err, f.Close()); err != nil {
			return err
		}
	}
	var files []*os.File
	defer func() {
		for _, f := range files {
			f.Close()
		}
	}()
	create := func(name string) (*os.File, error) {
		f, err := durable.Create(s.root, name, 0)
		if err != nil {
			return nil, mediaError(s.into, err)
		}
		files = append(files, f)
		return f, nil
	}
	var out []io.WriterAt
	var parts []io.ReaderAt
	for _, p := range v.label.Parts {
		f, err := create(p.Name)
		if err != nil {
			return err
		}
		out, parts = append(out, f), append(parts, f)
	}
	if err := repair.Restore(v.ctx, d.layout, d.parts, d.repair, out); err != nil {
		return v.writeError(s, err)
	}
	f, err := create(v.label.Repair.Name)
	if err != nil {
		return err
	}
	if err := repair.Encode(v.ctx, d.layout, parts, f); err != nil {
		return v.writeError(s, err)
	}
	for _, f := range files {
		if err := f.Sync(); err != nil {
			return mediaError(s.into, err)
		}
	}
	return nil
}

func (v *verifying) writeError(s *staging, err error) error {
	if err == repair.ErrTooMuch || v.ctx.Err() != nil {
		return err
	}
	return mediaError(s.into, err)
}

// repairData checks the repair data, which nothing but a repair needs, against
// the signed digest.
func (v *verifying) repairData() error {
	if v.label.Repair == nil {
		return nil
	}
	name, bytes := v.label.Repair.Name, v.label.Repair.Bytes
	f, err := openRegular(v.root, name)
	if err != nil {
		return err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, contextReader{v.ctx, io.LimitReader(f, bytes+1)})
	if err != nil {
		if v.ctx.Err() != nil {
			return context.Cause(v.ctx)
		}
		return mediaError(name, err)
	}
	if want, _ := v.sumOf(name); n != bytes || [sha256.Size]byte(h.Sum(nil)) != want {
		return reject(checkRepair, "%s, the repair data, was damaged or altered after the site signed it: %s", name,
			askForNew)
	}
	v.pass(checkRepair, "the repair data are as the site signed them")
	return nil
}

// A contextReader ends when its context does.
type contextReader struct {
	ctx context.Context
	r   io.Reader
}

func (c contextReader) Read(b []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(b)
}

// unreadable reports whether a part or the repair data are missing or no file.
func (v *verifying) unreadable() bool {
	for _, s := range v.sums {
		info, err := durable.Lstat(v.root, s.name)
		gone := errors.Is(err, fs.ErrNotExist) || err == nil && !info.Mode().IsRegular()
		if gone && s.name != readmeName {
			return true
		}
	}
	return false
}
