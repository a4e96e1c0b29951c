package pack

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

const (
	maxScan    = 16 << 20 // bytes of a file of barcodes
	maxBarcode = 200      // bytes
)

// A TubeMatch compares the box with the records. Each list is sorted and not
// nil.
type TubeMatch struct {
	Matched    []string `json:"matched"`
	Missing    []string `json:"missing"`    // in the records, not in the box
	Unexpected []string `json:"unexpected"` // in the box, not in the records, or scanned once more than recorded

	// Returned are the scanned barcodes that end with a carriage return which the
	// other lines have not ([ParseTubes]). They count as matched or unexpected too.
	Returned []string `json:"carriage_returns,omitempty"`

	Notes []TubeNote `json:"notes,omitempty"` // what [TubeMatch.Explain] found
}

// ErrNoBarcode says that a file of barcodes holds none.
var ErrNoBarcode = errors.New("the file holds no barcode: check whether the scanner was connected, and scan the " +
	"tubes into it, one per line")

// Agrees reports whether the box holds the recorded tubes and no other, each read cleanly.
func (m *TubeMatch) Agrees() bool {
	return len(m.Missing) == 0 && len(m.Unexpected) == 0 && len(m.Returned) == 0
}

// MatchTubes compares scanned barcodes with those of the records. Barcodes are
// equal when all their characters are, after trimming blanks at both ends. Upper
// and lower case differ: whether barcodes that differ only so are one tube's is for
// a person to decide ([NoteCase]). Every barcode of a list counts once for each
// occurrence, so that one tube scanned twice is seen.
func MatchTubes(scanned, recorded []string) *TubeMatch {
	m := &TubeMatch{Matched: []string{}, Missing: []string{}, Unexpected: []string{}}
	open := make(map[string]int, len(recorded))
	for _, b := range recorded {
		open[trimBarcode(b)]++
	}
	for _, b := range scanned {
		if strings.HasSuffix(b, "\r") {
			m.Returned = append(m.Returned, trimBarcode(b))
		}
		b = trimBarcode(b)
		if open[b] > 0 {
			open[b]--
			m.Matched = append(m.Matched, b)
		} else {
			m.Unexpected = append(m.Unexpected, b)
		}
	}
	for b, n := range open {
		for range n {
			m.Missing = append(m.Missing, b)
		}
	}
	slices.Sort(m.Matched)
	slices.Sort(m.Missing)
	slices.Sort(m.Unexpected)
	slices.Sort(m.Returned)
	return m
}

// ParseTubes reads a file of barcodes, one per line, as a scanner types them.
// Blanks around a barcode, empty lines and a byte-order mark are dropped. So is
// the carriage return with which a scanner or an editor ends each line; where most
// lines have none, a barcode that ends with one keeps it, for then the reader
// took it from the label, or two readers were at work. The error names the line,
// or is [ErrNoBarcode].
func ParseTubes(data []byte) ([]string, error) {
	if len(data) > maxScan {
		return nil, fmt.Errorf("the file is longer than %d bytes: it is not a list of barcodes", maxScan)
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	var tubes []string
	var returned []int // of tubes, those whose line ends with a carriage return
	line := 0
	for text := range strings.SplitSeq(string(data), "\n") {
		line++
		b := trimBarcode(text)
		if b == "" {
			continue
		}
		if len(b) > maxBarcode || !utf8.ValidString(b) || strings.ContainsFunc(b, isControl) {
			return nil, fmt.Errorf("line %d is not one barcode (up to %d printed characters): scan that tube again",
				line, maxBarcode)
		}
		if strings.HasSuffix(strings.TrimRight(text, " \t"), "\r") {
			returned = append(returned, len(tubes))
		}
		tubes = append(tubes, b)
	}
	if len(tubes) == 0 {
		return nil, ErrNoBarcode
	}
	if 2*len(returned) <= len(tubes) {
		for _, i := range returned {
			tubes[i] += "\r"
		}
	}
	return tubes, nil
}

func trimBarcode(b string) string { return strings.Trim(b, " \t\r") }

func isControl(r rune) bool { return r < 0x20 || r >= 0x7f && r < 0xa0 }
