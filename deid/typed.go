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

// A Typed checks what people type about an act, why it is done and who does it, before
// the text is stored permanently in a log, a register or a receipt, or travels in a
// shipment. Safe for concurrent use.
type Typed struct {
	scan     func() *leak.Scanner // made on first use, because making it takes time
	declared []string             // codes of study and site
}

// NewTyped returns a Typed that searches with the roster of c. c is nil at a
// laboratory, which has no roster: only patterns are searched for there.
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

// Why checks a reason. The error continues a sentence that begins with the option's
// name ("--reason"), and never quotes the text. declared are codes that the act is
// about, such as a barcode; they are no findings.
func (t *Typed) Why(text string, declared ...string) error {
	if strings.TrimSpace(text) == "" {
		return errors.New("is empty")
	}
	if err := oneLine(text, maxWhy); err != nil {
		return err
	}
	for _, m := range t.scan().Scan(text, leak.Declare(append(declared, t.declared...)...)) {
		return fmt.Errorf("may hold %s: leave it out, because the text is kept for good",
			leak.Article(m.Class.Words().Removed))
	}
	return nil
}

// Who is like Why, for the person who acts. A name is no finding, because staff are not
// subjects, unless the roster lists it.
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
			return errors.New("holds a value that is listed in roster.csv")
		case m.Class != "A":
			return fmt.Errorf("may hold %s", leak.Article(m.Class.Words().Removed))
		}
	}
	return nil
}

// oneLine returns an error unless text is one line of visible characters, at most most
// bytes long. A line break could forge a second entry on the screen, a control
// character could command the terminal, and an invisible character could hide an
// identifier.
func oneLine(text string, most int) error {
	if len(text) > most {
		return fmt.Errorf("is too long: shorten it to %d bytes", most)
	}
	if strings.ContainsAny(text, "\n\r\t") {
		return errors.New("must be one line, without tabs")
	}
	if at, _, hidden := schema.Hidden(text); hidden {
		return fmt.Errorf("has an invisible character at byte %d: type the text again", at+1)
	}
	return nil
}
