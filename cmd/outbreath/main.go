// Command outbreath gets a site's breath-sampling session data to the analysis
// laboratory together with its tubes: checked, pseudonymised, sealed, and
// verified on arrival.
//
// This package is thin: it reads flags, calls the packages below it, and
// prints. It is the only place that prints, exits, or reads the clock and the
// environment.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"sync"
	"syscall"
	"time"
	_ "time/tzdata" // zones of logs, where the system has no database of them
)

// interruptGrace is how long an interrupted command may take to tidy up. After that, a
// command that waits for something that never comes, such as a file on a lost server, is
// ended as a power failure would end it; the next run removes what it leaves.
const interruptGrace = 10 * time.Second

func main() {
	harden()
	debug.SetGCPercent(50)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, func() {
		stop() // a second interrupt ends at once
		time.AfterFunc(interruptGrace, func() {
			fmt.Fprintln(os.Stderr, "outbreath: error: interrupted; the work in progress did not "+
				"stop by itself")
			os.Exit(exitInterrupted)
		})
	})
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// holdMemory makes the garbage collector run early in commands that read what strangers
// wrote: thousands of records then need little more memory than a few. Above 128 MiB, more
// than any good shipment needs, it runs more often still. This costs little, because most
// of that memory is buffers without pointers.
func holdMemory() {
	debug.SetGCPercent(30)
	debug.SetMemoryLimit(128 << 20)
}

// ballast is never written to, so it takes up no physical memory. But the garbage collector
// counts it, and lets the heap grow by half of its size before it first runs.
var ballast []byte

// workOnCollection lets a command allocate as much as a usual collection needs before the
// garbage collector runs, and from then on a share of what it holds. A memory limit would
// not do: with records and roster near the limit, the program would do little but collect
// garbage.
var workOnCollection = sync.OnceFunc(func() {
	ballast = make([]byte, 64<<20)
	runtime.KeepAlive(ballast)
})

// manySessions is the number of sessions whose memory is so large that the ballast would
// only add to it.
const manySessions = 5000

// dropBallast ends what workOnCollection began.
var dropBallast = sync.OnceFunc(func() { ballast = nil })

// run carries out one command line and returns its exit status.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) (status int) {
	u := newUI(in, out, errOut)
	u.interrupted = ctx.Done()
	u.tty = quietTerminal(in)
	defer func() { u.tty.end(status != exitOK) }()
	context.AfterFunc(ctx, func() { u.tty.end(true) }) // a second interrupt leaves no time for it
	defer func() {
		// Go's own crash would exit with 2, which means something else here, and
		// would print values.
		if r := recover(); r != nil {
			fmt.Fprintf(errOut, "outbreath: error: something unforeseen happened (%T); nothing was finished\n", r)
			if os.Getenv("OUTBREATH_DEBUG") != "" {
				panic(r)
			}
			status = exitIO
		}
	}()
	cmd := newRootCmd(u)
	cmd.SetArgs(args)
	cmd.SetIn(in)
	cmd.SetOut(out)
	cmd.SetErr(errOut)
	err := cmd.ExecuteContext(ctx)
	status = exitStatus(err)
	if ctx.Err() != nil && status != exitOK {
		status = exitInterrupted
	}
	u.failure(err, status)
	return status
}
