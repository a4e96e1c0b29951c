package deid

import (
	"unicode/utf8"

	"outbreath/deid/leak"
)

// A Passage is a finding with the words around it, for the person who decides. It
// holds an identifier: it must never be stored, logged or printed anywhere except on
// that person's terminal.
type Passage struct{ Before, Suspect, After string }

// passageBytes is how many bytes of text are shown on each side, rounded up to whole
// characters.
const passageBytes = 60

// Passage returns the words of a finding that [Draft.Findings] returned; ok is false
// when the draft has no such place.
func (d *Draft) Passage(f leak.Finding) (p Passage, ok bool) {
	d.each(func(at place) {
		start, end := f.Start-at.base, f.End-at.base
		if ok || at.file != f.File || at.pointer != f.Pointer || start < 0 || start >= end || end > len(at.text) {
			return
		}
		from, to := max(0, start-passageBytes), min(len(at.text), end+passageBytes)
		for from > 0 && !utf8.RuneStart(at.text[from]) {
			from--
		}
		for to < len(at.text) && !utf8.RuneStart(at.text[to]) {
			to++
		}
		p, ok = Passage{at.text[from:start], at.text[start:end], at.text[end:to]}, true
	})
	return p, ok
}
