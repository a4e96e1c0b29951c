package main

import "golang.org/x/sys/windows"

func foreground(int) bool { return true }

// setEcho switches on or off whether the console shows what is typed.
func setEcho(fd int, on bool) error {
	var mode uint32
	if err := windows.GetConsoleMode(windows.Handle(fd), &mode); err != nil {
		return err
	}
	if mode &^= windows.ENABLE_ECHO_INPUT; on {
		mode |= windows.ENABLE_ECHO_INPUT
	}
	return windows.SetConsoleMode(windows.Handle(fd), mode)
}

// forgetTyped discards what was typed and not yet read.
func forgetTyped(fd int) error { return windows.FlushConsoleInputBuffer(windows.Handle(fd)) }
