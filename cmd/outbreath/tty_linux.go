package main

import "golang.org/x/sys/unix"

// foreground reports whether the terminal is this program's to read from. A program
// in the background is stopped when it changes a terminal.
func foreground(fd int) bool {
	group, err := unix.IoctlGetInt(fd, unix.TIOCGPGRP)
	return err == nil && group == unix.Getpgrp()
}

// setEcho says whether the terminal shows what is typed. Source: termios(3).
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

// forgetTyped throws away what was typed and not read. Source: tcflush(3).
func forgetTyped(fd int) error { return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIFLUSH) }
