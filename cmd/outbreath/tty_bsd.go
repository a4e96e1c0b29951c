//go:build darwin || freebsd || netbsd || openbsd

package main

import "golang.org/x/sys/unix"

// foreground reports whether this program is the one that reads from the terminal.
func foreground(fd int) bool {
	group, err := unix.IoctlGetInt(fd, unix.TIOCGPGRP)
	return err == nil && group == unix.Getpgrp()
}

// setEcho switches on or off whether the terminal shows what is typed. Source: termios(4).
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

// forgetTyped discards what was typed and not yet read. Source: tty(4), where 1 is
// FREAD.
func forgetTyped(fd int) error { return unix.IoctlSetPointerInt(fd, unix.TIOCFLUSH, 1) }
