package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/pack"
	"outbreath/pack/site"
)

// A packer compares the box with the records before anything is written.
type packer struct {
	*site.Box
	u        *ui
	in       *bufio.Reader // nil: nobody can be asked
	terminal bool          // somebody sits at it
	kept     *site.Packing // what was scanned and given
	scanned  []string
	listed   int // how many of those a file has given
}

// packBox reads the barcodes in the box, compares them with the records, and puts what
// differs into the draft, each with its reason: as given, as it was stated before, or
// asked for. A difference without a reason ends the command with status 1. What was
// scanned and given is kept in root until the shipment is sealed, so that the next run
// goes on from there.
func packBox(u *ui, s *sealOptions, root *os.Root, b *site.Box, before []deid.Discrepancy) ([]deid.Discrepancy, error) {
	if s.tubes == "" && !s.scan {
		if len(s.reasons) > 0 {
			return nil, usagef("give the barcodes in the box with --tubes FILE or --scan", "--tube-reason is for "+
				"a box that is compared")
		}
		return nil, nil
	}
	if s.tubes != "" && s.scan {
		return nil, usagef("leave one of the two away", "--tubes and --scan are two ways to say the same")
	}
	p := &packer{Box: b, u: u, terminal: interactive(u)}
	if s.scan || p.terminal {
		p.in = bufio.NewReaderSize(u.in, 4<<10)
	}
	var err error
	if p.kept, err = site.OpenPacking(root, s.scan, now); err != nil {
		return nil, err
	}
	s.packed = p.kept
	u.tty.fresh(false)
	var stated []deid.Discrepancy
	err = u.tty.shown(func() error {
		stated, err = p.pack(s, before)
		return err
	})
	if err != nil && p.kept.Any() {
		u.tell("kept in %s: %s and %s; the same command goes on "+
			"from there", site.PackingName, count(len(p.kept.Scanned), "scan"), count(len(p.kept.Reasons), "reason"))
	}
	return stated, err
}

func (p *packer) pack(s *sealOptions, before []deid.Discrepancy) (list []deid.Discrepancy, err error) {
	if s.scan {
		err = p.scan()
	} else if p.scanned, err = scannedTubes(p.u, s.tubes); err == nil {
		p.listed = len(p.scanned)
		for _, b := range p.kept.Scanned {
			if !slices.Contains(p.scanned, b) {
				p.scanned = append(p.scanned, b)
			}
		}
	}
	if err != nil {
		return nil, err
	}
	p.kept.Recheck(p.Box)
	m := p.Compare(p.scanned)
	if m.Agrees() {
		p.u.say("tubes: all %d are in the box", len(m.Matched))
		return nil, nil
	}
	if err := p.Strangers(m, p.scanned); err != nil {
		return nil, err
	}
	if err := p.rightBox(m); err != nil {
		return nil, err
	}
	m, list, open, err := p.reasons(m, s.reasons, before)
	if err != nil {
		return nil, err
	}
	if open > 0 {
		return nil, p.openTubes(m)
	}
	if err := p.State(list); err != nil {
		return nil, err
	}
	if len(list) > 0 {
		p.u.say("tubes: %d of %d are in the box; %s with a reason, which the laboratory "+
			"will read", len(m.Matched), len(p.Tubes), count(len(list), "discrepancy"))
	} else {
		p.u.say("tubes: all %d are in the box", len(m.Matched))
	}
	return list, nil
}

// openTubes tells of the tubes that have no reason, and is status 1.
func (p *packer) openTubes(m *pack.TubeMatch) error {
	if err := p.u.result(map[string]any{"ok": false, "tubes": m}, func(w io.Writer) {
		if site.WrongBox(m) {
			fmt.Fprintln(w, wrongBox(m))
		}
		printTubes(w, m)
		if len(m.Missing)+len(m.Unexpected) == 0 {
			fmt.Fprintln(w, "to do: scan the tubes named again, and save the list anew; nothing was written")
			return
		}
		fmt.Fprintln(w, "to do: find the tube, or correct its record, then scan the box and seal again; if it "+
			"must be sent like this,\n"+
			"  say why with --tube-reason BARCODE=TEXT for each; nothing was written")
	}); err != nil {
		return err
	}
	return statusError(exitResolve)
}

