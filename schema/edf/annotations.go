package edf

import (
	"fmt"
	"io"
)

// A Range is where one annotation signal lies in each data record.
type Range struct{ Offset, Size int } // bytes, from the start of the record

// AnnotationRanges returns the annotation signals of an EDF+ file in the order
// of the file; none for plain EDF.
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
// with its data record (from 0) and the offset of its first byte in the file. Of
// the data only annotation signals are read, one of one record at a time. An
// error of fn ends the walk and is returned as it is. The error is a *FieldError
// if an annotation signal breaks a rule, or if r is shorter than h says.
func WalkAnnotations(r io.ReaderAt, h *Header, fn func(record int, offset int64, text string) error) error {
	ranges := h.AnnotationRanges()
	size := 0
	for _, a := range ranges {
		size = max(size, a.Size)
	}
	buf := make([]byte, size)
	for rec := range h.Records {
		if len(ranges) == 0 {
			return nil
		}
		start := h.HeaderSize() + int64(rec)*int64(h.RecordSize())
		for i, a := range ranges {
			b, at := buf[:a.Size], start+int64(a.Offset)
			if n, err := r.ReadAt(b, at); n < len(b) {
				if err == io.EOF {
					return &FieldError{"file size", at + int64(n), "the file ends before its last data record does; copy the recording again from the recorder"}
				}
				return err
			}
			if err := walkSignal(b, at, rec, i == 0, fn); err != nil {
				return err
			}
		}
	}
	return nil
}

// walkSignal walks over b, which stands at byte at of the file. The first text
// of a record's first annotation signal is the clock: it keeps the record's time.
func walkSignal(b []byte, at int64, rec int, first bool, fn func(int, int64, string) error) error {
	var stop error
	clock := first
	bad := scanTALs(b, func(a annotation) *FieldError {
		switch {
		case clock && a.start < a.end:
			return talError(0, "that keeps the time of its data record has a text where none may be")
		case clock && rec == 0 && !startsAtZero(a.onset):
			return talError(0, "that keeps the time of the first data record does not begin +0")
		case a.start < a.end && stop == nil:
			stop = fn(rec, at+int64(a.start), string(b[a.start:a.end]))
		}
		clock = false
		return nil
	})
	if bad == nil && clock {
		bad = talError(0, "that keeps the time of its data record is missing")
	}
	if stop == nil && bad != nil {
		return &FieldError{fmt.Sprintf("annotation in data record %d", rec+1), at + bad.Offset, bad.Message}
	}
	return stop
}

// startsAtZero accepts "+0" and "+0.25": the file starts within its first second (2.2.4).
func startsAtZero(onset []byte) bool {
	return string(onset) == "+0" || len(onset) > 3 && string(onset[:3]) == "+0."
}
