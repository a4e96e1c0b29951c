package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/pack/durable"
	"outbreath/schema"
	"outbreath/schema/entry"
	"outbreath/schema/sessionlog"
)

type enterOptions struct{ amend, by string }

func newEnterCmd(u *ui, _ *options) *cobra.Command {
	s := &enterOptions{}
	c := &cobra.Command{
		Use:   "enter COLLECTION [--amend SESSION-FILE]",
		Short: "Enter a session at the terminal, with the barcode scanner in hand",
		Long: `Enter a session as it happens. Subject and tubes are scanned, or typed, and looked
at at once: a subject who is not in roster.csv, a tube that was used before and
a position that is taken are refused. Enter takes what is in brackets: the
last session's value, or for a time the present. n is the present time, too.
? explains a field, - takes the last answer back.

Then the whole session is shown, every field with a number. Type the number to
correct it or to fill in what is optional; w writes the record.

Each answer is kept at once in entry.json of the collection. Stop with Ctrl-C
wherever you like: the same command goes on from there.

--amend changes a record that was written. What it was before, what it is now,
who, when and why go into amendments.jsonl, which stays in the collection; the
command custody lists how many there are.
` + statusHelp,
		Example: "  outbreath enter week-48\n" +
			"  outbreath enter week-48 --amend sessions/0007.json --by coordinator",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error { return s.run(u, args[0]) },
	}
	c.Flags().StringVar(&s.amend, "amend", "", "the record to change: `SESSION-FILE` of the folder sessions")
	c.Flags().StringVar(&s.by, "by", "", "who does this (default: the user's name on this computer)")
	return c
}

// An entering is one run of enter.
type entering struct {
	u     *ui
	by    string
	typed *deid.Typed
	*entry.Session
	desk   *entry.Desk
	bounce bool // a scan was just read
}

