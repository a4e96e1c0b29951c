//go:build unix && !linux

package main

func undumpable() {}
