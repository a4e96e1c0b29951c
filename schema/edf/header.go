package edf

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
)

// exportAgain is the advice on a header that breaks a rule: nobody edits one by hand.
const exportAgain = "; export the recording again, or ask the person who maintains the recorder"

// ReadHeader reads and checks a header, of at most 1 MiB, and reads no byte beyond it. The error
// is a *FieldError if the bytes are not a valid header. [Header.Encode] reproduces the bytes of
// a valid one.
func ReadHeader(r io.Reader) (*Header, error) {
	b := make([]byte, 256)
	if err := fill(r, b, 0); err != nil {
		return nil, err
	}
	if string(b[:8]) != "0       " {
		return nil, fieldError(version, 0, 0, "is not that of an EDF file; "+
			"check that the record names the right file and format, or export the recording as EDF or EDF+")
	}
	for f := range int(label) {
		if err := printable(b, f, 0, 0); err != nil {
			return nil, err
		}
	}
	ns, ok := count(b, signals, 0, 0)
	if !ok || ns < 1 || ns > MaxSignals {
		return nil, fieldError(signals, 0, 0, fmt.Sprintf("is not a plain whole number from 1 to %d",
			MaxSignals)+exportAgain)
	}
	if n, ok := count(b, headerBytes, 0, 0); !ok || n != 256*(ns+1) {
		return nil, fieldError(headerBytes, 0, 0, "is not 256 for the file and 256 for each signal"+exportAgain)
	}
	b = append(b, make([]byte, 256*ns)...)
	if err := fill(r, b[256:], 256); err != nil {
		return nil, err
	}
	return parse(b, ns)
}

// fill reads all of b, which starts at byte at of the file.
func fill(r io.Reader, b []byte, at int64) error {
	n, err := io.ReadFull(r, b)
	if err == io.EOF || errors.Is(err, io.ErrUnexpectedEOF) {
		return &FieldError{"header", at + int64(n), "the file ends before its header does; copy the recording " +
			"again from the recorder"}
	}
	return err
}

// parse parses a complete header of ns signals.
func parse(b []byte, ns int) (*Header, error) {
	h := &Header{Signals: make([]Signal, ns)}
	for f := range int(fieldCount) {
		for i := range times(f, ns) {
			if err := printable(b, f, i, ns); err != nil {
				return nil, err
			}
			if s := h.ref(f, i); s != nil {
				*s = string(trimmed(b, f, i, ns))
			}
		}
	}
	n, ok := count(b, records, 0, ns)
	switch {
	case ok && n == -1:
		return nil, fieldError(records, 0, ns, "says that the recording is still running; "+
			"stop it on the recorder, then export and copy the finished recording")
	case !ok:
		return nil, fieldError(records, 0, ns, "is not a plain whole number"+exportAgain)
	}
	h.Records = n
	for i := range h.Signals {
		if h.Signals[i].Samples, ok = count(b, samples, i, ns); !ok {
			return nil, fieldError(samples, i, ns, "is not a plain whole number"+exportAgain)
		}
	}
	if err := h.Validate(); err != nil {
		return nil, err
	}
	return h, nil
}

// fieldBytes returns the bytes of field f of signal i.
func fieldBytes(b []byte, f, i, ns int) []byte {
	at := offset(f, i, ns)
	return b[at : at+fields[f].width]
}

func trimmed(b []byte, f, i, ns int) []byte { return bytes.TrimRight(fieldBytes(b, f, i, ns), " ") }

// count reads a whole number in the only form that Encode writes: left-aligned, without leading
// zeros or a plus sign.
func count(b []byte, f, i, ns int) (int, bool) {
	s := string(trimmed(b, f, i, ns))
	n, err := strconv.Atoi(s)
	return n, err == nil && strconv.Itoa(n) == s
}

// printable checks 2.1.3, rule 1: only the bytes 32 to 126.
func printable(b []byte, f, i, ns int) error {
	for _, c := range fieldBytes(b, f, i, ns) {
		if c < 32 || c > 126 {
			return fieldError(f, i, ns, "has a character other than plain letters, digits, signs and spaces (ASCII "+
				"32 to 126)"+exportAgain)
		}
	}
	return nil
}

// Encode returns the header as bytes. It panics if a value is longer than its
// field: call Validate first on a Header that was not read from a file.
func (h *Header) Encode() []byte {
	ns := len(h.Signals)
	b := bytes.Repeat([]byte{' '}, int(h.HeaderSize()))
	for f := range int(fieldCount) {
		for i := range times(f, ns) {
			s := h.text(f, i)
			if len(s) > fields[f].width {
				panic("edf: Encode of a header that is not valid: " + fieldName(f, i) + " is too long")
			}
			copy(b[offset(f, i, ns):], s)
		}
	}
	return b
}
