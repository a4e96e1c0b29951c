package main

import "golang.org/x/sys/unix"

// foreground reports whether this program is the one that reads from the terminal. The system
// stops a background program that changes a terminal.
func foreground(fd int) bool {
	group, err := unix.IoctlGetInt(fd, unix.TIOCGPGRP)
	return err == nil && group == unix.Getpgrp()
}

// setEcho switches on or off whether the terminal shows what is typed. Source: termios(3).
func setEcho(fd int, on bool) error {
	state, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	if state.Lflag &^= unix.ECHO; on {
		state.Lflag |= unix.ECHO
	}
	return unix.IoctlSetTermios(fd, unix.TCSETS, state)
}

// forgetTyped discards what was typed and not yet read. Source: tcflush(3).
func forgetTyped(fd int) error { return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIFLUSH) }
