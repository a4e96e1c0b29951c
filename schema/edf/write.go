package edf

import (
	"fmt"
	"io"
)

// Write writes a whole file: h, then data, its data records, each of h.RecordSize()
// bytes: the samples of each signal as 2-byte little-endian numbers, an
// annotation signal as EncodeTALs gives it. The error is a *FieldError if h or
// data break a rule, before anything is written.
func Write(w io.Writer, h *Header, data [][]byte) error {
	if err := h.Validate(); err != nil {
		return err
	}
	if len(data) != h.Records {
		return h.bad(records, 0, "is not the number of data records given")
	}
	for i, r := range data {
		if len(r) != h.RecordSize() {
			return &FieldError{fmt.Sprintf("data record %d", i+1), h.HeaderSize(),
				"does not have the size that the header gives"}
		}
	}
	if _, err := w.Write(h.Encode()); err != nil {
		return err
	}
	for _, r := range data {
		if _, err := w.Write(r); err != nil {
			return err
		}
	}
	return nil
}
