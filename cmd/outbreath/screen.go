package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"golang.org/x/term"
)

// A screen prints at a terminal so that nothing leaves it before it was seen.
type screen struct {
	u      *ui
	stop   error // what an answer of q, or an interrupt, ends with
	height int   // lines; 0 if nobody looks
	used   int   // lines printed since the last answer
}

func newScreen(u *ui, stop error) *screen {
	s := &screen{u: u, stop: stop}
	if f, ok := u.err.(*os.File); ok && interactive(u) {
		if _, h, err := term.GetSize(int(f.Fd())); err == nil && h > 4 {
			s.height = h
		}
	}
	return s
}

// print prints a text line by line, and waits before one that would push out another.
func (s *screen) print(w io.Writer, text string) error {
	for line := range strings.Lines(text) {
		if s.height > 0 && terminal(w) {
			n := 1 + max(0, utf8.RuneCountInString(line)-2)/helpWidth
			if s.used+n > s.height-1 {
				if _, err := s.ask("Enter for more, or q to stop: "); err != nil {
					return err
				}
			}
			s.used += n
		}
		fmt.Fprint(w, printable(line))
	}
	return nil
}

// block prints a text that belongs together, on one screen if it fits.
func (s *screen) block(w io.Writer, text string) error {
	n := strings.Count(text, "\n")
	if s.height > 0 && s.used > 0 && s.used+n > s.height-1 {
		if _, err := s.ask("Enter to go on, or q to stop: "); err != nil {
			return err
		}
	}
	return s.print(w, text)
}

// ask asks for a line; q stops.
func (s *screen) ask(question string) (string, error) {
	answer, err := askLine(s.u, question)
	s.used = 0
	select {
	case <-s.u.interrupted:
		fmt.Fprintln(s.u.err)
		return "", s.stop
	default:
	}
	if err == nil && strings.EqualFold(answer, "q") {
		return "", s.stop
	}
	return answer, err
}

// hung breaks a text into lines of at most helpWidth columns, of which all but the first
// are indented by so many blanks. Unlike filled, it takes a text from outside as it is.
func hung(text string, indent int) string {
	var b strings.Builder
	words := strings.TrimLeft(text, " ")
	line := text[:len(text)-len(words)]
	empty := true
	for word := range strings.SplitSeq(words, " ") {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > helpWidth {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line, empty = strings.Repeat(" ", indent), true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
	return strings.ReplaceAll(b.String(), unbroken, " ")
}

// fitted breaks lines between words that are wider than a terminal, where the output is one.
func (u *ui) fitted(text func(io.Writer)) func(io.Writer) {
	if !terminal(u.out) {
		return text
	}
	return func(w io.Writer) {
		var b strings.Builder
		text(&b)
		for line := range strings.Lines(b.String()) {
			if utf8.RuneCountInString(line) > helpWidth+1 {
				line = hung(strings.TrimSuffix(line, "\n"), 4)
			}
			io.WriteString(w, line)
		}
	}
}

// beside sets texts in two columns, down the first and then the second. What is too long
// for one has a line of its own, behind.
func beside(texts []string) string {
	const wide = (helpWidth - 4) / 2
	var short, long []string
	for _, t := range texts {
		if utf8.RuneCountInString(t) < wide {
			short = append(short, t)
		} else {
			long = append(long, t)
		}
	}
	var b strings.Builder
	half := (len(short) + 1) / 2
	for i := range half {
		line := short[i]
		if i+half < len(short) {
			line += strings.Repeat(" ", wide-utf8.RuneCountInString(line)) + short[i+half]
		}
		b.WriteString("    " + line + "\n")
	}
	for _, t := range long {
		b.WriteString(hung("    "+t, 8))
	}
	return b.String()
}
