package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode"

	"outbreath/deid"
	"outbreath/pack"
)

// A packer compares the box with the records before anything is written.
type packer struct {
	u        *ui
	draft    *deid.Draft
	tubes    []deid.ClearedTube
	out      map[string]bool // barcodes of records that are left out
	in       *bufio.Reader   // nil: nobody can be asked
	terminal bool            // somebody sits at it
	box      *packing        // what was scanned and given, kept beside custody.jsonl
	scanned  []string
	listed   int // how many of those a file has given
}

// packBox reads the barcodes in the box, compares them with the records, and
// puts what differs into the draft, each with its reason: as given, as it was stated
// before, or asked for. A difference without a reason ends the command with status 1. What was scanned and given is kept in
// root until the shipment is sealed, so that the next run goes on from there.
func packBox(u *ui, s *sealOptions, root *os.Root, draft *deid.Draft, leftOut map[string]bool, before []deid.Discrepancy) ([]deid.Discrepancy, error) {
	if s.tubes == "" && !s.scan {
		if len(s.reasons) > 0 {
			return nil, usagef("give the barcodes in the box with --tubes FILE or --scan", "--tube-reason is for a box that is compared")
		}
		return nil, nil
	}
	if s.tubes != "" && s.scan {
		return nil, usagef("leave one of the two away", "--tubes and --scan are two ways to say the same")
	}
	p := &packer{u: u, draft: draft, tubes: draft.Tubes(), out: leftOut, terminal: interactive(u)}
	if s.scan || p.terminal {
		p.in = bufio.NewReaderSize(u.in, 4<<10)
	}
	var err error
	if p.box, err = openPacking(root, s.scan); err != nil {
		return nil, err
	}
	s.packed = p.box
	u.tty.fresh(false)
	var stated []deid.Discrepancy
	err = u.tty.shown(func() error {
		stated, err = p.pack(s, before)
		return err
	})
	if err != nil && p.box.any() {
		u.tell("kept in %s: %s and %s; the same command goes on from there", packingFile, count(len(p.box.Scanned), "scan"), count(len(p.box.Reasons), "reason"))
	}
	return stated, err
}

