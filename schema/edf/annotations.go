package edf

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
)

// A Range is the location of one annotation signal within each data record.
type Range struct{ Offset, Size int } // bytes, from the start of the record

// AnnotationRanges returns the annotation signals of an EDF+ file in the order
// of the file, none for plain EDF.
func (h *Header) AnnotationRanges() []Range {
	var out []Range
	at := 0
	for i := range h.Signals {
		n := 2 * h.Signals[i].Samples
		if h.Plus() && h.Signals[i].IsAnnotation() {
			out = append(out, Range{at, n})
		}
		at += n
	}
	return out
}

// WalkAnnotations calls fn for every annotation of the file r that is not empty,
// with its data record (from 0) and the offset of its first byte in the file. It reads only the
// annotation signals, one of one record at a time. An error of fn ends the walk and is returned
// unchanged. The error is a *FieldError if an annotation signal breaks a rule, or if r is
// shorter than h says.
func WalkAnnotations(r io.ReaderAt, h *Header, fn func(record int, offset int64, text string) error) error {
	ranges := h.AnnotationRanges()
	if len(ranges) == 0 {
		return nil
	}
	size := 0
	for _, a := range ranges {
		size = max(size, a.Size)
	}
	buf := make([]byte, size)
	w := walk{fn: fn, continuous: h.flag() == "EDF+C", step: h.RecordSeconds()}
	for w.record = range h.Records {
		start := h.HeaderSize() + int64(w.record)*int64(h.RecordSize())
		for i, a := range ranges {
			b, at := buf[:a.Size], start+int64(a.Offset)
			if n, err := r.ReadAt(b, at); n < len(b) {
				if err == io.EOF {
					return &FieldError{"file size", at + int64(n),
						"the file ends before its last data record does; copy the recording again from the recorder"}
				}
				return err
			}
			if err := w.signal(b, at, i == 0); err != nil {
				return err
			}
		}
	}
	return nil
}

// A walk is the state of WalkAnnotations.
type walk struct {
	fn         func(record int, offset int64, text string) error
	continuous bool
	step       float64 // duration of a data record in seconds
	record     int
	time       float64 // of the record before, in seconds
}

// signal walks over b, which is at byte at of the file. The first text of a
// record's first annotation signal is empty: its onset is the record's time (2.2.4).
func (w *walk) signal(b []byte, at int64, first bool) error {
	var stop error
	clock := first
	bad := scanTALs(b, func(a annotation) *FieldError {
		switch {
		case clock && a.start < a.end:
			return talError(0, "that keeps the time of its data record has a text where none may be")
		case clock:
			clock = false
			return w.tick(a.onset)
		case a.start < a.end && stop == nil:
			stop = w.fn(w.record, at+int64(a.start), string(b[a.start:a.end]))
		}
		return nil
	})
	if bad == nil && clock {
		bad = talError(0, "that keeps the time of its data record is missing")
	}
	if stop == nil && bad != nil {
		return &FieldError{fmt.Sprintf("annotation in data record %d", w.record+1), at + bad.Offset, bad.Message}
	}
	return stop
}

// tick checks the time of a data record: "+0" or "+0.25" for the first, then one step later for
// each, or more after an interruption in EDF+D. It allows half a step for recorders that round
// the step to the 8 characters of its field.
func (w *walk) tick(onset []byte) *FieldError {
	if w.record == 0 && string(onset) != "+0" && !bytes.HasPrefix(onset, []byte("+0.")) {
		return talError(0, "that keeps the time of the first data record does not begin +0")
	}
	t, _ := strconv.ParseFloat(string(onset), 64) // digits, as scanTALs has seen
	passed := t - w.time
	w.time = t
	switch {
	case w.record == 0:
	case passed < 0 || w.step > 0 && passed <= w.step/2:
		return talError(0, "that keeps the time of its data record is too early after the record before")
	case w.continuous && w.step > 0 && passed >= w.step*3/2:
		return talError(0, "that keeps the time of its data record shows a gap, though the file says EDF+C "+
			"(continuous)")
	}
	return nil
}
