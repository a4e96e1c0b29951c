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
	kept     *site.Packing // scans and reasons saved in the collection
	scanned  []string      // barcodes so far, those of a file first
	listed   int           // how many of them came from a file
}

// packBox reads the barcodes in the box, compares them with the records, and puts the
// differences into the draft, each with its reason: from the command line, from before,
// or asked for. A difference without a reason ends the command with status 1. Scans and
// reasons are saved in root until the shipment is sealed, and the next run continues
// from them.
func packBox(u *ui, s *sealOptions, root *os.Root, b *site.Box, before []deid.Discrepancy) ([]deid.Discrepancy, error) {
	if s.tubes == "" && !s.scan {
		if len(s.reasons) > 0 {
			return nil, usagef("give the barcodes in the box with --tubes FILE or --scan", "--tube-reason is only "+
				"for a box that is compared")
		}
		return nil, nil
	}
	if s.tubes != "" && s.scan {
		return nil, usagef("use one of them", "--tubes and --scan cannot be used together")
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
		stated, err = p.pack(s, root, before)
		return err
	})
	if err != nil && p.kept.Any() {
		u.tell("saved in %s: %s and %s; run the same command to "+
			"continue", site.PackingName, count(len(p.kept.Scanned), "scan"), count(len(p.kept.Reasons), "reason"))
	}
	return stated, err
}

