package main

import (
	"context"
	"errors"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"

	"outbreath/pack"
)

// each verifies the shipments, v.jobs at a time, and returns the verdicts in
// the order of dirs. Of several, one that cannot be read is not verified and hinders no
// other; unread is the exit status of the first such. Any other error ends it. box gives
// the barcodes of a shipment's box, or nil.
func (v *verifier) each(ctx context.Context, dirs []string, into string, box func(i int) []string) (all []*pack.Verdict, unread int, err error) {
	if len(dirs) == 1 {
		p := v.u.progress("verifying " + quoted(dirs[0]))
		defer p.end()
		verdict, err := v.verify(ctx, dirs[0], into, box(0), p.update)
		return []*pack.Verdict{verdict}, 0, err
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
					if verdicts[i] = notVerified(dirs[i], errs[i]); verdicts[i] == nil {
						cancel()
						return
					}
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
	for i, verdict := range verdicts {
		if verdict != nil && verdict.Decision == pack.NotVerified {
			if unread == 0 {
				unread = exitStatus(errs[i])
			}
			errs[i] = nil
		}
	}
	return verdicts, unread, firstError(ctx, errs)
}

// notVerified is what is said of a path that is no shipment or cannot be read; nil for
// an error that is not of the path.
func notVerified(dir string, err error) *pack.Verdict {
	if !errors.As(err, new(*usageError)) && !errors.As(err, new(*pack.MediaError)) {
		return nil
	}
	return &pack.Verdict{Shipment: filepath.Base(dir), Path: dir, Decision: pack.NotVerified,
		Checks: []pack.Check{{Name: "path", Detail: err.Error() + ": " + toDo(err)}}}
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
