package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"outbreath/deid"
	"outbreath/deid/leak"
)

// A group is a set of findings with the same words, so that one decision serves all.
type group struct {
	findings []leak.Finding
	passage  deid.Passage // of the first
	redact   bool         // every one can be redacted
	decision string       // made during this walk; "" for none
}

// groups groups the open findings by words, class and basis, in the order of the first.
func (r *reading) groups() []*group {
	var all []*group
	byWords := map[string]*group{}
	for _, f := range openFindings(r.findings) {
		p, _ := r.searched.Passage(f)
		can := r.searched.CanRedact(f)
		key := fmt.Sprint(f.Class, "\x00", f.Basis, "\x00", can, "\x00",
			strings.ToLower(strings.Join(strings.Fields(p.Suspect), " ")))
		g := byWords[key]
		if g == nil {
			g = &group{passage: p, redact: can}
			byWords[key] = g
			all = append(all, g)
		}
		g.findings = append(g.findings, f)
	}
	return all
}

// A walker leads a person through the groups at a terminal. Each decision is
// recorded at once, so that stopping at any moment loses nothing.
type walker struct {
	out    io.Writer              // the terminal
	key    func() (byte, error)   // one key press
	line   func() (string, error) // a line of text, with echo
	record func(g *group, action, reason string) error
	// mayStay returns what is wrong with a reason, as [deid.Typed.Why] does.
	mayStay func(reason string) error
	fresh   func()    // discards keys that were pressed before; may be nil
	mark    [2]string // before and after the suspect words
}

const walkHelp = "  r redact   a redact this and the rest of its kind   k keep, with a reason   s skip   b " +
	"back   q stop"

// walk shows each group and records the decision on it. It returns when all were shown, or
// when the person stops.
func (w *walker) walk(groups []*group) error {
	for i := 0; i < len(groups); {
		g := groups[i]
		if w.fresh != nil {
			w.fresh() // a key pressed before the words were seen decides nothing
		}
		w.show(g, i, len(groups))
		key, err := w.key()
		if err != nil {
			return err
		}
		fmt.Fprintln(w.out)
		switch key {
		case 'r', 'a':
			if !g.redact {
				fmt.Fprintln(w.out, "  This is in a field that leaves unchanged, or in study.json. Correct it "+
					"there, or keep it with a reason.")
				continue
			}
			if err := w.redact(g, groups[i+1:], key == 'a'); err != nil {
				return err
			}
			i = nextOpen(groups, i+1)
		case 'k':
			fmt.Fprint(w.out, "  Reason to keep it (without the words themselves; Enter to cancel): ")
			reason, err := w.line()
			if err != nil {
				return err
			}
			if reason = strings.TrimSpace(reason); reason == "" {
				continue
			}
			if holdsWords(reason, g.passage.Suspect) {
				fmt.Fprintln(w.out, "  The reason repeats the words themselves, and is kept permanently. Write "+
					"it without them.")
				continue
			}
			if err := w.mayStay(reason); err != nil {
				fmt.Fprintf(w.out, "  The reason %s.\n", err)
				continue
			}
			if err := w.record(g, "keep", reason); err != nil {
				return err
			}
			fmt.Fprintf(w.out, "  decided: keep it, in %s\n", count(len(g.findings), "place"))
			i = nextOpen(groups, i+1)
		case 's':
			fmt.Fprintln(w.out, "  skipped: not decided")
			i = nextOpen(groups, i+1)
		case 'b':
			i = max(0, i-1)
		case 'q', 3, 4: // q, Ctrl-C, Ctrl-D
			return nil
		default:
			fmt.Fprintln(w.out, walkHelp)
		}
	}
	return nil
}

// redact records that g is redacted and, if rest is set, every later group of the same class
// and basis too. It prints how many places that is.
func (w *walker) redact(g *group, after []*group, rest bool) error {
	if err := w.record(g, "redact", ""); err != nil {
		return err
	}
	places, kinds := len(g.findings), 0
	for _, like := range after {
		if !rest || !like.redact || like.decision != "" || like.findings[0].Class != g.findings[0].Class ||
			like.findings[0].Basis != g.findings[0].Basis {
			continue
		}
		if err := w.record(like, "redact", ""); err != nil {
			return err
		}
		places, kinds = places+len(like.findings), kinds+1
	}
	fmt.Fprintf(w.out, "  decided: redact it, in %s", count(places, "place"))
	if kinds > 0 {
		fmt.Fprintf(w.out, ", %s of its kind among them", count(kinds, "other"))
	}
	fmt.Fprintln(w.out)
	return nil
}

// nextOpen returns the next group from i on that "a" has not decided already.
func nextOpen(groups []*group, i int) int {
	for i < len(groups) && groups[i].decision != "" {
		i++
	}
	return i
}

// show prints group i of n with the suspect words marked, and the keys to press.
func (w *walker) show(g *group, i, n int) {
	f := g.findings[0]
	fmt.Fprintf(w.out, "\n%d of %d: %s %s (class %s, %s)", i+1, n, f.Confidence, f.Class.Words().Shown, f.Class,
		f.Basis)
	if len(g.findings) > 1 {
		fmt.Fprintf(w.out, ", in %d places", len(g.findings))
	}
	fmt.Fprintf(w.out, "\n  %s %s\n    %s%s%s%s%s\n", quoted(f.File), printable(f.Pointer),
		oneLine(g.passage.Before), w.mark[0], oneLine(g.passage.Suspect), w.mark[1], oneLine(g.passage.After))
	if g.decision != "" {
		fmt.Fprintf(w.out, "  decided: %s\n", g.decision)
	}
	fmt.Fprintf(w.out, "%s\n> ", walkHelp)
}

// oneLine puts a passage on one line, without control characters.
func oneLine(s string) string {
	return printable(strings.NewReplacer("\n", " ", "\t", " ", "\r", " ").Replace(s))
}

// newWalker returns a walker that reads single keys from the terminal. ok is false if input
// or output is not a terminal.
func newWalker(u *ui) (w *walker, ok bool) {
	in, isFile := u.in.(*os.File)
	if !isFile || !terminal(in) || !terminal(u.err) {
		return nil, false
	}
	w = &walker{out: u.err, mark: [2]string{">>", "<<"}}
	if os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" {
		w.mark = [2]string{"\x1b[7m", "\x1b[0m"}
	}
	w.fresh = func() { u.tty.fresh(false) }
	w.key = func() (byte, error) {
		old, err := term.MakeRaw(int(in.Fd()))
		if err != nil {
			return 0, err
		}
		defer term.Restore(int(in.Fd()), old)
		var b [1]byte
		_, err = io.ReadFull(in, b[:])
		return b[0], err
	}
	w.line = func() (string, error) {
		return readLine(u)
	}
	return w, true
}

// holdsWords reports whether a reason repeats the suspect words, of three bytes or more.
func holdsWords(reason, suspect string) bool {
	return len(suspect) > 2 && strings.Contains(strings.ToLower(reason), strings.ToLower(suspect))
}
