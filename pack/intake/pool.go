package intake

import (
	"context"
	"errors"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"

	"outbreath/pack"
)

// Verify verifies the shipment at dir, which must be [Named], and notes the path in the
// verdict. Nothing else is compared with it.
func Verify(ctx context.Context, dir string, o pack.VerifyOptions) (*pack.Verdict, error) {
	if err := Named(dir); err != nil {
		return nil, err
	}
	v, err := pack.Verify(ctx, dir, o)
	if v != nil {
		v.Path = dir
	}
	return v, err
}

// verifyAll fills in the verdicts, and why there is none.
func (j *Job) verifyAll(ctx context.Context, dirs []string, paired bool, r *Result) (err error) {
	box := func(i int) []string {
		if paired {
			return j.Boxes[i]
		}
		return nil
	}
	r.Unread = make([]error, len(dirs))
	if len(dirs) == 1 {
		o := j.Verify
		o.Tubes, o.Progress = box(0), j.Progress
		v, err := Verify(ctx, dirs[0], o)
		r.Shipments = []*pack.Verdict{v}
		return err
	}
	r.Shipments = make([]*pack.Verdict, len(dirs))
	p := &pool{job: j, dirs: dirs, box: box, r: r, errs: make([]error, len(dirs))}
	return p.run(ctx)
}

// A pool verifies several shipments, some at a time. One that is no shipment or cannot be
// read does not hinder the others; any other error ends the work.
type pool struct {
	job  *Job
	dirs []string
	box  func(i int) []string // barcodes; nil: not compared
	r    *Result              // each worker writes to its own shipments
	errs []error              // by shipment, those that end the work

	next atomic.Int64
	mu   sync.Mutex // of done and of Progress
	done int64
}

func (p *pool) run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	workers := p.job.Workers
	if workers == 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var running sync.WaitGroup
	for range min(workers, len(p.dirs)) {
		running.Go(func() {
			for i := int(p.next.Add(1)) - 1; i < len(p.dirs) && ctx.Err() == nil; i = int(p.next.Add(1)) - 1 {
				if !p.one(ctx, i) {
					cancel()
					return
				}
			}
		})
	}
	running.Wait()
	return firstError(ctx, p.errs)
}

// one verifies shipment i and reports whether the work may go on.
func (p *pool) one(ctx context.Context, i int) bool {
	o := p.job.Verify
	o.Tubes = p.box(i)
	v, err := Verify(ctx, p.dirs[i], o)
	if err != nil {
		if !ofPath(err) {
			p.errs[i] = err
			return false
		}
		v = &pack.Verdict{Shipment: filepath.Base(p.dirs[i]), Path: p.dirs[i], Decision: pack.NotVerified,
			Checks: []pack.Check{{Name: "path", Detail: p.job.advised(err)}}}
	}
	v.Treatment = nil // of many shipments, too much to keep; only an audit reads it
	p.r.Shipments[i], p.r.Unread[i] = v, err
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done++
	if p.job.Progress != nil {
		p.job.Progress(p.done, int64(len(p.dirs)))
	}
	return true
}

// ofPath reports whether err is about one shipment's path or medium alone.
func ofPath(err error) bool {
	return errors.As(err, new(*Error)) || errors.As(err, new(*pack.MediaError))
}

// firstError returns the first error that is not merely the echo of the cancellation
// that another one caused.
func firstError(ctx context.Context, errs []error) error {
	var echo error
	for _, err := range errs {
		switch {
		case err == nil:
		case ctx.Err() != nil && err == context.Canceled:
			echo = err
		default:
			return err
		}
	}
	if echo == nil {
		echo = ctx.Err() // cancelled from outside before anything was begun
	}
	return echo
}
