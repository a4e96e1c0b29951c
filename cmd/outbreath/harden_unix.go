//go:build unix

package main

import "syscall"

// harden turns core dumps off, so that a crash does not write keys and identifiers from
// memory to the disk. It runs before anything is read.
func harden() {
	_ = syscall.Setrlimit(syscall.RLIMIT_CORE, &syscall.Rlimit{}) // a system that refuses writes none
	undumpable()
}

// ownFilesOnly makes new files readable to their owner alone, for the commands
// that make keys. Shipments are written with the medium's usual modes.
func ownFilesOnly() { syscall.Umask(0o077) }