// pack gathers the scans, those of an interrupted run included, and returns what differs
// from the records, each difference with its reason.
func (p *packer) pack(s *sealOptions, root *os.Root, before []deid.Discrepancy) (list []deid.Discrepancy,
	err error) {
	if s.scan {
		err = p.scan()
	} else if p.scanned, err = siteTubes(p.u, root, s.tubes, p.Box); err == nil {
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

// openTubes reports the tubes that differ without a reason, and ends with status 1.
func (p *packer) openTubes(m *pack.TubeMatch) error {
	if err := p.u.result(map[string]any{"ok": false, "tubes": m}, func(w io.Writer) {
		if site.WrongBox(m) {
			fmt.Fprintln(w, wrongBox(m))
		}
		printTubes(w, m)
		if len(m.Missing)+len(m.Unexpected) == 0 {
			fmt.Fprintln(w, "to do: scan the tubes named again, and save a new list; nothing was written")
			return
		}
		fmt.Fprintln(w, "to do: find the tube, or correct its record, then scan the box and seal again; if it "+
			"must be sent like this,\n"+
			"  give the reason for each with --tube-reason BARCODE=TEXT; nothing was written")
	}); err != nil {
		return err
	}
	return statusError(exitResolve)
}

func wrongBox(m *pack.TubeMatch) string {
	return fmt.Sprintf("%d of these %d tubes are in the records: wrong box, or wrong "+
		"collection?", len(m.Matched), len(m.Matched)+len(m.Unexpected))
}

// rightBox asks one question if the box seems to be another collection's, because
// asking for the reason of every tube would be pointless then.
func (p *packer) rightBox(m *pack.TubeMatch) error {
	if !site.WrongBox(m) || !p.terminal {
		return nil
	}
	p.tell("%s\n", wrongBox(m))
	for {
		p.tell("  continue anyway? (yes or no) ")
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
			return &tubeError{"the scans were discarded; nothing was written: scan the box of this collection"}
		}
		if end {
			return p.stopped()
		}
	}
}

// stopped is the error when input ends before the question was answered.
func (p *packer) stopped() error {
	p.tell("\n")
	return usagef("run the same command again", "stopped before the box was packed; nothing was sealed")
}

// A tubeError is about a tube. A person must resolve it: status 1.
type tubeError struct{ msg string }

func (e *tubeError) Error() string { return e.msg }

// reasons finds a reason for each tube that differs: from the command line, from the
// earlier copy of the shipment, from an interrupted run, or by asking. A tube that is
// scanned in answer to a question counts as in the box. open is the number of tubes that
// remain without a reason.
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

// ask asks for one reason until it may leave the site. d.Reason remains "" if the packer
// gives none. scans reports whether a tube was scanned instead, which may have settled
// the question.
func (p *packer) ask(n pack.TubeNote, d *deid.Discrepancy) (scans bool, err error) {
	for {
		p.tell("%s: %s %s\n  Reason (no personal details; "+
			"Enter to skip): ", d.Kind, quoted(n.Barcode), n.Detail)
		text, end, err := p.line()
		switch {
		case err != nil:
			return false, err
		case end && text == "" && p.terminal:
			return false, p.stopped()
		case end && text == "", text == "":
			return false, nil
		case text == "-" || p.IsBarcode(text, p.scanned):
			p.tell("  that is a barcode, not a reason\n")
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

// scan reads barcodes one by one, and answers each at once: the packer looks at the tube,
// not at the screen, and must hear of a mistake before the next one.
func (p *packer) scan() error {
	if err := p.resume(); err != nil {
		return err
	}
	p.tell("scan each tube in the box; an empty line ends, - removes the last scan\n")
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
			p.tell("      none of these 5 is in the records: wrong box, or wrong collection?\a\n")
		}
		if end {
			return nil
		}
	}
}

// resume restores the scans of an interrupted run, if the packer wants that. Without a
// terminal they are dropped, because what comes through a pipe is the whole box.
func (p *packer) resume() error {
	if len(p.kept.Scanned) == 0 {
		return nil
	}
	if p.terminal {
		p.tell("%s from %s saved in %s; the last "+
			"is %s\n", count(len(p.kept.Scanned), "scan"), p.kept.When.Local().Format("2 January, 15:04"),
			site.PackingName, quoted(p.kept.Scanned[len(p.kept.Scanned)-1]))
		p.tell("  Enter: continue after it    n: scan the whole box again ")
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
			p.tell("  Enter or n? ")
		}
	}
	return p.kept.Take(nil)
}

// take adds one scan, or removes the last one after "-", and answers at once.
func (p *packer) take(text string) error {
	if text == "-" {
		if len(p.scanned) > p.listed {
			p.scanned = p.scanned[:len(p.scanned)-1]
		}
		p.tell("%4d  the last scan was removed\n", len(p.scanned))
		return p.keep()
	}
	one, err := pack.ParseTubes([]byte(text))
	if err != nil {
		p.tell("      not one barcode: scan that tube again\a\n")
		return nil
	}
	b := one[0]
	if p.NamesSomebody(b) {
		p.tell("      this is in the roster and is not a tube; it was not accepted\a\n")
		return nil
	}
	p.scanned = append(p.scanned, b)
	m := p.Compare(p.scanned)
	at := slices.IndexFunc(p.Tubes, func(t deid.ClearedTube) bool { return t.Barcode == b })
	if i := noteOf(m, b); i >= 0 {
		p.tell("%4d  %s %s; - removes it\a\n", len(p.scanned), quoted(b), m.Notes[i].Detail)
	} else if at >= 0 {
		where := "session " + p.Tubes[at].Session
		if position := p.Tubes[at].Position; position != "" {
			where += ", position " + position
		}
		p.tell("%4d  %s  %s\n", len(p.scanned), quoted(b), where)
	}
	return p.keep()
}

// keep saves the scans, without those that come from a file and will be read again.
func (p *packer) keep() error { return p.kept.Take(p.scanned[p.listed:]) }

// noteOf returns the index of the note on a barcode, or -1.
func noteOf(m *pack.TubeMatch, barcode string) int {
	for i, n := range m.Notes {
		if n.Barcode == barcode {
			return i
		}
	}
	return -1
}

// tell prints an answer, even with --quiet: without it nobody could scan. A text that ends
// with a bell rings it on a terminal only.
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

// line reads one line, of at most 4 KiB, and trims it. end reports whether input has ended.
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
