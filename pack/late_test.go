package pack

import (
	"bytes"
	"context"
	"io"
	"slices"
	"strings"
	"testing"

	"outbreath/deid"
	"outbreath/pack/media"
)

// A file whose size is known only when its turn comes is opened after those
// before it, counts in no progress, and is bounded.
func TestLateFile(t *testing.T) {
	b := newBench(t)
	at := func(p *payload, name string) *deid.File {
		return &p.files[slices.IndexFunc(p.files, func(f deid.File) bool { return f.Name == name })]
	}
	p := sample(t, 2, 100_000)
	read := map[string]bool{} // to the end
	for i := range p.files {
		f := &p.files[i]
		open := f.Open
		f.Open = func() (io.ReadCloser, error) {
			if strings.HasSuffix(f.Name, ".csv") && strings.HasPrefix(f.Name, "recordings/") {
				r, err := open()
				return readToEnd{r, func() { read[f.Name] = true }}, err
			} else if f.Name == deid.SummaryName && len(read) != 2 {
				t.Errorf("the summary was opened after %d recordings", len(read))
			}
			return open()
		}
	}
	o := b.sealOptions(t.TempDir())
	var done, total int64
	o.Progress = func(d, all int64) {
		if d < done || d > all {
			t.Errorf("%d of %d bytes after %d", d, all, done)
		}
		done, total = d, all
	}
	s, err := seal(context.Background(), media.OS{}, p, o)
	if err != nil {
		t.Fatal(err)
	}
	var sum int64
	for _, f := range p.files {
		sum += max(0, f.Size)
	}
	if done != total || total != sum {
		t.Errorf("progress ended at %d of %d bytes, want %d", done, total, sum)
	}
	if v := b.mustVerify(t, s.Folder); v.Decision != Accepted {
		t.Errorf("%+v", v.Checks)
	}

	for name, bend := range map[string]func(p *payload){
		"too large": func(p *payload) {
			f := at(p, deid.SummaryName)
			*f = late(file(f.Name, bytes.Repeat([]byte(" "), maxRecord+1)))
		},
		"of another kind": func(p *payload) { at(p, tubesName).Size = -1 },
		"of another size": func(p *payload) { at(p, deid.SummaryName).Size = -2 },
	} {
		p := sample(t, 1, 1000)
		bend(p)
		o := b.sealOptions(t.TempDir())
		if _, err := seal(context.Background(), media.OS{}, p, o); err == nil {
			t.Errorf("%s: sealed", name)
		}
		empty(t, o.Media[0])
	}
}

// readToEnd calls ended when the end was reached.
type readToEnd struct {
	io.ReadCloser
	ended func()
}

func (r readToEnd) Read(b []byte) (int, error) {
	n, err := r.ReadCloser.Read(b)
	if err == io.EOF {
		r.ended()
	}
	return n, err
}
