package rederive

import (
	"bufio"
	"bytes"
	"io"
	"strconv"
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
	cells, same, row, column, err := sameBytes(f, in)
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
