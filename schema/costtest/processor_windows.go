package costtest

import (
	"syscall"
	"time"
)

// Processor returns the processor time that this process has used.
func Processor() time.Duration {
	var created, ended, kernel, user syscall.Filetime
	self, err := syscall.GetCurrentProcess()
	if err == nil {
		err = syscall.GetProcessTimes(self, &created, &ended, &kernel, &user)
	}
	if err != nil {
		panic(err)
	}
	// A Filetime that is a length counts steps of 100 ns.
	steps := func(f syscall.Filetime) int64 { return int64(f.HighDateTime)<<32 + int64(f.LowDateTime) }
	return time.Duration(100 * (steps(kernel) + steps(user)))
}
