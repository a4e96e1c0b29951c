package deid

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/breath"
	"outbreath/schema/edf"
)

// traces is the result of the first reading of the EDF recordings.
type traces struct {
	places   []place                     // texts that hold a match
	problems map[string][]schema.Problem // by file
}

// readTraces reads the header and the annotations of every EDF recording, once.
func (d *draft) readTraces() error {
	if d.traces != nil {
		return nil
	}
	t := &traces{problems: map[string][]schema.Problem{}}
	seen := map[string]bool{}
	searched := 0
	for _, s := range d.sessions {
		for i := range s.recordings {
			r := &s.recordings[i]
			if r.Format != "edf" || seen[r.File] {
				continue
			}
			seen[r.File] = true
			n, places, err := d.trace(r)
			var queries *schema.QueriesError
			if errors.As(err, &queries) {
				t.problems[r.File] = queries.Problems
			} else if err != nil {
				return err
			}
			t.places = append(t.places, places...)
			searched += n
		}
	}
	d.traces = t
	d.searched += searched
	return nil
}

// trace searches the texts of one recording. It returns how many there are, and
// those that hold a match.
func (d *draft) trace(r *recording) (searched int, held []place, err error) {
	s, h, err := r.header(d.c.Root)
	if err != nil {
		return 0, nil, err
	}
	defer s.Close()
	note := func(offset int64, text string) {
		searched++
		held = append(held, d.suspects([]place{r.place(offset, text)})...)
	}
	h.KeepTechnical() // what does not leave is not asked about
	for _, t := range h.Texts() {
		note(t.Offset, t.Value)
	}
	err = edf.WalkAnnotations(s, h, func(_ int, offset int64, text string) error {
		if !r.texts {
			return nil
		}
		note(offset, text)
		return r.seen(offset, text)
	})
	return searched, held, r.edfError(err)
}

// seen refuses an annotation with invisible or control characters, which could hide
// an identifier from the person who reads it.
func (r *recording) seen(offset int64, text string) error {
	if at, message, found := schema.Hidden(text); found {
		return r.problem("recording.edf.hidden", fmt.Sprintf("the annotation at byte %d holds a character that "+
			"cannot be read: %s; export the recording again", offset+int64(at), message))
	}
	return nil
}

func (r *recording) place(offset int64, text string) place {
	return place{file: r.File, base: int(offset), text: text, manner: masked, declared: r.declared}
}

// header opens the recording and reads its header, which must fit the size of the
// file and the time of the session. The caller closes the source.
func (r *recording) header(root *os.Root) (*source, *edf.Header, error) {
	s, err := r.open(root)
	if err != nil {
		return nil, nil, err
	}
	h, err := edf.ReadHeader(s)
	if err == nil {
		err = h.Check(r.Size)
	}
	if err = r.edfError(err); err == nil {
		err = r.starts(h)
	}
	if err == nil {
		err = r.extremes(h)
	}
	if err != nil {
		s.Close()
		return nil, nil, err
	}
	return s, h, nil
}

// edfError turns an error about the format into a problem of the recording.
func (r *recording) edfError(err error) error {
	var field *edf.FieldError
	var queries *schema.QueriesError
	switch {
	case err == nil || errors.As(err, &queries):
		return err
	case errors.As(err, &field):
		return r.problem("recording.edf", field.Error())
	}
	return r.unreadable(err)
}

// extremes refuses a header in which the physical limits of a signal contain the
// digits of a roster number: a header field is a place to hide one.
func (r *recording) extremes(h *edf.Header) error {
	for i, s := range h.Signals {
		if r.listed.inExtreme(s.PhysMin) || r.listed.inExtreme(s.PhysMax) {
			return r.problem("recording.edf.listed", fmt.Sprintf("the physical minimum or maximum of signal %d has "+
				"the digits of a number or a birth date in the roster; "+
				"export the recording again, or ask the person who maintains the recorder", i+1))
		}
	}
	return nil
}

// starts compares the recording's own start with the session's, both in local time at
// the site. If they are more than a day apart, the recording may be another session's.
func (r *recording) starts(h *edf.Header) error {
	day, known := h.StartDay()
	if !known {
		return nil
	}
	clock, err := time.Parse("15.04.05", h.StartTime)
	if err != nil {
		return r.problem("recording.edf.start", "the header holds no start time; export the recording again from "+
			"the recorder")
	}
	at := day.Add(clock.Sub(clock.Truncate(24 * time.Hour)))
	y, m, d := r.started.Date()
	session := time.Date(y, m, d, r.started.Hour(), r.started.Minute(), r.started.Second(), 0, time.UTC)
	if apart := at.Sub(session); apart > 24*time.Hour || apart < -24*time.Hour {
		return r.problem("recording.edf.start", "the recording began more than a day before or after the session "+
			"that names it, so it may be another subject's; "+
			"name the right file in the record, or correct the wrong date")
	}
	return nil
}

// anonymise removes from the header whatever may point to a person, and sets the day
// that the plan allows.
func (r *recording) anonymise(h *edf.Header) error {
	day, known := h.StartDay()
	switch {
	case !r.dated:
		return h.DropDate(r.subject)
	case !known: // leave the day unknown, keep the time of day
		clock := r.clockOf(h.StartTime)
		err := h.DropDate(r.subject)
		h.StartTime = clock
		return err
	}
	h.StartTime = r.clockOf(h.StartTime)
	return h.Anonymise(r.subject, day.AddDate(0, 0, -r.shift))
}

// clockOf returns what leaves of a start time, "hh.mm.ss".
func (r *recording) clockOf(start string) string {
	switch {
	case r.clock == schema.ClockHour && len(start) == 8:
		return start[:2] + ".00.00"
	case r.clock != "":
		return "00.00.00"
	}
	return start
}

