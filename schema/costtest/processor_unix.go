//go:build unix

package costtest

import (
	"syscall"
	"time"
)

// Processor returns the processor time that this process has used.
func Processor() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
