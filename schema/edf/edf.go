// Package edf reads, checks, rewrites and writes EDF and EDF+ recordings.
//
// In: the bytes of a file. Out: a [Header] that keeps every rule of the format,
// or a [FieldError] that names the field, the byte and what to do, never the
// value. Most callers need [ReadHeader] and [WalkAnnotations], then
// [Header.Anonymise] or [Header.DropDate], then [Header.Encode].
//
// Sources: Kemp et al., "A simple format for exchange of digitized polygraphic
// recordings" (EDF, 1992) and Kemp and Olivan, "European data format 'plus'"
// (EDF+, 2003), both at edfplus.info; section numbers are those of the EDF+ text.
// BDF, the 24-bit relative, is refused.
package edf

import "strconv"

// Limits of this package; the format itself sets none.
const (
	MaxSignals    = 4096     // a header of 1 MiB
	MaxRecordSize = 10 << 20 // bytes in one data record; EDFlib has the same limit
)

// AnnotationLabel is the label of a signal that holds text, not samples (2.2.1).
const AnnotationLabel = "EDF Annotations"

// A Header is everything before the samples. Strings are as written in the file, without the
// spaces that pad them on the right; all are printable
// ASCII (bytes 32 to 126) and no longer than the number of bytes noted.
type Header struct {
	Patient        string // local patient identification, 80
	Recording      string // local recording identification, 80
	StartDate      string // "dd.mm.yy"; the letters "yy" when the year is outside 1985 to 2084
	StartTime      string // "hh.mm.ss", local time at the patient's place
	Reserved       string // begins "EDF+C" or "EDF+D" in EDF+, 44
	Records        int    // data records in the file, at least 1
	RecordDuration string // seconds, a decimal number, 8; see RecordSeconds
	Signals        []Signal
}

// A Signal is the part of the header about one signal.
type Signal struct {
	Label            string // 16
	Transducer       string // 80
	Dimension        string // unit of PhysMin and PhysMax, 8
	PhysMin, PhysMax string // decimal numbers that differ, 8 each
	DigMin, DigMax   string // whole numbers, -32768 to 32767, DigMin the smaller, 8 each
	Prefilter        string // 80
	Samples          int    // 2-byte samples in one data record, at least 1
	Reserved         string // 32
}

// IsAnnotation reports whether the signal holds text instead of samples.
func (s *Signal) IsAnnotation() bool { return s.Label == AnnotationLabel }

// Plus reports whether the file is EDF+, and therefore has annotations.
func (h *Header) Plus() bool { return h.flag() != "" }

// flag returns "EDF+C", "EDF+D", or "" for plain EDF.
func (h *Header) flag() string {
	if len(h.Reserved) >= 5 && (h.Reserved[:5] == "EDF+C" || h.Reserved[:5] == "EDF+D") {
		return h.Reserved[:5]
	}
	return ""
}

// RecordSeconds returns the duration of a data record in seconds. It is 0 only
// in a file that has nothing but annotations.
func (h *Header) RecordSeconds() float64 {
	s, _ := strconv.ParseFloat(h.RecordDuration, 64)
	return s
}

// HeaderSize returns the bytes before the first data record.
func (h *Header) HeaderSize() int64 { return 256 * int64(1+len(h.Signals)) }

// RecordSize returns the bytes of one data record.
func (h *Header) RecordSize() int {
	n := 0
	for i := range h.Signals {
		n += 2 * h.Signals[i].Samples
	}
	return n
}

// DataSize returns the bytes of all data records.
func (h *Header) DataSize() int64 { return int64(h.Records) * int64(h.RecordSize()) }

// FileSize returns the bytes of the whole file.
func (h *Header) FileSize() int64 { return h.HeaderSize() + h.DataSize() }

// Check compares size, the real size of the file in bytes, with the header. The
// error is a *FieldError: bytes are missing, or unexpected bytes follow.
func (h *Header) Check(size int64) error {
	want := h.FileSize()
	switch {
	case size < want:
		return &FieldError{"file size", size, "the file has " + grouped(size) + " of the " + grouped(want) +
			" bytes that its header announces, so its end is missing; copy the recording again from the recorder"}
	case size > want:
		return &FieldError{"file size", want, "the file has " + grouped(size) + " bytes and its header announces " +
			grouped(want) +
			", so there is something after the last data record; export the recording again from the recorder"}
	}
	return nil
}

// grouped writes n with a comma between thousands.
func grouped(n int64) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
