package edf

import (
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
)

//go:embed words.txt
var wordsFile string

// words returns the words that a text of the header may keep, and whether each is a unit.
var words = sync.OnceValue(func() map[string]bool {
	list := map[string]bool{}
	for line := range strings.Lines(wordsFile) {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		word, unit := strings.CutPrefix(line, "unit ")
		list[word] = unit
	}
	return list
})

// Words returns the words that a text of the header may keep, sorted.
func Words() []string {
	var list []string
	for word := range words() {
		list = append(list, word)
	}
	slices.Sort(list)
	return list
}

// piece is a word, which may end with a digit as "CO2" and "cmH2O" do, a number, or a mark.
var piece = regexp.MustCompile(`[A-Za-z]+(?:[0-9][A-Za-z]*)?|%|[0-9]+(?:\.[0-9]+)?|[ /:;,.()+_-]|.`)

// maxMeasured is how many digits a number before a unit may have, and maxBare how many digits of
// other numbers a text may have: "Flow 2", not a serial number, a date or a year.
const maxMeasured, maxBare = 4, 2

// technical reports whether a text of the header consists of known words, of numbers with a unit,
// and of no more than maxBare digits besides.
func technical(text string) bool {
	known, bare := words(), 0
	pieces := piece.FindAllString(text, -1)
	for i, p := range pieces {
		switch c := p[0]; {
		case c >= '0' && c <= '9':
			digits := len(strings.ReplaceAll(p, ".", ""))
			next := slices.IndexFunc(pieces[i+1:], func(s string) bool { return s != " " })
			if next >= 0 && known[strings.ToLower(pieces[i+1+next])] && digits <= maxMeasured {
				continue
			}
			if bare += digits; bare > maxBare {
				return false
			}
		case len(p) > 1 || c == '%' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z':
			if _, ok := known[strings.ToLower(p)]; !ok {
				return false
			}
		case !strings.Contains(" /:;,.()+_-", p):
			return false
		}
	}
	return true
}

// KeepTechnical empties every free text of the header that has a word which is not in the list of
// technical words; in place of such a label it writes "signal 3". Anybody may have typed anything
// into these fields, and no search knows every name. A text that is kept is still in Texts.
func (h *Header) KeepTechnical() {
	for i := range h.Signals {
		for _, f := range []int{label, transducer, dimension, prefilter} {
			if s := h.ref(f, i); !technical(*s) {
				*s = ""
				if f == label {
					*s = fmt.Sprintf("signal %d", i+1)
				}
			}
		}
	}
}

// DropTexts removes every annotation from b, the bytes of one annotation signal in one data
// record. If clock is set, the signal is the first of its data record, and its first onset stays:
// it is the record's time (2.2.4). The size remains. The error is that of [ParseTALs].
func DropTexts(b []byte, clock bool) error {
	tals, err := ParseTALs(b)
	if err != nil {
		return err
	}
	keep := []byte(nil)
	if clock && len(tals) > 0 {
		keep = append([]byte(tals[0].Onset), endText, endText, endTAL)
	}
	clear(b)
	copy(b, keep)
	return nil
}

// FieldNames returns the names of the fields of a header, in their order: first those of the
// file, then those of each signal.
func FieldNames() (file, signal []string) {
	for f := range int(fieldCount) {
		if f < label {
			file = append(file, fields[f].name)
		} else {
			signal = append(signal, fields[f].name)
		}
	}
	return file, signal
}
