package edf

import (
	"fmt"
	"strconv"
)

// A FieldError says which field of a file breaks which rule of the format. It
// holds no value from the file, so that it can be printed, logged or mailed.
type FieldError struct {
	Field   string // e.g. "start date", "label of signal 3"
	Offset  int64  // of the field's first byte in what was read, from 0
	Message string // what is wrong, and what to do
}

func (e *FieldError) Error() string {
	return fmt.Sprintf("%s (byte %d): %s", e.Field, e.Offset, e.Message)
}

// The fields of a header, in their order.
const (
	version = iota
	patient
	recording
	startDate
	startTime
	headerBytes
	reserved
	records
	duration
	signals
	label // from here on one for each signal
	transducer
	dimension
	physMin
	physMax
	digMin
	digMax
	prefilter
	samples
	signalReserved
	fieldCount
)

// fields gives each field's name, its offset in the 256 bytes of the file or of
// its signal, and its width. Source: EDF (1992), table of the header record.
var fields = [fieldCount]struct {
	name      string
	at, width int
}{
	version:        {"version", 0, 8},
	patient:        {"patient identification", 8, 80},
	recording:      {"recording identification", 88, 80},
	startDate:      {"start date", 168, 8},
	startTime:      {"start time", 176, 8},
	headerBytes:    {"number of header bytes", 184, 8},
	reserved:       {"reserved field", 192, 44},
	records:        {"number of data records", 236, 8},
	duration:       {"duration of a data record", 244, 8},
	signals:        {"number of signals", 252, 4},
	label:          {"label", 0, 16},
	transducer:     {"transducer type", 16, 80},
	dimension:      {"physical dimension", 96, 8},
	physMin:        {"physical minimum", 104, 8},
	physMax:        {"physical maximum", 112, 8},
	digMin:         {"digital minimum", 120, 8},
	digMax:         {"digital maximum", 128, 8},
	prefilter:      {"prefiltering", 136, 80},
	samples:        {"samples in a data record", 216, 8},
	signalReserved: {"reserved field", 224, 32},
}

// times returns how often field f occurs in a header of ns signals.
func times(f, ns int) int {
	if f < label {
		return 1
	}
	return ns
}

// offset returns the byte offset of field f of signal i (from 0) of ns signals.
func offset(f, i, ns int) int {
	if f < label {
		return fields[f].at
	}
	return 256 + fields[f].at*ns + fields[f].width*i
}

// fieldName returns what a person calls field f of signal i (from 0).
func fieldName(f, i int) string {
	if f < label {
		return fields[f].name
	}
	return fmt.Sprintf("%s of signal %d", fields[f].name, i+1)
}

func fieldError(f, i, ns int, message string) *FieldError {
	return &FieldError{fieldName(f, i), int64(offset(f, i, ns)), message}
}

// text returns field f of signal i as written.
func (h *Header) text(f, i int) string {
	switch f {
	case version:
		return "0"
	case headerBytes:
		return strconv.FormatInt(h.HeaderSize(), 10)
	case records:
		return strconv.Itoa(h.Records)
	case signals:
		return strconv.Itoa(len(h.Signals))
	case samples:
		return strconv.Itoa(h.Signals[i].Samples)
	}
	return *h.ref(f, i)
}

// ref returns where the Header keeps field f of signal i, nil for a count.
func (h *Header) ref(f, i int) *string {
	switch f {
	case patient:
		return &h.Patient
	case recording:
		return &h.Recording
	case startDate:
		return &h.StartDate
	case startTime:
		return &h.StartTime
	case reserved:
		return &h.Reserved
	case duration:
		return &h.RecordDuration
	case label:
		return &h.Signals[i].Label
	case transducer:
		return &h.Signals[i].Transducer
	case dimension:
		return &h.Signals[i].Dimension
	case physMin:
		return &h.Signals[i].PhysMin
	case physMax:
		return &h.Signals[i].PhysMax
	case digMin:
		return &h.Signals[i].DigMin
	case digMax:
		return &h.Signals[i].DigMax
	case prefilter:
		return &h.Signals[i].Prefilter
	case signalReserved:
		return &h.Signals[i].Reserved
	}
	return nil
}
