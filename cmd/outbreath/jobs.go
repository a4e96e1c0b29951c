package main

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"

	"outbreath/pack"
)

// each verifies the shipments, v.jobs at a time, and returns the verdicts in
// the order of dirs. The first error, in that order, ends it. box gives the barcodes
// of a shipment's box, or nil.
func (v *verifier) each(ctx context.Context, dirs []string, into string, box func(i int) []string) ([]*pack.Verdict, error) {
	if len(dirs) == 1 {
		p := v.u.progress("verifying " + quoted(dirs[0]))
		defer p.end()
		verdict, err := v.verify(ctx, dirs[0], into, box(0), p.update)
		return []*pack.Verdict{verdict}, err
	}
	jobs := v.jobs
	if jobs == 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	p := v.u.progress("verifying")
	p.countOf("shipment")
	defer p.end()

	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	verdicts, errs := make([]*pack.Verdict, len(dirs)), make([]error, len(dirs))
	var (
		next    atomic.Int64
		running sync.WaitGroup
		mu      sync.Mutex // of p and done
		done    int64
	)
	for range min(jobs, len(dirs)) {
		running.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(dirs) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				verdicts[i], errs[i] = v.verify(ctx, dirs[i], into, box(i), nil)
				if errs[i] != nil {
					cancel()
					return
				}
				verdicts[i].Treatment = nil // of many shipments, too much to keep; only audit reads it
				mu.Lock()
				done++
				p.update(done, int64(len(dirs)))
				mu.Unlock()
			}
		})
	}
	running.Wait()
	return verdicts, firstError(ctx, errs)
}

// firstError returns the first error that is not only an echo of another one's
// cancelling.
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
