package main

import (
	"io"
	"os"
	"sync"

	"golang.org/x/term"
)

// A tty switches the echo of the terminal off while no question is open: a passphrase or a
// subject's id that is typed too early must neither be seen nor end up in the shell. A nil
// tty does nothing; it is for input that is not a terminal.
type tty struct {
	fd    int
	mu    sync.Mutex
	start *term.State // of the terminal before the command
	asked bool        // a secret was asked for
	ended bool        // the terminal was given back
}

// quietTerminal switches the echo of a terminal off. It returns nil if in is no terminal, or
// if this program is not the one that reads from it.
func quietTerminal(in io.Reader) *tty {
	f, ok := in.(*os.File)
	if !ok || !terminal(f) || !foreground(int(f.Fd())) {
		return nil
	}
	fd := int(f.Fd())
	start, err := term.GetState(fd)
	if err != nil || setEcho(fd, false) != nil {
		return nil
	}
	return &tty{fd: fd, start: start}
}

// shown calls read with the echo on.
func (t *tty) shown(read func() error) error {
	t.echo(true)
	defer t.echo(false)
	return read()
}

// echo switches the echo on or off, unless the terminal was given back.
func (t *tty) echo(on bool) {
	if t == nil {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.ended {
		_ = setEcho(t.fd, on)
	}
}

// fresh discards what was typed before a question, because it cannot be the answer. secret
// means that the answer will not be shown.
func (t *tty) fresh(secret bool) {
	if t == nil {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.asked = t.asked || secret
	_ = forgetTyped(t.fd)
}

// end gives the terminal back as it was; it may be called more than once. After a failure,
// or if a secret was asked for, unread input is discarded: it may be a secret, and the shell
// would show it.
func (t *tty) end(failed bool) {
	if t == nil {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if !foreground(t.fd) {
		return
	}
	if failed || t.asked {
		_ = forgetTyped(t.fd)
	}
	_ = term.Restore(t.fd, t.start)
	t.ended = true
}