func wrongBox(m *pack.TubeMatch) string {
	return fmt.Sprintf("%d of %d of these tubes are in the records: is it the wrong box, or the wrong "+
		"collection?", len(m.Matched), len(m.Matched)+len(m.Unexpected))
}

// rightBox asks before a hundred questions about a box that is none of this
// collection's.
func (p *packer) rightBox(m *pack.TubeMatch) error {
	if !site.WrongBox(m) || !p.terminal {
		return nil
	}
	p.tell("%s\n", wrongBox(m))
	for {
		p.tell("  go on with it all the same? (yes or no) ")
		text, end, err := p.line()
		if err != nil {
			return err
		}
		switch strings.ToLower(text) {
		case "yes":
			return nil
		case "no", "":
			if err := p.kept.Clear(); err != nil {
				return err
			}
			return &tubeError{"the box was put aside; nothing was written: scan the box of this collection"}
		}
		if end {
			return p.stopped()
		}
	}
}

// stopped ends a session that somebody left without an answer.
func (p *packer) stopped() error {
	p.tell("\n")
	return usagef("run the same command again", "stopped before the box was packed; nothing was sealed")
}

// A tubeError is about a tube; a person must resolve it.
type tubeError struct{ msg string }

func (e *tubeError) Error() string { return e.msg }

// reasons gathers a reason for each tube that differs: those given, those
// stated before or kept from a run that was stopped, else asked for. A tube that is
// scanned meanwhile is in the box. open counts the tubes without.
func (p *packer) reasons(m *pack.TubeMatch, given []string, stated []deid.Discrepancy) (
	now *pack.TubeMatch, list []deid.Discrepancy, open int, err error) {
	byTube, err := site.Given(m, given, stated)
	if err != nil {
		return nil, nil, 0, err
	}
	passed := map[deid.Discrepancy]bool{} // asked, and no reason given
	for {
		list, missing := site.Differences(m, byTube, p.kept)
		next := slices.IndexFunc(missing, func(n pack.TubeNote) bool {
			return n.Kind != pack.NoteReturn && !passed[site.DifferenceOf(n)]
		})
		if next < 0 || p.in == nil {
			return m, list, len(missing), nil
		}
		d := site.DifferenceOf(missing[next])
		scans, err := p.ask(missing[next], &d)
		if err != nil {
			return nil, nil, 0, err
		}
		if d.Reason != "" {
			if err := p.kept.Give(d); err != nil {
				return nil, nil, 0, err
			}
		} else if !scans {
			passed[d] = true
		}
		m = p.Compare(p.scanned)
	}
}

// ask asks for one reason until it may leave; it stays "" when the packer has none.
// scans says that a tube was scanned instead, which may have answered the question.
func (p *packer) ask(n pack.TubeNote, d *deid.Discrepancy) (scans bool, err error) {
	for {
		p.tell("%s: %s %s\n  why is the box sent like this? (nothing about a person; "+
			"empty: not) ", d.Kind, quoted(n.Barcode), n.Detail)
		text, end, err := p.line()
		switch {
		case err != nil:
			return false, err
		case end && text == "" && p.terminal:
			return false, p.stopped()
		case end && text == "", text == "":
			return false, nil
		case text == "-" || p.IsBarcode(text, p.scanned):
			p.tell("  that is a scan and no reason\n")
			return true, p.take(text)
		}
		if err := p.MayLeave(n.Barcode, text); err == nil {
			d.Reason = text
			return false, nil
		} else {
			p.tell("  %s\n", err)
		}
		if end {
			return false, nil
		}
	}
}

// scan reads barcodes one by one and answers each at once.
func (p *packer) scan() error {
	if err := p.resume(); err != nil {
		return err
	}
	p.tell("scan each tube in the box; an empty line ends, - takes the last one back\n")
	for {
		text, end, err := p.line()
		if err != nil {
			return err
		}
		if text == "" && end && p.terminal {
			return p.stopped()
		}
		if text == "" {
			p.tell("%d scanned\n", len(p.scanned))
			return nil
		}
		if err := p.take(text); err != nil {
			return err
		}
		if m := p.Compare(p.scanned); len(p.scanned) == 5 && len(m.Matched) == 0 {
			p.tell("      none of these 5 is in the records: is it the wrong box, or the wrong collection?\a\n")
		}
		if end {
			return nil
		}
	}
}