func (s *enterOptions) run(u *ui, dir string) error {
	if !interactive(u) {
		return usagef("run it in a terminal window; where there is none, keep the log in a spreadsheet and use fill",
			"enter asks questions, and there is no terminal here to answer at")
	}
	col, err := loadCollection(u, dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	if err := textsMayStay(col, s.by); err != nil {
		return err
	}
	if len(col.Roster.Rows) == 0 {
		return usagef("add the subjects to roster.csv, then run enter again",
			"roster.csv lists nobody yet, so that no "+
				"subject can be looked up")
	}
	set, err := sessionlog.ReadSettings(col.Root)
	if err != nil {
		return err
	}
	desk, err := entry.Open(col, set, time.Now)
	if err != nil {
		return err
	}
	for _, file := range desk.Unread {
		u.tell("caution: %s cannot be read, so that its tubes are not known here: see what check says", quoted(file))
	}
	e := &entering{u: u, by: operatorName(s.by), typed: deid.NewTyped(col), desk: desk}
	err = e.begin(dir, s.amend)
	for err == nil {
		if err = e.one(); err == nil && s.amend == "" {
			err = e.another()
		} else if err == nil {
			return nil
		}
	}
	if errors.Is(err, errEnough) {
		return nil
	}
	if e.Session != nil && e.Kept() > 0 {
		u.tell("\nkept in %s: %s; the same command goes on from there", entry.File, count(e.Kept(), "answer"))
	}
	return err
}

// errEnough ends the command well.
var errEnough = errors.New("enough")

// begin goes on with the session that is kept, or begins one.
func (e *entering) begin(dir, amend string) error {
	file := ""
	if amend != "" {
		file = "sessions/" + path.Base(filepath.ToSlash(amend))
	}
	kept, err := e.desk.Resume()
	if err != nil {
		return err
	}
	if kept != nil && kept.Kept() > 0 {
		return e.resume(dir, file, kept)
	}
	return e.fresh(file)
}

// fresh begins a session, or the change of a record.
func (e *entering) fresh(file string) (err error) {
	if file == "" {
		e.Session = e.desk.New()
		return nil
	}
	e.Session, err = e.desk.Amend(file)
	if errors.Is(err, fs.ErrNotExist) {
		return usagef("name a file of the folder sessions", "there is no record %s", quoted(file))
	}
	return err
}

// resume asks about the session that is kept.
func (e *entering) resume(dir, file string, kept *entry.Session) error {
	if kept.Amends() != file {
		what, again := "a session that is not finished", "enter "+quoted(dir)
		if kept.Amends() != "" {
			what, again = "changes to "+kept.Amends(), again+" --amend "+quoted(kept.Amends())
		}
		return usagef("finish that first: outbreath "+again+"; or remove "+entry.File+" to give it up",
			"%s holds %s", entry.File, what)
	}
	of := ""
	if kept.Subject() != "" {
		of = " of subject " + kept.Subject()
	}
	e.u.tell("%s%s kept in %s", count(kept.Kept(), "answer"), of, entry.File)
	for {
		answer, err := askLine(e.u, "Enter: go on after them    d: discard them  ")
		switch {
		case err != nil:
			e.Session = kept
			return err
		case answer == "":
			e.Session = kept
			return nil
		case strings.EqualFold(answer, "d"):
			if err := kept.Discard(); err != nil {
				return err
			}
			return e.fresh(file)
		}
	}
}

// one takes a session from its first question to the record.
func (e *entering) one() error {
	e.clear()
	if e.Amends() == "" {
		e.u.tell("A session: Enter takes what is in brackets, ? explains, - takes the last answer back, Ctrl-C stops")
	}
	for {
		q := e.Next()
		var err error
		switch q.Kind {
		case entry.Scan:
			err = e.scan()
		case entry.Ask:
			err = e.ask(q, false)
		default:
			if err = e.review(); err == nil {
				return nil
			}
			if errors.Is(err, errMore) {
				err = nil
			}
		}
		if err != nil {
			return err
		}
	}
}

// errMore says that something needed is missing again.
var errMore = errors.New("more is needed")

func (e *entering) another() error {
	answer, err := askLine(e.u, "Enter: the next session    q: stop  ")
	if err != nil {
		return err
	}
	if strings.HasPrefix(strings.ToLower(answer), "q") {
		return errEnough
	}
	e.Session = e.desk.New()
	return nil
}

// clearScreen moves to the first place of the screen and empties it. Source: ECMA-48, 5th
// edition, 8.3.21 (CUP) and 8.3.39 (ED), from memory.
const clearScreen = "\x1b[H\x1b[2J"

// clear begins a screen.
func (e *entering) clear() {
	if os.Getenv("TERM") != "dumb" {
		fmt.Fprint(e.u.err, clearScreen)
	}
}

// tellAll prints remarks, each with the bell, because nobody looks at the screen while
// scanning.
func (e *entering) tellAll(remarks []string) {
	for _, r := range remarks {
		e.u.tell("   %s", r)
	}
}

func (e *entering) refuse(err error) {
	e.u.tell("   %s", err)
	fmt.Fprint(e.u.err, "\a")
}

// bounceTime is within what time after a question an empty line is none that a person
// typed: some scanners end a scan with two line ends (common practice, no source).
const bounceTime = 30 * time.Millisecond

// line asks and reads one line. ahead says that what was typed before is an answer, too:
// tubes are scanned faster than they are looked up.
func (e *entering) line(question string, ahead bool) (string, error) {
	if ahead {
		fmt.Fprint(e.u.err, printable(question))
	} else {
		e.u.ask(false, question)
	}
	for {
		asked := time.Now()
		text, err := readLine(e.u)
		scanned := e.bounce
		e.bounce = false
		if err == nil && text == "" && scanned && time.Since(asked) < bounceTime {
			continue
		}
		return text, err
	}
}

// scan takes tubes until there are no more.
func (e *entering) scan() error {
	ahead := false
	for {
		n := e.Count("/tubes")
		question := "scan the first tube: "
		if n > 0 {
			question = fmt.Sprintf("scan tube %d, or Enter if there are no more: ", n+1)
		}
		text, err := e.line(question, ahead)
		if err != nil {
			return err
		}
		ahead = false
		switch text {
		case "":
			if err = e.EndTubes(); err == nil {
				return nil
			}
		case "-":
			return e.back()
		case "?":
			e.explain("/tubes/*/barcode")
		default:
			var remarks []string
			remarks, err = e.answered(func() ([]string, error) { return e.ScanTube(text) })
			if err == nil {
				e.u.tell("%4d  %s", n+1, e.Tube(n))
			}
			e.tellAll(remarks)
			ahead, e.bounce = true, true
		}
		if err := e.words(err); err != nil {
			return err
		}
	}
}

// words prints what is wrong with an answer; other errors end the command.
func (e *entering) words(err error) error {
	if err == nil {
		return nil
	}
	if is[*entry.DiskError](err) || is[*schema.ConfigError](err) || is[*usageError](err) || is[*durable.Refusal](err) ||
		is[*fs.PathError](err) {
		return err
	}
	e.refuse(err)
	return nil
}

// back takes the last answer back.
func (e *entering) back() error {
	ok, err := e.Back()
	if err == nil && !ok {
		e.u.tell("   this is the first question")
	}
	return err
}

// ask asks for one value until it is there. again says that the value is corrected: then
// - takes it out, instead of the answer before.
func (e *entering) ask(q entry.Question, again bool) error {
	for {
		text, err := e.line(e.prompt(q), false)
		if err != nil {
			return err
		}
		switch {
		case text == "?":
			e.explain(q.Field)
			continue
		case text == "-" && !again:
			return e.back()
		}
		remarks, err := e.answered(func() ([]string, error) { return e.Answer(q, text) })
		e.tellAll(remarks)
		if err == nil {
			e.bounce = q.Field == "/subject/subject_id"
			if now, ok := e.At(q.Pointer); ok && q.Now && now.Value != nil {
				e.u.tell("   %s", now.Value.Text)
			}
			return nil
		}
		if err := e.words(err); err != nil {
			return err
		}
	}
}

// answered carries out an answer; a question about how it is to be read is asked first.
func (e *entering) answered(answer func() ([]string, error)) ([]string, error) {
	for range 10 {
		remarks, err := answer()
		asked := (*entry.Asked)(nil)
		if !errors.As(err, &asked) {
			return remarks, err
		}
		if err := e.settle(asked.Doubt); err != nil {
			return nil, err
		}
	}
	return nil, errors.New("this can be read in several ways: type it in full")
}

// settle asks how something typed is to be read.
func (e *entering) settle(d sessionlog.Doubt) error {
	e.u.tell("%s", strings.TrimRight(filled(d.Question, "   "), "\n"))
	question := "   answer, or - to type the value again: "
	for i, c := range d.Choices {
		e.u.tell("%s", strings.TrimRight(filled(c.Words, fmt.Sprintf("   %d  ", i+1)), "\n"))
		question = fmt.Sprintf("   1 to %d, or - to type the value again: ", len(d.Choices))
	}
	for {
		answer, err := e.line(question, false)
		if err != nil {
			return err
		}
		if answer == "-" {
			return errors.New("not taken: type it in another way")
		}
		value := answer
		if len(d.Choices) > 0 {
			n, err := strconv.Atoi(answer)
			if err != nil || n < 1 || n > len(d.Choices) {
				continue
			}
			value = d.Choices[n-1].Value
		}
		if err = e.desk.Answer(d, value); err == nil {
			return nil
		}
		if err := e.words(err); err != nil {
			return err
		}
	}
}

// explain says what a field is.
func (e *entering) explain(field string) {
	leaf := e.Leaf(field)
	if leaf == nil {
		return
	}
	words := leaf.Description
	if words == "" {
		words = leaf.Why
	}
	e.u.tell("%s", strings.TrimRight(filled(words, "   "), "\n"))
}

// prompt is the question for a value, with what Enter takes.
func (e *entering) prompt(q entry.Question) string {
	name := q.Name()
	if q.List == "/tubes" && q.Field != "/tubes/*/barcode" {
		name = fmt.Sprintf("tube %d %s, %s", q.Entry+1, e.Tube(q.Entry), q.Label)
	}
	if values := entry.Choices(q.Leaf); values != nil {
		var parts []string
		for i, v := range values {
			parts = append(parts, fmt.Sprintf("%d %s", i+1, v))
		}
		name += " (" + strings.Join(parts, ", ") + ")"
	}
	switch {
	case q.Offer != nil:
		name += " [" + valueText(q.Offer) + "]"
	case q.Now && q.Needed:
		name += " [now]"
	case !q.Needed:
		name += " [none]"
	}
	return cellText(name) + ": "
}

func valueText(n *schema.Node) string {
	if n.Kind == schema.Bool {
		return map[string]string{"true": "yes", "false": "no"}[n.Text]
	}
	return cellText(n.Text)
}
