//go:build !linux && !darwin && !freebsd && !netbsd && !openbsd && !windows

package main

import "errors"

var errNoTTY = errors.New("not done on this system")

func foreground(int) bool     { return false }
func setEcho(int, bool) error { return errNoTTY }
func forgetTyped(int) error   { return errNoTTY }
