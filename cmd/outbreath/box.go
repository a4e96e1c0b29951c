package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"outbreath/deid"
	"outbreath/pack"
)

// A packer compares the box with the records before anything is written.
type packer struct {
	u     *ui
	draft *deid.Draft
	tubes []deid.ClearedTube
	out   map[string]bool // barcodes of records that are left out
	in    *bufio.Reader   // nil: nobody can be asked
}

// packBox reads the barcodes in the box, compares them with the records, and
// puts what differs into the draft, each with its reason: as given, as it was
// stated before, or asked for. A difference without a reason ends the command with
// status 1.
func packBox(u *ui, s *sealOptions, draft *deid.Draft, leftOut map[string]bool, stated []deid.Discrepancy) ([]deid.Discrepancy, error) {
	if s.tubes == "" && !s.scan {
		if len(s.reasons) > 0 {
			return nil, usagef("give the barcodes in the box with --tubes FILE or --scan", "--tube-reason is for a box that is compared")
		}
		return nil, nil
	}
	if s.tubes != "" && s.scan {
		return nil, usagef("leave one of the two away", "--tubes and --scan are two ways to say the same")
	}
	p := &packer{u: u, draft: draft, tubes: draft.Tubes(), out: leftOut}
	if f, ok := u.in.(*os.File); s.scan || ok && terminal(f) && terminal(u.err) && !u.json {
		p.in = bufio.NewReaderSize(u.in, 4<<10)
	}
	var scanned []string
	var err error
	if s.scan {
		scanned, err = p.scan()
	} else {
		scanned, err = scannedTubes(u, s.tubes)
	}
	if err != nil {
		return nil, err
	}
	m := p.compare(scanned)
	if m.Agrees() {
		u.say("tubes: all %d are in the box", len(m.Matched))
		return nil, nil
	}
	if err := p.strangers(m, scanned); err != nil {
		return nil, err
	}
	list, open, err := p.reasons(m, s.reasons, stated)
	if err != nil {
		return nil, err
	}
	if open > 0 {
		if err := u.result(map[string]any{"ok": false, "tubes": m}, func(w io.Writer) {
			printTubes(w, m)
			if len(m.Missing)+len(m.Unexpected) == 0 {
				fmt.Fprintln(w, "to do: scan the tubes named again, and save the list anew; nothing was written")
				return
			}
			fmt.Fprintln(w, "to do: find the tube, or correct its record, then scan the box and seal again; if it must be sent like this,\n"+
				"  say why with --tube-reason BARCODE=TEXT for each; nothing was written")
		}); err != nil {
			return nil, err
		}
		return nil, statusError(exitResolve)
	}
	if err := draft.State(list); err != nil {
		return nil, err
	}
	u.say("tubes: %d of %d are in the box; %s with a reason, which the laboratory will read", len(m.Matched), len(p.tubes), count(len(list), "discrepancy"))
	return list, nil
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

// reasons gathers a reason for each tube that differs: those given, else asked
// for. open counts the tubes without.
func (p *packer) reasons(m *pack.TubeMatch, given []string, stated []deid.Discrepancy) (list []deid.Discrepancy, open int, err error) {
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
			return nil, 0, usagef("write BARCODE=TEXT, with the barcode as it is listed", "a --tube-reason names no tube that is missing or unexpected")
		}
		byTube[best] = text[len(best)+1:]
	}
	for _, n := range m.Notes {
		if n.Kind == pack.NoteReturn { // nothing about the box: the scan must be made again
			open++
			continue
		}
		d := deid.Discrepancy{Barcode: n.Barcode, Kind: deid.TubeUnexpected, Reason: byTube[n.Barcode]}
		switch n.Kind {
		case pack.NoteMissing:
			d.Kind = deid.TubeMissing
		case pack.NoteTwice:
			d.Kind = deid.TubeTwice
		}
		if d.Reason == "" && p.in != nil {
			if d.Reason, err = p.ask(n, d.Kind); err != nil {
				return nil, 0, err
			}
		}
		if d.Reason == "" {
			open++
			continue
		}
		list = append(list, d)
	}
	return list, open, nil
}

// ask asks for one reason until it may leave; "" when the packer has none.
func (p *packer) ask(n pack.TubeNote, kind string) (string, error) {
	for {
		p.tell("%s: %s %s\n  why is the box sent like this? (nothing about a person; empty: not) ", kind, quoted(n.Barcode), n.Detail)
		text, end, err := p.line()
		if err != nil || end || text == "" {
			return "", err
		}
		if err := p.draft.Reason(n.Barcode, text); err == nil {
			return text, nil
		} else {
			p.tell("  %s\n", err)
		}
	}
}

// scan reads barcodes one by one and answers each at once.
func (p *packer) scan() ([]string, error) {
	p.tell("scan each tube in the box; an empty line ends, - takes the last one back\n")
	sessions := map[string]deid.ClearedTube{}
	for _, t := range p.tubes {
		sessions[t.Barcode] = t
	}
	var scanned []string
	for {
		text, end, err := p.line()
		if err != nil {
			return nil, err
		}
		if text == "" {
			p.tell("%d scanned\n", len(scanned))
			return scanned, nil
		}
		if text == "-" {
			if len(scanned) > 0 {
				scanned = scanned[:len(scanned)-1]
			}
			p.tell("%4d  the last one was taken back\n", len(scanned))
			continue
		}
		one, err := pack.ParseTubes([]byte(text))
		if err != nil {
			p.tell("      not one barcode: scan that tube again\a\n")
			continue
		}
		b := one[0]
		m := p.compare(append(scanned, b))
		t, known := sessions[b]
		switch i := noteOf(m, b); {
		case p.draft.NamesSomebody(b):
			p.tell("      this stands in the roster and is no tube; it was not taken\a\n")
		case i >= 0:
			scanned = append(scanned, b)
			p.tell("%4d  %s %s; - takes it back\a\n", len(scanned), quoted(b), m.Notes[i].Detail)
		case known:
			scanned = append(scanned, b)
			p.tell("%4d  %s  session %s, position %s\n", len(scanned), quoted(b), t.Session, t.Position)
		}
		if end {
			return scanned, nil
		}
	}
}

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
	var b strings.Builder
	for b.Len() <= 4<<10 {
		part, err := p.in.ReadSlice('\n')
		b.Write(part)
		if errors.Is(err, bufio.ErrBufferFull) {
			continue
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return "", true, usagef("give the barcodes with --tubes FILE instead", "the barcodes could not be read")
		}
		return strings.Trim(b.String(), " \t\r\n\ufeff"), err != nil, nil
	}
	return "", true, usagef("look at the scanner, and scan the box again", "a line is too long for a barcode or a reason")
}
