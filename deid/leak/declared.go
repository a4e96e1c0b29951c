package leak

import "sync"

// Declared are values that a record itself declares: codes of things, which have the
// shape of identifiers but are of no person. The nil *Declared declares nothing. Safe for
// concurrent use.
type Declared struct {
	list  []string
	once  sync.Once
	codes map[string]struct{} // of those, what has the form of a code; made when it is first asked for
}

// Declare makes a set of list, which must not be changed after.
func Declare(list ...string) *Declared { return &Declared{list: list} }

func (d *Declared) none() bool { return d == nil || len(d.list) == 0 }

// maxDeclared is the most bytes that a declared code has.
const maxDeclared = 64

// covers reports whether text[start:end] lies within a declared code that is there
// as a whole: between what is neither letter, mark nor digit. looked is how many
// stretches of text were compared with the codes. It does not grow with their number nor
// with the text, because a record may declare thousands and hold as many texts.
func (d *Declared) covers(text string, start, end int) (within bool, looked int) {
	d.once.Do(func() {
		d.codes = make(map[string]struct{}, len(d.list))
		for _, code := range d.list {
			if codeForm(code) {
				d.codes[code] = struct{}{}
			}
		}
	})
	for i := start; i < end; i++ { // no code holds a blank
		if !codeByte(text[i]) || i-start == maxDeclared {
			return false, looked
		}
	}
	for from := start; ; from-- {
		if !wordEnds(text[:from]) {
			for to := end; to-from <= maxDeclared; to++ {
				if !wordBegins(text[to:]) {
					looked++
					if _, ok := d.codes[text[from:to]]; ok {
						return true, looked
					}
				}
				if to == len(text) || !codeByte(text[to]) {
					break
				}
			}
		}
		if from == 0 || !codeByte(text[from-1]) || end-from == maxDeclared {
			return false, looked
		}
	}
}

func codeByte(c byte) bool { return ' ' < c && c <= '~' }

// codeForm reports whether s is written as a code of a thing and not as a person's
// name: one word of ASCII without blanks that holds a digit, or capitals alone, at
// most five.
func codeForm(s string) bool {
	digit, capitals := false, len(s) <= 5
	for _, c := range []byte(s) {
		if !codeByte(c) {
			return false
		}
		digit = digit || isDigit(c)
		capitals = capitals && 'A' <= c && c <= 'Z'
	}
	return s != "" && len(s) <= maxDeclared && (digit || capitals)
}
