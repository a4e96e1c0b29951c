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

// interruptGrace is how long an interrupted command may take to tidy up. One that waits for
// something which never comes, such as a file on a server that is gone, is ended then, as a
// power loss would end it: whatever it leaves is swept by the next run.
const interruptGrace = 10 * time.Second

func main() {
	harden()
	debug.SetGCPercent(50)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, func() {
		stop() // a second interrupt ends at once
		time.AfterFunc(interruptGrace, func() {
			fmt.Fprintln(os.Stderr, "outbreath: error: interrupted; what was being done did not come to an "+
				"end by itself")
			os.Exit(exitInterrupted)
		})
	})
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// holdMemory makes the commands that read what strangers wrote collect their
// garbage soon, so that thousands of records need little more than a few, and
// sooner once they hold more than any good shipment makes them hold. Most of what
// they hold are buffers, which cost a collection nothing.
func holdMemory() {
	debug.SetGCPercent(30)
	debug.SetMemoryLimit(128 << 20)
}

// room is never written to, so that no memory stands behind it; but the collector
// counts it, and lets the heap grow by a half of it before it begins.
var room []byte

// workOnCollection gives a command memory to use freely, as much as any usual
// collection needs, and from there on a share of what it holds. A limit instead, once
// records and roster come near it, has the program do little but collect garbage.
var workOnCollection = sync.OnceFunc(func() {
	room = make([]byte, 64<<20)
	runtime.KeepAlive(room)
})

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
