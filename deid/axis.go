package deid

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math/big"
	"os"
	"strings"

	"outbreath/schema"
)

// lateAxis is the number of seconds from which the first value of a time column may be the time
// of day: 00:10. No recording begins so late after its session (common practice, no source).
const lateAxis = 600

// findAxes sets r.axes to the time columns that begin later than lateAxis, with their first
// values. It reads no more than the first rows.
func (r *recording) findAxes(root *os.Root) error {
	r.axes = nil
	s, err := r.open(root)
	if err != nil {
		return err
	}
	defer s.Close()
	in := bufio.NewReaderSize(io.LimitReader(s.File, maxLine), maxLine)
	if _, err := in.ReadSlice('\n'); err != nil {
		return nil // the check of the recording says what is wrong
	}
	row, _ := in.ReadSlice('\n')
	cells := strings.Split(strings.TrimRight(string(row), "\r\n"), ",")
	if len(cells) != len(r.Columns) {
		return nil
	}
	late := big.NewRat(lateAxis, 1)
	for i, c := range r.Columns {
		first, ok := new(big.Rat).SetString(cells[i])
		if !c.Rising || !ok || len(cells[i]) > maxCellBytes || first.Cmp(late) <= 0 {
			continue
		}
		if c.Min > 0 {
			return r.problem("recording.axis", fmt.Sprintf("the time in column %d may be the time of day, "+
				"and the plan "+
				"does not let it begin at 0; ask the privacy officer for a plan whose column has the minimum 0", i+1))
		}
		if r.axes == nil {
			r.axes = map[int]string{}
		}
		r.axes[i] = cells[i]
	}
	return nil
}

// maxCellBytes is more than the bytes of any number that a recording may hold.
const maxCellBytes = 32

// sizeMoved returns the bytes of the recording once its axes begin at 0.
func (r *recording) sizeMoved(root *os.Root) (int64, error) {
	in, err := r.csv(root)
	if err != nil {
		return 0, err
	}
	defer in.Close()
	return io.Copy(io.Discard, struct{ io.Reader }{in})
}

// An axisReader returns a CSV recording with its late time columns moved to begin at 0. All
// other bytes pass unchanged. It reads what has been checked.
type axisReader struct {
	io.Closer
	in    *bufio.Reader
	axes  map[int]string // first value by column
	ready []byte
	begun bool // the header row has passed
}

func (a *axisReader) Read(p []byte) (int, error) {
	for len(a.ready) == 0 {
		line, err := a.in.ReadBytes('\n')
		if len(line) == 0 && err != nil {
			return 0, err
		}
		if err != nil && err != io.EOF {
			return 0, err
		}
		if a.begun {
			line = a.moved(line)
		}
		a.ready, a.begun = line, true
	}
	n := copy(p, a.ready)
	a.ready = a.ready[n:]
	return n, nil
}

// moved returns a row with the first value of each axis taken from its cell.
func (a *axisReader) moved(line []byte) []byte {
	end := line[len(bytes.TrimRight(line, "\r\n")):]
	cells := strings.Split(string(line[:len(line)-len(end)]), ",")
	for i, first := range a.axes {
		if i < len(cells) {
			cells[i] = lessFirst(cells[i], first)
		}
	}
	return append([]byte(strings.Join(cells, ",")), end...)
}

// lessFirst returns cell minus first, exactly, in plain decimals with as many places as the one
// of the two that has more. Both are numbers that schema.CSVCheck has let through.
func lessFirst(cell, first string) string {
	x, ok1 := new(big.Rat).SetString(cell)
	y, ok2 := new(big.Rat).SetString(first)
	if !ok1 || !ok2 {
		return "" // not a number: no time
	}
	return x.Sub(x, y).FloatString(max(schema.Decimals(cell), schema.Decimals(first)))
}
