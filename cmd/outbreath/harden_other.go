//go:build unix && !linux

package main

// undumpable has no portable form on these systems.
func undumpable() {}
