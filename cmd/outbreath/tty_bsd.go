//go:build darwin || freebsd || netbsd || openbsd

package main

import "golang.org/x/sys/unix"

func foreground(fd int) bool {
	group, err := unix.IoctlGetInt(fd, unix.TIOCGPGRP)
	return err == nil && group == unix.Getpgrp()
}

// setEcho says whether the terminal shows what is typed. Source: termios(4).
func setEcho(fd int, on bool) error {
	state, err := unix.IoctlGetTermios(fd, unix.TIOCGETA)
	if err != nil {
		return err
	}
	if state.Lflag &^= unix.ECHO; on {
		state.Lflag |= unix.ECHO
	}
	return unix.IoctlSetTermios(fd, unix.TIOCSETA, state)
}

// forgetTyped throws away what was typed and not read. Source: tty(4), where 1 is
// FREAD.
func forgetTyped(fd int) error { return unix.IoctlSetPointerInt(fd, unix.TIOCFLUSH, 1) }
