package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"unicode"

	"golang.org/x/term"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/schema"
)

// A ui is where a command reads and prints: results to out, remarks and progress to err.
// Nothing is coloured, so NO_COLOR needs no attention.
type ui struct {
	in       io.Reader
	out, err io.Writer
	json     bool
	quiet    bool
	printed  bool // a JSON document has been printed

	tty         *tty            // nil if input is not a terminal
	interrupted <-chan struct{} // closed when somebody pressed Ctrl-C; nil: never
}

func newUI(in io.Reader, out, err io.Writer) *ui { return &ui{in: in, out: out, err: err} }

// terminal reports whether w is a terminal.
func terminal(w any) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// await calls read, and waits until it returns or the user interrupts. Commands change
// nothing while they wait for an answer, so they can end although read is still waiting.
func await[T any](u *ui, read func() (T, error)) (answer T, err error) {
	done := make(chan struct{})
	var got T
	var failed error
	go func() {
		got, failed = read()
		close(done)
	}()
	select {
	case <-done:
		return got, failed
	case <-u.interrupted:
		return answer, usagef("run the command again", "interrupted; nothing was changed")
	}
}

// result prints doc as JSON with --json, otherwise what text writes.
func (u *ui) result(doc any, text func(w io.Writer)) error {
	if !u.json {
		if text == nil {
			return nil
		}
		var b bytes.Buffer
		text(&b)
		_, err := io.WriteString(u.out, printable(b.String()))
		return err
	}
	u.printed = true
	return writeJSON(u.out, doc, "  ")
}

// say prints a remark, unless --quiet is set.
func (u *ui) say(format string, args ...any) {
	if !u.quiet {
		fmt.Fprintln(u.err, printable(fmt.Sprintf(format, args...)))
	}
}

// tell prints a line that belongs to a question, even with --quiet: without it the question
// could not be understood.
func (u *ui) tell(format string, args ...any) {
	fmt.Fprintln(u.err, printable(fmt.Sprintf(format, args...)))
}

// ask prints a question, after discarding what was typed before it. secret means that the
// answer will not be shown.
func (u *ui) ask(secret bool, question string) {
	u.tty.fresh(secret)
	fmt.Fprint(u.err, printable(question))
}

// failure prints the error that ended a command, with the problems and findings in it and
// what to do; with --json also as a document, unless one was printed.
func (u *ui) failure(err error, status int) {
	if err == nil || errors.As(err, new(statusError)) {
		return
	}
	if status == exitInterrupted && !errors.Is(err, errStopped) {
		err = usagef("run the command again; nothing was left behind under a final name", "interrupted")
	}
	var (
		queries  *schema.QueriesError
		findings *deid.FindingsError
		inspect  *deid.InspectionError
		roster   *deid.RosterError
		refused  *refusedError
	)
	errors.As(err, &queries)
	errors.As(err, &findings)
	var inBag []leak.Finding // no decision settles these
	if errors.As(err, &inspect) {
		inBag = inspect.Findings
	}
	if errors.As(err, &roster) {
		inBag = roster.Findings()
	}
	for _, f := range inBag {
		fmt.Fprintln(u.err, described(f))
	}
	if errors.As(err, &refused) {
		if len(refused.problems) > 0 {
			queries = &schema.QueriesError{Problems: refused.problems}
		}
		if len(refused.findings) > 0 {
			findings = &deid.FindingsError{Findings: refused.findings}
		}
	}
	if u.json && !u.printed {
		doc := map[string]any{"ok": false, "status": status, "error": err.Error(), "to_do": toDo(err)}
		if problems := deid.Objections(err); problems != nil {
			doc["problems"] = problems
		} else if queries != nil {
			doc["problems"] = queries.Problems
		}
		if findings != nil {
			doc["leaks"] = findings.Findings
		}
		if roster != nil {
			doc["leaks"] = roster.Findings()
		}
		_ = u.result(doc, nil)
	}
	switch {
	case queries != nil:
		printProblems(u.err, queries.Problems)
		if findings != nil {
			printFindings(u.err, findings.Findings)
			fmt.Fprintln(u.err, "outbreath: to do: correct the errors and decide on each finding with review, then "+
				"run check and this command again; nothing was written")
			return
		}
		fmt.Fprintln(u.err, "outbreath: to do: correct what is listed, then run check and this command again; "+
			"nothing was written")
		return
	case findings != nil:
		printFindings(u.err, findings.Findings)
		fmt.Fprintln(u.err, "outbreath: to do: decide on each with review, then run this command again; nothing "+
			"was written")
		return
	}
	for _, one := range joined(err) {
		fmt.Fprintln(u.err, "outbreath: error:", printable(one.Error()))
		if do := toDo(one); do != "" {
			fmt.Fprintln(u.err, "outbreath: to do:", printable(do))
		}
	}
}

// joined returns the errors that [errors.Join] combined into err, or err alone.
func joined(err error) []error {
	list, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return []error{err}
	}
	var all []error
	var lines []string
	for _, one := range list.Unwrap() {
		all = append(all, joined(one)...)
		lines = append(lines, one.Error())
	}
	if strings.Join(lines, "\n") != err.Error() { // one error with several causes
		return []error{err}
	}
	return all
}

// table prints rows in aligned columns.
func table(w io.Writer, rows [][]string) {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, r := range rows {
		cells := make([]string, len(r))
		for i, cell := range r {
			cells[i] = cellText(cell)
		}
		fmt.Fprintln(tw, strings.Join(cells, "\t"))
	}
	tw.Flush()
}

// tableLines returns the lines of a table.
func tableLines(rows [][]string) []string {
	var b strings.Builder
	table(&b, rows)
	return strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
}

// printable replaces control characters and those that change the direction of writing, so
// that no text of the collection can control a terminal or show words in a false order.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' || !unicode.IsControl(r) && !unicode.Is(unicode.Bidi_Control, r) {
			return r
		}
		return '\uFFFD'
	}, s)
}

// cellText is printable for text from outside in a table: it also replaces line breaks and
// tabs, which would begin a new line or column.
func cellText(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' || r == 0x2028 || r == 0x2029 {
			return '\uFFFD'
		}
		return r
	}, printable(s))
}

// count returns a number and its noun: "1 record", "3 records" or "2 entries".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	if stem, ok := strings.CutSuffix(noun, "y"); ok && !strings.HasSuffix(stem, "a") { // days
		return fmt.Sprintf("%d %sies", n, stem)
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
