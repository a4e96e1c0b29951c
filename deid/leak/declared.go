package leak

import "sync"

// Declared is the set of values that a record itself declares: codes of equipment and
// tubes, which have the form of identifiers but identify no person. A nil Declared is
// empty. Safe for concurrent use.
type Declared struct {
	list  []string
	once  sync.Once
	codes map[string]struct{} // the values of list with the form of a code; made on first use
}

// Declare returns the set of the values in list. The caller must not change list later.
func Declare(list ...string) *Declared { return &Declared{list: list} }

func (d *Declared) none() bool { return d == nil || len(d.list) == 0 }

// maxDeclared is the length in bytes of the longest declared code.
const maxDeclared = 64

// covers reports whether text[start:end] lies within a declared code that occurs in
// text as a whole word: no letter, mark or digit touches it. looked is the number of
// spans that were compared with the codes, for tests: it depends neither on the number
// of codes nor on the length of text, because a record may declare thousands of codes
// and hold as many texts.
func (d *Declared) covers(text string, start, end int) (within bool, looked int) {
	d.once.Do(func() {
		d.codes = make(map[string]struct{}, len(d.list))
		for _, code := range d.list {
			if codeForm(code) {
				d.codes[code] = struct{}{}
			}
		}
	})
	for i := start; i < end; i++ { // codes hold no blanks
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

// codeForm reports whether s is written like a code, and cannot be a person's name: one
// ASCII word with a digit in it, or with at most five letters, all capital.
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
