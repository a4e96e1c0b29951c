package custody

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxLine bounds one line with its line feed, bytes.
const maxLine = 64 << 10

// sumField separates what the checksum covers from the checksum; a fact may
// be called "sum" as well, so the last one counts.
const sumField = `,"sum":"`

// format returns e as a line with its line feed and fills in e.Sum. Facts come
// in the order of their names, so equal entries are equal bytes.
func format(e *Entry) ([]byte, error) {
	if err := e.check(); err != nil {
		return nil, err
	}
	e.Sum = ""
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(e); err != nil {
		return nil, errors.New("the entry's time cannot be written") // all else can
	}
	covered := bytes.TrimSuffix(b.Bytes(), []byte("}\n"))
	e.Sum = hexSum(covered)
	line := append(covered, sumField+e.Sum+"\"}\n"...)
	if len(line) > maxLine {
		return nil, fmt.Errorf("the entry is longer than %d bytes", maxLine)
	}
	return line, nil
}

// What is wrong with a line. Each completes "this line".
var (
	errNotEntry = errors.New("is not an entry of this journal")
	errChanged  = errors.New("was changed after it was written")
	errForm     = errors.New("is not in the form of an entry of this program: it was changed, or another version " +
		"of the program wrote it")
	errGap = errors.New("does not follow the one before: lines between them are missing, or their order was " +
		"changed")
	errPutIn = errors.New("does not follow the one before: it was put in, or the order of lines was changed")
	errChain = errors.New("was chained to another line than the one before it: one of the two was replaced")
)

// parse reads a line without its line feed. Only what format writes is taken:
// that leaves no second way to read a line. The error completes "this line".
func parse(line []byte) (Entry, error) {
	var e Entry
	i := bytes.LastIndex(line, []byte(sumField))
	if i < 0 || json.Unmarshal(line, &e) != nil {
		return e, errNotEntry
	}
	if e.Sum != hexSum(line[:i]) {
		return e, errChanged
	}
	again := e
	if want, err := format(&again); err != nil || !bytes.Equal(want, append(line[:len(line):len(line)], '\n')) {
		return e, errForm
	}
	return e, nil
}

// check returns what keeps e from being an entry. Control characters are refused
// because their escapes in JSON are not the same in every version of Go.
func (e *Entry) check() error {
	switch {
	case e.When.IsZero():
		return errors.New("the entry has no time")
	case e.Who == "":
		return errors.New("the entry does not say who did it")
	case e.What == "":
		return errors.New("the entry does not say what was done")
	}
	texts := []string{e.Who, e.What, e.Shipment, e.Why}
	for name, value := range e.Facts {
		texts = append(texts, name, value)
	}
	for _, s := range texts {
		if !utf8.ValidString(s) {
			return errors.New("a text of the entry is not UTF-8")
		}
		if strings.ContainsFunc(s, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }) {
			return errors.New("a text of the entry holds a control character")
		}
	}
	return nil
}
