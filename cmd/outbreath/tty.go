package main

import (
	"io"
	"os"
	"sync"

	"golang.org/x/term"
)

// A tty keeps what is typed off the screen while nobody is asked anything: a
// passphrase or a subject's id that is typed too early must not be seen, nor end up
// in the shell. nil is a tty that does nothing, for input that is no terminal.
type tty struct {
	fd    int
	mu    sync.Mutex
	start *term.State // as it was found
	asked bool        // a secret was asked for
	ended bool        // given back
}

// quietTerminal switches the echo of a terminal off, if this program is the one that
// reads from it.
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

// shown carries out read with what is typed on the screen.
func (t *tty) shown(read func() error) error {
	t.echo(true)
	defer t.echo(false)
	return read()
}

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

// fresh forgets what was typed before the question, which was no answer to it.
// secret says that the answer is not shown.
func (t *tty) fresh(secret bool) {
	if t == nil {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.asked = t.asked || secret
	_ = forgetTyped(t.fd)
}

// end gives the terminal back as it was; it may be called again. What was typed meanwhile is forgotten after a
// failure, and after a secret was asked for: it may be one, and the shell would show it.
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