func (p *packer) pack(s *sealOptions, before []deid.Discrepancy) (list []deid.Discrepancy, err error) {
	if s.scan {
		err = p.scan()
	} else if p.scanned, err = scannedTubes(p.u, s.tubes); err == nil {
		p.listed = len(p.scanned)
		for _, b := range p.box.Scanned {
			if !slices.Contains(p.scanned, b) {
				p.scanned = append(p.scanned, b)
			}
		}
	}
	if err != nil {
		return nil, err
	}
	p.box.Reasons = slices.DeleteFunc(p.box.Reasons, func(d deid.Discrepancy) bool { return p.draft.Reason(d.Barcode, d.Reason) != nil })
	m := p.compare(p.scanned)
	if m.Agrees() {
		p.u.say("tubes: all %d are in the box", len(m.Matched))
		return nil, nil
	}
	if err := p.strangers(m, p.scanned); err != nil {
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
	if err := p.draft.State(list); err != nil {
		return nil, err
	}
	if len(list) > 0 {
		p.u.say("tubes: %d of %d are in the box; %s with a reason, which the laboratory will read", len(m.Matched), len(p.tubes), count(len(list), "discrepancy"))
	} else {
		p.u.say("tubes: all %d are in the box", len(m.Matched))
	}
	return list, nil
}

// openTubes tells of the tubes that have no reason, and is status 1.
func (p *packer) openTubes(m *pack.TubeMatch) error {
	if err := p.u.result(map[string]any{"ok": false, "tubes": m}, func(w io.Writer) {
		if strange(m) {
			fmt.Fprintln(w, wrongBox(m))
		}
		printTubes(w, m)
		if len(m.Missing)+len(m.Unexpected) == 0 {
			fmt.Fprintln(w, "to do: scan the tubes named again, and save the list anew; nothing was written")
			return
		}
		fmt.Fprintln(w, "to do: find the tube, or correct its record, then scan the box and seal again; if it must be sent like this,\n"+
			"  say why with --tube-reason BARCODE=TEXT for each; nothing was written")
	}); err != nil {
		return err
	}
	return statusError(exitResolve)
}

// strange reports whether hardly a tube of the box has a record, as of last week's
// box. A box with nothing in it is another matter.
func strange(m *pack.TubeMatch) bool {
	boxed := len(m.Matched) + len(m.Unexpected)
	return len(m.Unexpected) >= 3 && len(m.Matched)*10 < boxed
}

func wrongBox(m *pack.TubeMatch) string {
	return fmt.Sprintf("%d of %d of these tubes are in the records: is it the wrong box, or the wrong collection?", len(m.Matched), len(m.Matched)+len(m.Unexpected))
}

// rightBox asks before a hundred questions about a box that is none of this
// collection's.
func (p *packer) rightBox(m *pack.TubeMatch) error {
	if !strange(m) || !p.terminal {
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
			if err := p.box.clear(); err != nil {
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

// compare says how the barcodes in the box differ from those of the records.
func (p *packer) compare(scanned []string) *pack.TubeMatch {
	var recorded []string
	for _, t := range p.tubes {
		recorded = append(recorded, t.Barcode)
	}
	m := pack.MatchTubes(scanned, recorded)
	m.Explain()
	for i := range m.Notes {
		if n := &m.Notes[i]; n.Kind == pack.NoteUnknown && p.out[n.Barcode] {
			n.Detail = "belongs to a record that is left out, because consent was withdrawn: take the tube out of the box, and ask the privacy officer what becomes of it"
		}
	}
	return m
}

// strangers refuses a scan that stands in the roster: somebody's wristband or
// label. It is not shown.
func (p *packer) strangers(m *pack.TubeMatch, scanned []string) error {
	for _, b := range m.Unexpected {
		if !p.draft.NamesSomebody(b) {
			continue
		}
		for i, s := range scanned {
			if strings.TrimSuffix(s, "\r") == b {
				return &tubeError{fmt.Sprintf("barcode %d of the box is no tube: it stands in the roster, and is not shown here; take it out and scan the box again", i+1)}
			}
		}
	}
	return nil
}

// A tubeError is about a tube; a person must resolve it.
type tubeError struct{ msg string }

func (e *tubeError) Error() string { return e.msg }

// reasons gathers a reason for each tube that differs: those given, those
// stated before or kept from a run that was stopped, else asked for. A tube that is
// scanned meanwhile is in the box. open counts the tubes without.
func (p *packer) reasons(m *pack.TubeMatch, given []string, stated []deid.Discrepancy) (now *pack.TubeMatch, list []deid.Discrepancy, open int, err error) {
	byTube := map[string]string{}
	for _, d := range stated {
		byTube[d.Barcode] = d.Reason
	}
	for _, text := range given {
		best := ""
		for _, n := range m.Notes {
			if strings.HasPrefix(text, n.Barcode+"=") && len(n.Barcode) > len(best) {
				best = n.Barcode
			}
		}
		if best == "" {
			return nil, nil, 0, usagef("write BARCODE=TEXT, with the barcode as it is listed", "a --tube-reason names no tube that is missing or unexpected")
		}
		byTube[best] = text[len(best)+1:]
	}
	passed := map[deid.Discrepancy]bool{} // asked, and no reason given
	for {
		list, open = nil, 0
		var next *pack.TubeNote
		for i, n := range m.Notes {
			d := deid.Discrepancy{Barcode: n.Barcode, Kind: kindOf(n)}
			if n.Kind == pack.NoteReturn { // nothing about the box: the scan must be made again
				open++
				continue
			}
			if d.Reason = cmp.Or(byTube[n.Barcode], p.box.reason(d)); d.Reason != "" {
				list = append(list, d)
				continue
			}
			if open++; next == nil && !passed[d] {
				next = &m.Notes[i]
			}
		}
		if next == nil || p.in == nil {
			return m, list, open, nil
		}
		d := deid.Discrepancy{Barcode: next.Barcode, Kind: kindOf(*next)}
		scans, err := p.ask(*next, &d)
		if err != nil {
			return nil, nil, 0, err
		}
		if d.Reason != "" {
			if err := p.box.give(d); err != nil {
				return nil, nil, 0, err
			}
		} else if !scans {
			passed[d] = true
		}
		m = p.compare(p.scanned)
	}
}

func kindOf(n pack.TubeNote) string {
	switch n.Kind {
	case pack.NoteMissing:
		return deid.TubeMissing
	case pack.NoteTwice:
		return deid.TubeTwice
	}
	return deid.TubeUnexpected
}

// ask asks for one reason until it may leave; it stays "" when the packer has none.
// scans says that a tube was scanned instead, which may have answered the question.
func (p *packer) ask(n pack.TubeNote, d *deid.Discrepancy) (scans bool, err error) {
	for {
		p.tell("%s: %s %s\n  why is the box sent like this? (nothing about a person; empty: not) ", d.Kind, quoted(n.Barcode), n.Detail)
		text, end, err := p.line()
		switch {
		case err != nil:
			return false, err
		case end && text == "" && p.terminal:
			return false, p.stopped()
		case end && text == "", text == "":
			return false, nil
		case text == "-" || p.barcode(text):
			p.tell("  that is a scan and no reason\n")
			return true, p.take(text)
		}
		if err := p.draft.Reason(n.Barcode, text); err == nil {
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

// barcode reports whether a text is a barcode: of a tube that has a record or is in
// the box, or one that looks like those of the records, digit for digit.
func (p *packer) barcode(text string) bool {
	if strings.ContainsAny(text, " \t") || p.out[text] || slices.Contains(p.scanned, text) {
		return !strings.ContainsAny(text, " \t")
	}
	look := shape(text)
	return slices.ContainsFunc(p.tubes, func(t deid.ClearedTube) bool {
		return t.Barcode == text || strings.ContainsRune(look, '9') && shape(t.Barcode) == look
	})
}

// shape is a barcode with every digit made 9 and every letter A.
func shape(barcode string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsDigit(r):
			return '9'
		case unicode.IsLetter(r):
			return 'A'
		}
		return r
	}, barcode)
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
		if m := p.compare(p.scanned); len(p.scanned) == 5 && len(m.Matched) == 0 {
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
	if len(p.box.Scanned) == 0 {
		return nil
	}
	if p.terminal {
		p.tell("%s of %s are kept in %s; the last one is %s\n", count(len(p.box.Scanned), "scan"), p.box.When.Local().Format("2 January, 15:04"), packingFile, quoted(p.box.Scanned[len(p.box.Scanned)-1]))
		p.tell("  Enter: go on after it    n: scan the whole box anew ")
		for {
			text, end, err := p.line()
			switch {
			case err != nil:
				return err
			case end && text == "":
				return p.stopped()
			case text == "":
				p.scanned = slices.Clone(p.box.Scanned)
				return nil
			case strings.EqualFold(text, "n"):
				return p.box.scan(nil)
			}
			p.tell("  first: Enter or n? ")
		}
	}
	return p.box.scan(nil)
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
	if p.draft.NamesSomebody(b) {
		p.tell("      this stands in the roster and is no tube; it was not taken\a\n")
		return nil
	}
	p.scanned = append(p.scanned, b)
	m := p.compare(p.scanned)
	at := slices.IndexFunc(p.tubes, func(t deid.ClearedTube) bool { return t.Barcode == b })
	if i := noteOf(m, b); i >= 0 {
		p.tell("%4d  %s %s; - takes it back\a\n", len(p.scanned), quoted(b), m.Notes[i].Detail)
	} else if at >= 0 {
		where := "session " + p.tubes[at].Session
		if position := p.tubes[at].Position; position != "" {
			where += ", position " + position
		}
		p.tell("%4d  %s  %s\n", len(p.scanned), quoted(b), where)
	}
	return p.keep()
}

// keep writes down what was scanned; of a list in a file, what was scanned beside it.
func (p *packer) keep() error { return p.box.scan(p.scanned[p.listed:]) }

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
				return read{end: true}, usagef("give the barcodes with --tubes FILE instead", "the barcodes could not be read")
			}
			return read{strings.Trim(b.String(), " \t\r\n\ufeff"), err != nil}, nil
		}
		return read{end: true}, usagef("look at the scanner, and scan the box again", "a line is too long for a barcode or a reason")
	})
	return got.text, got.end, err
}
