package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"outbreath/schema/sessionlog"
)

// shownFields is how many fields of one change are named; the others are counted.
const shownFields = 4

// askAll shows what was understood and asks every question, until none is left.
func (f *filling) askAll() error {
	f.printUnderstood(f.u.err)
	for {
		doubts := f.doubts()
		if len(doubts) == 0 {
			return nil
		}
		f.u.tell("\n%s:", count(len(doubts), "question"))
		for i, d := range doubts {
			if err := f.ask(d, i+1, len(doubts)); err != nil {
				return err
			}
			// kept at once, so that stopping loses no answer
			if err := f.settings.Write(f.col.Root); err != nil {
				return err
			}
		}
		if err := f.read(); err != nil {
			return err
		}
	}
}

// ask asks one question, and again until the answer can be used.
func (f *filling) ask(d sessionlog.Doubt, n, of int) error {
	f.u.tell("\n%s", strings.TrimRight(filled(d.Where+": "+d.Question, fmt.Sprintf("%d of %d  ", n, of)), "\n"))
	f.u.tell("%s", strings.TrimRight(choices(d), "\n"))
	question := "Answer: "
	if len(d.Choices) > 0 {
		question = fmt.Sprintf("1 to %d, or q to stop: ", len(d.Choices))
	}
	for {
		answer, err := askLine(f.u, question)
		if err != nil {
			return err
		}
		if answer == "q" {
			return usagef("run fill again; the answers so far are kept", "stopped; no record was written")
		}
		if value, ok := chosen(d, answer); ok {
			f.settings.Answer(d, value)
			return nil
		}
		switch {
		case len(d.Choices) > 0:
			f.u.tell("  type one of the numbers")
		case d.Number:
			f.u.tell("  type a number")
		default:
			f.u.tell("  this cannot be used; type it as the question says")
		}
	}
}

// chosen returns what is stored for an answer that was typed.
func chosen(d sessionlog.Doubt, answer string) (string, bool) {
	if len(d.Choices) > 0 {
		n, err := strconv.Atoi(answer)
		if err != nil || n < 1 || n > len(d.Choices) {
			return "", false
		}
		return d.Choices[n-1].Value, true
	}
	if d.Number {
		_, err := strconv.ParseFloat(strings.ReplaceAll(answer, ",", "."), 64)
		return answer, err == nil
	}
	if d.Option == "zone" {
		return answer, sessionlog.IsZone(answer)
	}
	return answer, answer != ""
}

// fewChoices is how many choices get a line each.
const fewChoices = 8

// choices numbers the choices of a question, many of them side by side.
func choices(d sessionlog.Doubt) string {
	var b strings.Builder
	if len(d.Choices) <= fewChoices {
		for i, c := range d.Choices {
			b.WriteString(filled(c.Words, fmt.Sprintf("  %2d  ", i+1)))
		}
		return b.String()
	}
	half := (len(d.Choices) + 1) / 2
	for i := range half {
		fmt.Fprintf(&b, "  %2d  %-33s", i+1, d.Choices[i].Words)
		if j := i + half; j < len(d.Choices) {
			fmt.Fprintf(&b, " %2d  %s", j+1, d.Choices[j].Words)
		}
		b.WriteString("\n")
	}
	return b.String()
}

// printDoubts lists the open questions for somebody who answers with options.
func printDoubts(w io.Writer, doubts []sessionlog.Doubt) {
	for _, d := range doubts {
		fmt.Fprint(w, printable(filled(d.Where+": "+d.Question, "question  ")))
		if len(d.Choices) == 0 {
			fmt.Fprint(w, printable(filled(optionFor(d, "..."), "  ")))
		}
		if d.Option == "column" && len(d.Choices) > fewChoices {
			fmt.Fprint(w, printable(filled(optionFor(d, "-")+"  if it is no field of the records", "  ")))
			fmt.Fprint(w, printable(filled(optionFor(d, "FIELD")+"  with FIELD as outbreath plan lists it", "  ")))
			continue
		}
		for _, c := range d.Choices {
			fmt.Fprint(w, printable(filled(optionFor(d, c.Value)+"  "+c.Words, "  ")))
		}
	}
}

// optionFor is how a question is answered on the command line.
func optionFor(d sessionlog.Doubt, value string) string {
	switch d.Option {
	case "column":
		return fmt.Sprintf("--column %s", quoted(d.Heading+"="+value))
	case "dates", "decimals", "zone", "gas-kpa":
		return "--" + d.Option + " " + value
	}
	if file, ok := strings.CutPrefix(d.ID, sessionlog.RecordingDoubt("")); ok {
		return fmt.Sprintf("--recording %s", quoted(file+"="+value))
	}
	return fmt.Sprintf("--answer %s", quoted(d.ID+"="+value))
}