// An edfReader returns the bytes of an EDF recording with an anonymous header and
// with the decisions applied to its texts. It searches every text again on the way.
type edfReader struct {
	*source
	d      *draft
	dec    *leak.Decisions
	ready  []byte // treated bytes that Read returns next
	record []byte // buffer of one data record; nil when data records hold no texts
	in     *bufio.Reader
	ranges []edf.Range // of the texts in a data record
	curve  *edfCurve   // nil when no CO2 can be measured
	at     int64       // offset in the file of the next byte to read
	err    error
}

// edf opens an EDF recording for the reading of its treated bytes. Its errors are those
// of edfReader.
func (d *draft) edf(r *recording, dec *leak.Decisions) (io.ReadCloser, error) {
	s, h, err := r.header(d.c.Root)
	if err != nil {
		return nil, err
	}
	e := &edfReader{source: s, d: d, dec: dec, at: h.HeaderSize(), curve: r.curve(h)}
	if err := e.head(h); err != nil {
		s.Close()
		return nil, err
	}
	if e.ranges = h.AnnotationRanges(); len(e.ranges) > 0 {
		e.record = make([]byte, h.RecordSize())
		e.in = bufio.NewReaderSize(s.File, 128<<10) // a record may be small
	}
	return e, nil
}

// head makes the anonymous header and settles its texts. The treated texts go to the
// offsets that they had, because the header keeps its size.
func (e *edfReader) head(h *edf.Header) error {
	h.KeepTechnical()
	texts := h.Texts()
	if err := e.r.anonymise(h); err != nil {
		return e.r.edfError(err)
	}
	if err := h.Validate(); err != nil {
		return e.r.edfError(err)
	}
	e.ready = h.Encode()
	if int64(len(e.ready)) != h.HeaderSize() {
		return e.r.problem("recording.edf", "the header cannot be rewritten without changing its size; export the "+
			"recording again")
	}
	for _, t := range texts {
		if err := e.settle(e.ready, t.Offset, t.Offset, t.Value); err != nil {
			return err
		}
	}
	return nil
}

// settle searches text, which is at b[in:] and at offset at of the file, and
// overwrites in b what must be redacted. Undecided findings are a *FindingsError.
func (e *edfReader) settle(b []byte, in, at int64, text string) error {
	done := e.d.searcher.settle(e.r.place(at, text), e.dec)
	var open []leak.Finding
	for _, f := range done.findings {
		if f.Open() {
			open = append(open, f)
		}
	}
	if len(open) > 0 {
		return &FindingsError{open}
	}
	if done.text != text && copy(b[in:], done.text) != len(text) {
		return e.r.problem("recording.edf", "a text cannot be redacted without changing its size; export the "+
			"recording again")
	}
	return nil
}

// Read returns treated bytes. A data record with texts is settled as a whole before any
// of its bytes are returned.
func (e *edfReader) Read(p []byte) (int, error) {
	if len(p) == 0 || e.err != nil {
		return 0, e.err
	}
	if len(e.ready) == 0 {
		if e.record == nil {
			return e.plain(p)
		}
		if e.err = e.next(); e.err != nil {
			return 0, e.err
		}
	}
	n := copy(p, e.ready)
	e.ready = e.ready[n:]
	return n, nil
}

// WriteTo hides the method of the embedded file, which would bypass Read.
func (e *edfReader) WriteTo(w io.Writer) (int64, error) {
	return io.Copy(w, struct{ io.Reader }{e})
}

// plain reads data records that hold samples only and need no change.
func (e *edfReader) plain(p []byte) (int, error) {
	left := e.r.Size - e.at
	if left == 0 {
		e.err = e.end()
		return 0, e.err
	}
	n, err := e.File.Read(p[:min(int64(len(p)), left)])
	e.at += int64(n)
	e.measure(p[:n])
	if err == io.EOF {
		e.err = e.r.changed()
	} else if err != nil {
		e.err = e.r.unreadable(err)
	}
	return n, e.err
}

func (e *edfReader) measure(data []byte) {
	if e.curve != nil {
		e.curve.Write(data)
	}
}

// end returns io.EOF when the file is unchanged and the recording fits its session.
func (e *edfReader) end() error {
	if err := e.same(); err != nil {
		return err
	}
	var m *breath.Meter
	if e.curve != nil {
		m = e.curve.Meter
	}
	if err := e.r.end(m); err != nil {
		return err
	}
	return io.EOF
}

// next reads one data record, settles its texts, and makes it ready for Read.
func (e *edfReader) next() error {
	if e.at == e.r.Size {
		return e.end()
	}
	if _, err := io.ReadFull(e.in, e.record); err == io.EOF || errors.Is(err, io.ErrUnexpectedEOF) {
		return e.r.changed()
	} else if err != nil {
		return e.r.unreadable(err)
	}
	e.measure(e.record)
	for i, a := range e.ranges {
		if !e.r.texts {
			if err := edf.DropTexts(e.record[a.Offset:a.Offset+a.Size], i == 0); err != nil {
				return e.r.edfError(err)
			}
			continue
		}
		tals, err := edf.ParseTALs(e.record[a.Offset : a.Offset+a.Size])
		if err != nil {
			return e.r.edfError(err)
		}
		for _, t := range tals {
			for _, text := range t.Texts {
				if text.Start == text.End {
					continue
				}
				in := int64(a.Offset + text.Start)
				if err := e.r.seen(e.at+in, text.Value); err != nil {
					return err
				}
				if err := e.settle(e.record, in, e.at+in, text.Value); err != nil {
					return err
				}
			}
		}
	}
	e.at += int64(len(e.record))
	e.ready = e.record
	return nil
}