// resume takes over what was scanned before a stop, if the packer wants that. What
// comes through a pipe is the whole box.
func (p *packer) resume() error {
	if len(p.kept.Scanned) == 0 {
		return nil
	}
	if p.terminal {
		p.tell("%s of %s are kept in %s; the last "+
			"one is %s\n", count(len(p.kept.Scanned), "scan"), p.kept.When.Local().Format("2 January, 15:04"),
			site.PackingName, quoted(p.kept.Scanned[len(p.kept.Scanned)-1]))
		p.tell("  Enter: go on after it    n: scan the whole box anew ")
		for {
			text, end, err := p.line()
			switch {
			case err != nil:
				return err
			case end && text == "":
				return p.stopped()
			case text == "":
				p.scanned = slices.Clone(p.kept.Scanned)
				return nil
			case strings.EqualFold(text, "n"):
				return p.kept.Take(nil)
			}
			p.tell("  first: Enter or n? ")
		}
	}
	return p.kept.Take(nil)
}

// take adds one scan, or takes the last one back, and answers at once.
func (p *packer) take(text string) error {
	if text == "-" {
		if len(p.scanned) > p.listed {
			p.scanned = p.scanned[:len(p.scanned)-1]
		}
		p.tell("%4d  the last one was taken back\n", len(p.scanned))
		return p.keep()
	}
	one, err := pack.ParseTubes([]byte(text))
	if err != nil {
		p.tell("      not one barcode: scan that tube again\a\n")
		return nil
	}
	b := one[0]
	if p.NamesSomebody(b) {
		p.tell("      this stands in the roster and is no tube; it was not taken\a\n")
		return nil
	}
	p.scanned = append(p.scanned, b)
	m := p.Compare(p.scanned)
	at := slices.IndexFunc(p.Tubes, func(t deid.ClearedTube) bool { return t.Barcode == b })
	if i := noteOf(m, b); i >= 0 {
		p.tell("%4d  %s %s; - takes it back\a\n", len(p.scanned), quoted(b), m.Notes[i].Detail)
	} else if at >= 0 {
		where := "session " + p.Tubes[at].Session
		if position := p.Tubes[at].Position; position != "" {
			where += ", position " + position
		}
		p.tell("%4d  %s  %s\n", len(p.scanned), quoted(b), where)
	}
	return p.keep()
}

// keep writes down what was scanned; of a list in a file, what was scanned beside it.
func (p *packer) keep() error { return p.kept.Take(p.scanned[p.listed:]) }

func noteOf(m *pack.TubeMatch, barcode string) int {
	for i, n := range m.Notes {
		if n.Barcode == barcode {
			return i
		}
	}
	return -1
}

// tell answers at once, on the terminal, also with --quiet.
func (p *packer) tell(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	bell := strings.HasSuffix(text, "\a\n")
	fmt.Fprint(p.u.err, printable(strings.TrimSuffix(text, "\a\n")))
	if bell && terminal(p.u.err) {
		fmt.Fprint(p.u.err, "\a")
	}
	if bell {
		fmt.Fprintln(p.u.err)
	}
}

// line reads one line, without blanks around it. end says that nothing follows.
func (p *packer) line() (text string, end bool, err error) {
	type read struct {
		text string
		end  bool
	}
	got, err := await(p.u, func() (read, error) {
		var b strings.Builder
		for b.Len() <= 4<<10 {
			part, err := p.in.ReadSlice('\n')
			b.Write(part)
			if errors.Is(err, bufio.ErrBufferFull) {
				continue
			}
			if err != nil && !errors.Is(err, io.EOF) {
				return read{end: true}, usagef("give the barcodes with --tubes FILE instead", "the barcodes could "+
					"not be read")
			}
			return read{strings.Trim(b.String(), " \t\r\n\ufeff"), err != nil}, nil
		}
		return read{end: true}, usagef("look at the scanner, and scan the box again", "a line is too long for a "+
			"barcode or a reason")
	})
	return got.text, got.end, err
}