// printUnderstood says how the log was read, table by table. Columns under the headings of
// the plan's own workbook are counted, all others are named.
func (f *filling) printUnderstood(w io.Writer) {
	own := map[string]bool{}
	for _, c := range sessionlog.Columns(f.col.Plan) {
		own[c.Heading+"\x00"+c.Field] = true
	}
	fmt.Fprintln(w, "understood:")
	plain := 0
	for _, x := range f.reading.Understood {
		if x.How == "" && own[x.Heading+"\x00"+x.Field] {
			plain++
		} else {
			fmt.Fprint(w, printable(filled(understood(x), "  ")))
		}
	}
	if plain > 0 {
		fmt.Fprintf(w, "  %s under the headings of the plan's own workbook\n", count(plain, "column"))
	}
	if f.reading.Zone != "" {
		fmt.Fprintf(w, "  times without a zone are those of %s\n", cellText(f.reading.Zone))
	}
}

// understood says in a line how one column, or a table, was read.
func understood(x sessionlog.Understood) string {
	text := x.Where
	if x.Heading != "" {
		text += fmt.Sprintf(" %q", cellText(x.Heading))
	}
	switch {
	case x.Field != "":
		text += " is " + strings.TrimPrefix(x.Field, "/")
	case x.Heading != "" && x.How == "":
		text += " is not read"
	}
	if x.How != "" {
		text += ": " + x.How
	}
	return text
}

// printChanges says what becomes of each session, of the roster and of the recordings.
func (f *filling) printChanges(w io.Writer) {
	counts := map[string]int{}
	for _, c := range f.changes.Sessions {
		counts[c.What]++
		switch c.What {
		case sessionlog.Changed:
			fmt.Fprint(w, printable(filled("changes in "+named(c.Fields)+", as in "+c.Where, c.File+"  ")))
		case sessionlog.Sealed:
			fmt.Fprint(w, printable(filled(fmt.Sprintf("%s: was sealed in %s, and the log says something else "+
				"in %s: the "+
				"record stays; if the log is right, correct the record by hand, and seal it again with --amended",
				c.Where, c.Shipment, named(c.Fields)), c.File+"  ")))
		case sessionlog.Left:
			fmt.Fprint(w, printable(filled("the log does not have this session any more: the record stays; move it "+
				"out of sessions if there was no such session", c.File+"  ")))
		case sessionlog.Faulty:
			for _, p := range c.Problems {
				fmt.Fprint(w, printable(filled(fmt.Sprintf("%s: %s", strings.TrimPrefix(p.Pointer, "/"), p.Message),
					c.Where+"  ")))
			}
		}
		if len(c.Kept) > 0 {
			fmt.Fprint(w, printable(filled(named(c.Kept)+" as typed into the record", c.File+"  keeps ")))
		}
	}
	for _, x := range f.recordings.Incoming {
		for _, said := range x.Said {
			fmt.Fprint(w, printable(filled(said, x.From+"  ")))
		}
	}
	for _, name := range f.recordings.Unread {
		fmt.Fprintf(w, "%s  is no recording, by its name; it was not read\n", cellText(name))
	}
	for _, where := range f.recordings.Without {
		fmt.Fprintf(w, "%s  has no recording\n", cellText(where))
	}
	var parts []string
	for _, what := range []string{sessionlog.New, sessionlog.Changed, sessionlog.Unchanged, sessionlog.Sealed,
		sessionlog.Faulty, sessionlog.Left} {
		if counts[what] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[what], changeWords[what]))
		}
	}
	if parts == nil {
		parts = []string{"none"}
	}
	fmt.Fprintf(w, "sessions: %s\n", strings.Join(parts, ", "))
	if r := f.changes.Roster; r != (sessionlog.RosterChange{}) {
		fmt.Fprintf(w, "roster.csv: %d added, %d changed, %d that the log does not have stay\n", r.Added, r.Changed,
			r.Left)
	}
	incoming := 0
	for _, x := range f.recordings.Incoming {
		if x.New {
			incoming++
		}
	}
	fmt.Fprintf(w, "recordings: %d matched, %d of them to be taken in, %d without a session\n",
		len(f.recordings.Incoming), incoming, len(f.recordings.Left))
}

var changeWords = map[string]string{
	sessionlog.New: "new", sessionlog.Changed: "changed", sessionlog.Unchanged: "unchanged",
	sessionlog.Sealed: "sealed and left as they are", sessionlog.Faulty: "with errors, not written",
	sessionlog.Left: "no longer in the log",
}

// named lists fields by their pointers.
func named(pointers []string) string {
	shown := slices.Clone(pointers[:min(len(pointers), shownFields)])
	for i, p := range shown {
		shown[i] = strings.TrimPrefix(p, "/")
	}
	if more := len(pointers) - len(shown); more > 0 {
		shown = append(shown, fmt.Sprintf("%d more", more))
	}
	return strings.Join(shown, ", ")
}

// printLogProblems lists what only a change of the log, or of a file, can mend.
func printLogProblems(w io.Writer, problems []sessionlog.Problem) {
	for _, p := range problems {
		text := p.Message
		if p.Field != "" {
			text = p.Field + ": " + text
		}
		fmt.Fprint(w, printable(filled(text, "error  "+p.Where+"  ")))
	}
}
