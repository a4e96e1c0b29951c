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

// A group is findings that say the same, so that one decision serves all.
type group struct {
	findings []leak.Finding
	passage  deid.Passage // of the first
	redact   bool         // redacting has an effect on every one
	decision string       // made in this walk
}

// groups gathers the open findings of equal words, class and basis, in order.
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
	line   func() (string, error) // a line of text, shown while typed
	record func(g *group, action, reason string) error
	// mayStay says what is wrong with a reason, as [deid.Typed.Why].
	mayStay func(reason string) error
	fresh   func()    // forgets keys that were pressed already; may be nil
	mark    [2]string // before and after the suspect words
}

const walkHelp = "  r take it out   a take out this and the rest of its kind   k keep, with a reason   s skip   b " +
	"back   q stop"

// walk returns when every group was shown or the person stops.
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
				fmt.Fprintln(w.out, "  This stands in a field that leaves as it is, or in study.json. Correct it at "+
					"its place, or keep it with a reason.")
				continue
			}
			if err := w.redact(g, groups[i+1:], key == 'a'); err != nil {
				return err
			}
			i = nextOpen(groups, i+1)
		case 'k':
			fmt.Fprint(w.out, "  Why may it leave? (without the words themselves; empty: not decided) ")
			reason, err := w.line()
			if err != nil {
				return err
			}
			if reason = strings.TrimSpace(reason); reason == "" {
				continue
			}
			if holdsWords(reason, g.passage.Suspect) {
				fmt.Fprintln(w.out, "  The reason holds the words themselves, and it is kept for good. Say it "+
					"without them.")
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

// redact records that g is taken out and, if rest is set, what is of its kind in the
// groups after it; it says how many.
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
	fmt.Fprintf(w.out, "  decided: take it out, in %s", count(places, "place"))
	if kinds > 0 {
		fmt.Fprintf(w.out, ", %s of its kind among them", count(kinds, "other"))
	}
	fmt.Fprintln(w.out)
	return nil
}

// nextOpen passes over groups that "a" has decided.
func nextOpen(groups []*group, i int) int {
	for i < len(groups) && groups[i].decision != "" {
		i++
	}
	return i
}

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

// oneLine keeps a passage on its line and the terminal safe.
func oneLine(s string) string {
	return printable(strings.NewReplacer("\n", " ", "\t", " ", "\r", " ").Replace(s))
}

// newWalker reads single keys from the terminal; ok is false where there is
// none on both sides.
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

// holdsWords reports whether a reason repeats what it is about.
func holdsWords(reason, suspect string) bool {
	return len(suspect) > 2 && strings.Contains(strings.ToLower(reason), strings.ToLower(suspect))
}
