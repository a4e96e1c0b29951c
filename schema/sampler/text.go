package sampler

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// A Fault says what of a table cannot be read, where, and what to do. It holds no
// value.
type Fault struct {
	Line, Value int // from 1; 0 where the whole file, or the whole line, is meant
	Message     string
}

func (f *Fault) Error() string {
	switch {
	case f.Line == 0:
		return f.Message
	case f.Value == 0:
		return fmt.Sprintf("line %d %s", f.Line, f.Message)
	}
	return fmt.Sprintf("line %d, value %d %s", f.Line, f.Value, f.Message)
}

var separators = []string{"\t", ";", ",", "|", " "}

// lines reads a text table line by line.
type lines struct {
	r    *bufio.Reader
	line []byte
	n    int  // of the line last read, from 1
	open bool // the line last read has no end: the file was cut off, or just ends so
}

func newLines(r io.Reader) *lines {
	b := bufio.NewReaderSize(r, 64<<10)
	mark, _ := b.Peek(3)
	switch {
	case bytes.HasPrefix(mark, []byte("\xEF\xBB\xBF")):
		b.Discard(3)
	case bytes.HasPrefix(mark, []byte("\xFF\xFE")):
		b.Discard(2)
		b = bufio.NewReaderSize(&utf16Reader{r: b}, 64<<10)
	case bytes.HasPrefix(mark, []byte("\xFE\xFF")):
		b.Discard(2)
		b = bufio.NewReaderSize(&utf16Reader{r: b, high: true}, 64<<10)
	}
	return &lines{r: b}
}

// next returns the next line without its end (LF, CRLF or CR), valid until the next
// call. The error is io.EOF, a *Fault, or of the reader.
func (l *lines) next() ([]byte, error) {
	l.line = l.line[:0]
	l.n++
	for {
		c, err := l.r.ReadByte()
		if err == io.EOF && len(l.line) > 0 {
			l.open = true
			return l.line, nil
		} else if err != nil {
			return nil, err
		}
		switch {
		case c == '\n':
			return l.line, nil
		case c == '\r':
			if b, err := l.r.Peek(1); err == nil && b[0] == '\n' {
				l.r.Discard(1)
			}
			return l.line, nil
		case c == 0 || c < ' ' && c != '\t' && c != '\f':
			return nil, &Fault{l.n, 0, "holds a control character, so this is no table of text: name the file that " +
				"the sampler exports as text, or its EDF file"}
		case len(l.line) == MaxLine:
			return nil, &Fault{l.n, 0, "is longer than any line of a recording: check that this is the sampler's file"}
		}
		l.line = append(l.line, c)
	}
}

// A utf16Reader turns UTF-16 into UTF-8.
type utf16Reader struct {
	r    *bufio.Reader
	high bool // the high byte comes first
	out  []byte
}

func (u *utf16Reader) Read(p []byte) (int, error) {
	for len(u.out) == 0 {
		c, err := u.unit()
		if err != nil {
			return 0, err
		}
		if utf16.IsSurrogate(c) {
			low, err := u.unit()
			if err != nil {
				return 0, err
			}
			c = utf16.DecodeRune(c, low)
		}
		u.out = utf8.AppendRune(u.out[:0], c)
	}
	n := copy(p, u.out)
	u.out = u.out[n:]
	return n, nil
}

func (u *utf16Reader) unit() (rune, error) {
	a, err := u.r.ReadByte()
	if err != nil {
		return 0, err
	}
	b, err := u.r.ReadByte()
	if err == io.EOF {
		return 0, &Fault{0, 0, "ends within a character: copy the file again from the sampler"}
	} else if err != nil {
		return 0, err
	}
	if u.high {
		a, b = b, a
	}
	return rune(a) | rune(b)<<8, nil
}

// split takes a line apart into cells, which it appends to cells[:0]. Quotation
// marks around a cell are taken off, white space at its ends too. It reports false
// if there are more than MaxColumns.
func split(line []byte, separator string, cells [][]byte) ([][]byte, bool) {
	cells = cells[:0]
	if separator == " " {
		cells = append(cells, bytes.Fields(line)...)
		return cells, len(cells) <= MaxColumns
	}
	sep := separator[0]
	for {
		if len(cells) > MaxColumns {
			return cells, false
		}
		cell, rest, more := cut(line, sep)
		cells = append(cells, trim(cell))
		if !more {
			return cells, true
		}
		line = rest
	}
}

// cut returns the first cell of the line, and what follows the separator.
func cut(line []byte, sep byte) (cell, rest []byte, more bool) {
	if open := bytes.TrimLeft(line, " "); len(open) > 0 && open[0] == '"' {
		if end := bytes.IndexByte(open[1:], '"'); end >= 0 {
			cell, rest := open[1:1+end], bytes.TrimLeft(open[end+2:], " ")
			if len(rest) == 0 {
				return cell, nil, false
			} else if rest[0] == sep {
				return cell, rest[1:], true
			}
		}
	}
	return bytes.Cut(line, []byte{sep})
}

// trim takes off white space, no-break spaces included.
func trim(b []byte) []byte { return bytes.Trim(b, " \t\f\u00a0\u202f") }

// text returns a cell of the head as text, in which bytes that are no UTF-8 are
// Latin-1 (common practice, no source).
func text(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	var s strings.Builder
	for _, c := range b {
		s.WriteRune(rune(c))
	}
	return s.String()
}

// maxNumber is the longest number that is read, in bytes.
const maxNumber = 40

var (
	minus    = []byte("\u2212")
	absences = []string{"", "-", "--", "---", "----", "nan", "na", "n/a", "#n/a", "null", "none", "n.a.", "inf"}
)

// number reads a decimal number with the decimal sign, '.' or ','.
func number(cell []byte, decimal byte) (float64, bool) {
	var buf [maxNumber]byte
	if len(cell) == 0 || len(cell) > len(buf) {
		return 0, false
	}
	b, digits := buf[:0], 0
	if bytes.HasPrefix(cell, minus) {
		b, cell = append(b, '-'), cell[len(minus):]
	}
	for _, c := range cell {
		switch {
		case '0' <= c && c <= '9':
			digits++
		case c == decimal:
			c = '.'
		case c != '-' && c != '+' && (c != 'e' && c != 'E' || digits == 0):
			return 0, false
		}
		b = append(b, c)
	}
	f, err := strconv.ParseFloat(string(b), 64)
	return f, digits > 0 && err == nil
}

// absent reports whether a cell says that there is no value.
func (p *Profile) absent(cell []byte) bool {
	if len(cell) > 16 {
		return false
	}
	s := strings.ToLower(string(cell))
	return slices.Contains(absences, s) ||
		slices.ContainsFunc(p.Missing, func(m string) bool { return s != "" && strings.EqualFold(s, m) })
}

// asFault returns err as what it is to a person; errors of the reader stay.
func asFault(err error) (*Fault, bool) {
	var f *Fault
	ok := errors.As(err, &f)
	return f, ok
}
