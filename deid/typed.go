package deid

import (
	"errors"
	"fmt"
	"strings"
	"sync"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// Longest texts that people type about an act, in bytes.
const (
	maxWhy = 2000 // a reason
	maxWho = 100  // who acts
)

// A Typed judges what people type about an act, before it is kept for good in a
// log, a register or a receipt, or travels in a shipment: why it is done, and who
// does it. Safe for concurrent use.
type Typed struct {
	scan     func() *leak.Scanner // made when there is something to search, because that takes its time
	declared []string             // codes of study and site
}

// NewTyped searches with the roster of c. A nil c is a laboratory, which has none:
// only patterns are searched for there.
func NewTyped(c *schema.Collection) *Typed {
	if c == nil {
		return &Typed{scan: scanner(&schema.Roster{})}
	}
	return &Typed{scan: scanner(c.Roster), declared: []string{c.Study.Study, c.Study.Site}}
}

// scanner makes the scanner of r at its first use.
func scanner(r *schema.Roster) func() *leak.Scanner {
	return sync.OnceValue(func() *leak.Scanner { return leak.New(r) })
}

// Why says what is wrong with a reason: nil, or an error that reads on from its
// name ("--reason"). It says where, and never what was typed. A code that the act is
// about, such as a barcode, is declared.
func (t *Typed) Why(text string, declared ...string) error {
	if strings.TrimSpace(text) == "" {
		return errors.New("is empty")
	}
	if err := oneLine(text, maxWhy); err != nil {
		return err
	}
	for _, m := range t.scan().Scan(text, leak.Declare(append(declared, t.declared...)...)) {
		return fmt.Errorf("may hold %s: say it without, because it is kept for good",
			leak.Article(m.Class.Words().Removed))
	}
	return nil
}

// Who is Why for who acts. The name of somebody who works here is no identifier of a
// subject, unless the roster has it.
func (t *Typed) Who(text string) error {
	if strings.TrimSpace(text) == "" {
		return errors.New("is empty")
	}
	if err := oneLine(text, maxWho); err != nil {
		return err
	}
	for _, m := range t.scan().ScanField(text, leak.Declare(t.declared...)) {
		switch {
		case strings.HasPrefix(m.Basis, "roster: "):
			return errors.New("holds something that stands in roster.csv")
		case m.Class != "A":
			return fmt.Errorf("may hold %s", leak.Article(m.Class.Words().Removed))
		}
	}
	return nil
}

// oneLine refuses what is more than one line of visible characters: a line break
// forges a second entry on the screen, a control could command it, and an invisible
// character hides what it stands in.
func oneLine(text string, most int) error {
	if len(text) > most {
		return fmt.Errorf("is too long: shorten it to %d bytes", most)
	}
	if strings.ContainsAny(text, "\n\r\t") {
		return errors.New("must be one line, without tabs")
	}
	if at, _, hidden := schema.Hidden(text); hidden {
		return fmt.Errorf("has something at byte %d that cannot be seen: type the text anew", at+1)
	}
	return nil
}
