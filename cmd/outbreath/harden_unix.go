//go:build unix

package main

import "syscall"

// harden keeps what is in memory off the disk when the program crashes: no core
// dump. It is done before anything is read.
func harden() {
	_ = syscall.Setrlimit(syscall.RLIMIT_CORE, &syscall.Rlimit{}) // a system that refuses has none
	undumpable()
}

// ownFilesOnly makes new files readable to their owner alone, for the commands
// that make keys. Shipments are written with the medium's usual modes.
func ownFilesOnly() { syscall.Umask(0o077) }
