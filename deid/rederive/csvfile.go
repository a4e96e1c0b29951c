package rederive

import (
	"bufio"
	"bytes"
	"io"
	"math/big"
	"strconv"
	"strings"
)

// sameBytes compares a CSV recording with its source, byte for byte, and returns how many
// cells the bag's file has. When they differ, row and column are where, from 1.
func sameBytes(source, there io.Reader) (cells int64, same bool, row, column int, err error) {
	a, b := bufio.NewReaderSize(source, 64<<10), make([]byte, 64<<10)
	want := make([]byte, 64<<10)
	row, column, same = 1, 1, true
	for {
		n, err := io.ReadFull(there, b)
		if n > 0 && same {
			m, readErr := io.ReadFull(a, want[:n])
			if readErr != nil && readErr != io.EOF && readErr != io.ErrUnexpectedEOF {
				return cells, false, row, column, readErr
			}
			equal := 0
			for equal < m && b[equal] == want[equal] {
				equal++
			}
			row, column = after(b[:equal], row, column)
			same = equal == n
		}
		cells += int64(bytes.Count(b[:n], []byte{','}) + bytes.Count(b[:n], []byte{'\n'}))
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			break
		} else if err != nil {
			return cells, false, row, column, err
		}
	}
	if same {
		if _, err := a.ReadByte(); err == nil {
			same = false // the source goes on
		} else if err != io.EOF {
			return cells, false, row, column, err
		}
	}
	return cells, same, row, column, nil
}

// after returns row and column behind data.
func after(data []byte, row, column int) (int, int) {
	for _, c := range data {
		switch c {
		case '\n':
			row, column = row+1, 1
		case ',':
			column++
		}
	}
	return row, column
}

// recording compares a recording.
func (c *Comparison) recording(path, name string, in *counted) error {
	if len(name) >= 21 {
		c.recognise(name[:21])
	}
	s, r := c.ofRecording(name)
	switch {
	case s == nil || r == nil:
		return c.stranger(path, "is no recording of the collection under the site's key", in)
	case s.leftOut:
		return c.stranger(path, "is of a subject who has withdrawn; nothing of theirs may leave", in)
	case r.seen:
		return c.stranger(path, "is in the bag twice", in)
	}
	r.seen = true
	c.formats[r.format]++
	c.searched++ // its name
	sort := map[string]string{"csv": CSVs, "edf": EDFs}[r.format]
	if sort == "" {
		return c.stranger(path, "is of a format that does not leave", in)
	}
	c.sort(sort).Files++
	f, err := c.source.Folder.Open(r.file)
	if err != nil {
		_, err := io.Copy(io.Discard, in)
		c.untestable(sort, "a recording", "its source cannot be read any more", 1, in.n)
		return err
	}
	defer f.Close()
	if r.format == "edf" {
		return c.edf(path, s, r, f, in)
	}
	axes, err := c.lateAxes(r.file)
	if err != nil {
		return err
	}
	source := io.Reader(f)
	if axes != nil {
		c.moves++
		source = &movedAxes{in: bufio.NewReaderSize(f, maxRow), first: axes}
	}
	cells, same, row, column, err := sameBytes(source, in)
	if err != nil {
		return err
	}
	if same {
		c.alike(CSVs, cells, in.n)
		return nil
	}
	c.unlike(CSVs, path, "line "+strconv.Itoa(row)+", column "+strconv.Itoa(column),
		"differs from the source's recording", cells, in.n)
	return nil
}

// lateAxis is the number of seconds beyond which a time column may begin with the time of
// day, so that it leaves as seconds since its first row.
const lateAxis = 600

// maxRow bounds a row of a CSV recording, in bytes.
const maxRow = 64 << 10

// timeColumns returns the columns of time, from 0: those that the plan's schema calls
// rising; the first one if the schema declares no columns.
func timeColumns(plan []byte) []int {
	n, err := parse(plan)
	if err != nil {
		return []int{0}
	}
	columns := n.deep("columns")
	if columns == nil || columns.kind != array {
		return []int{0}
	}
	var list []int
	for i, c := range columns.items {
		if rising := c.member("rising"); rising != nil && rising.text == "true" {
			list = append(list, i)
		}
	}
	return list
}

// deep returns the first member called name of a leaf that is a recording, at any depth.
func (n *node) deep(name string) *node {
	if n.member("deid").str() == "recording" && n.member(name) != nil {
		return n.member(name)
	}
	for _, item := range n.items {
		if found := item.deep(name); found != nil {
			return found
		}
	}
	return nil
}

// lateAxes returns the first values of the time columns of a recording that begin late, by
// column; nil if none does.
func (c *Comparison) lateAxes(file string) (map[int]string, error) {
	f, err := c.source.Folder.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	in := bufio.NewReaderSize(f, maxRow)
	if _, err := in.ReadSlice('\n'); err != nil {
		return nil, nil
	}
	row, _ := in.ReadSlice('\n')
	cells := strings.Split(strings.TrimRight(string(row), "\r\n"), ",")
	var axes map[int]string
	for _, i := range c.times {
		if i >= len(cells) {
			continue
		}
		x, ok := exact(cells[i])
		if ok && len(cells[i]) <= 32 && x.Cmp(big.NewRat(lateAxis, 1)) > 0 {
			if axes == nil {
				axes = map[int]string{}
			}
			axes[i] = cells[i]
		}
	}
	return axes, nil
}

// movedAxes returns a recording with the first value of each late axis taken from its column.
type movedAxes struct {
	in    *bufio.Reader
	first map[int]string
	ready []byte
	below bool // the row of names has passed
}

func (m *movedAxes) Read(p []byte) (int, error) {
	if len(m.ready) == 0 {
		line, err := m.in.ReadSlice('\n')
		if len(line) == 0 {
			return 0, err
		}
		m.ready = bytes.Clone(line)
		if m.below {
			body := bytes.TrimRight(line, "\r\n")
			cells := strings.Split(string(body), ",")
			for i, first := range m.first {
				if i < len(cells) {
					cells[i] = less(cells[i], first)
				}
			}
			m.ready = append([]byte(strings.Join(cells, ",")), line[len(body):]...)
		}
		m.below = true
	}
	n := copy(p, m.ready)
	m.ready = m.ready[n:]
	return n, nil
}

// less returns a - b in decimals, with as many places as the one with more has.
func less(a, b string) string {
	x, ok1 := exact(a)
	y, ok2 := exact(b)
	if !ok1 || !ok2 || len(a) > 32 {
		return ""
	}
	return x.Sub(x, y).FloatString(max(places(a), places(b)))
}

// places returns how many decimal places a number is written with; an exponent moves the point.
func places(s string) int {
	s = strings.ToLower(s)
	s, exponent, _ := strings.Cut(s, "e")
	n := 0
	if i := strings.IndexByte(s, '.'); i >= 0 {
		n = len(s) - i - 1
	}
	e, _ := strconv.Atoi(strings.TrimPrefix(exponent, "+"))
	return max(n-e, 0)
}
