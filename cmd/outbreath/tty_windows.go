package main

import "golang.org/x/sys/windows"

func foreground(int) bool { return true }

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

func forgetTyped(fd int) error { return windows.FlushConsoleInputBuffer(windows.Handle(fd)) }
