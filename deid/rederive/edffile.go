package rederive

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Bounds of an EDF file.
const (
	maxSignals    = 4096
	maxDataRecord = 64 << 20 // bytes
)

// headFields are the fields of an EDF header: first those of the file, then those of a
// signal, each with its width in bytes.
//
// Source: Kemp et al., EDF (1992), table of the header record.
var (
	headFields = []headField{{"version", 8}, {"patient identification", 80}, {"recording identification", 80},
		{"start date", 8}, {"start time", 8}, {"number of header bytes", 8}, {"reserved field", 44},
		{"number of data records", 8}, {"duration of a data record", 8}, {"number of signals", 4}}
	signalFields = []headField{{"label", 16}, {"transducer type", 80}, {"physical dimension", 8},
		{"physical minimum", 8}, {"physical maximum", 8}, {"digital minimum", 8}, {"digital maximum", 8},
		{"prefiltering", 80}, {"samples in a data record", 8}, {"reserved field", 32}}
)

type headField struct {
	name  string
	width int
}

// A head is the header of an EDF file, its fields without the blanks behind them.
type head struct {
	fields  []string   // in the order of headFields
	signals [][]string // by signal, in the order of signalFields
	records int
	samples []int
}

var errEDF = errors.New("the header is not that of an EDF file")

// readHead reads a header, and no byte behind it.
func readHead(r io.Reader) (*head, error) {
	first := make([]byte, 256)
	if _, err := io.ReadFull(r, first); err != nil {
		return nil, errEDF
	}
	h := &head{}
	at := 0
	for _, f := range headFields {
		h.fields = append(h.fields, strings.TrimRight(string(first[at:at+f.width]), " "))
		at += f.width
	}
	n, err := strconv.Atoi(h.fields[9])
	if err != nil || n < 1 || n > maxSignals {
		return nil, errEDF
	}
	if h.records, err = strconv.Atoi(h.fields[7]); err != nil || h.records < 0 {
		return nil, errEDF
	}
	rest := make([]byte, 256*n)
	if _, err := io.ReadFull(r, rest); err != nil {
		return nil, errEDF
	}
	h.signals = make([][]string, n)
	at, size := 0, 0
	for _, f := range signalFields {
		for i := range n {
			h.signals[i] = append(h.signals[i], strings.TrimRight(string(rest[at:at+f.width]), " "))
			at += f.width
		}
	}
	for i := range n {
		s, err := strconv.Atoi(h.signals[i][8])
		if err != nil || s < 1 || s > maxDataRecord/2 {
			return nil, errEDF
		}
		h.samples = append(h.samples, s)
		if size += 2 * s; size > maxDataRecord {
			return nil, errEDF
		}
	}
	return h, nil
}

// write returns the bytes of the header; ok is false if a value does not fit its field.
func (h *head) write() (b []byte, ok bool) {
	ok = true
	put := func(s string, width int) {
		ok = ok && len(s) <= width
		b = append(b, (s + strings.Repeat(" ", width))[:width]...)
	}
	for i, f := range headFields {
		put(h.fields[i], f.width)
	}
	for k, f := range signalFields {
		for _, s := range h.signals {
			put(s[k], f.width)
		}
	}
	return b, ok
}

// offset returns where field k of signal i lies in the file.
func (h *head) offset(k, i int) int {
	at := 256
	for _, f := range signalFields[:k] {
		at += f.width * len(h.signals)
	}
	return at + signalFields[k].width*i
}

// plus returns "EDF+C", "EDF+D" or "".
func (h *head) plus() string {
	for _, mark := range []string{"EDF+C", "EDF+D"} {
		if strings.HasPrefix(h.fields[6], mark) {
			return mark
		}
	}
	return ""
}

var monthMarks = [...]string{"JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"}

// began returns the day on which the recording began, if its header says so.
//
// Source: EDF+ 2.1.3, rules 2 to 4: the recording field has the full year; two digits
// of the start date mean 1985 to 2084. 01.01.85 alone is taken for an unknown day
// (common practice, no source).
func (h *head) began() (day, bool) {
	parts := strings.Split(h.fields[3], ".")
	if len(parts) != 3 {
		return 0, false
	}
	d, m, yy := figures(parts[0], 2), figures(parts[1], 2), figures(parts[2], 2)
	sub := strings.Split(h.fields[2], " ")
	if len(sub) >= 2 && sub[0] == "Startdate" {
		if sub[1] == "X" {
			return 0, false
		}
		if long, ok := longDay(sub[1]); ok {
			ly, lm, ld := long.date()
			return long, ld == d && lm == m && (parts[2] == "yy" || ly%100 == yy)
		}
	}
	if yy < 0 || h.fields[3] == "01.01.85" {
		return 0, false
	}
	if yy += 2000; yy >= 2085 {
		yy -= 100
	}
	return dayOf(yy, m, d)
}

// longDay reads "02-MAR-2026".
func longDay(s string) (day, bool) {
	if len(s) != 11 || s[2] != '-' || s[6] != '-' {
		return 0, false
	}
	m := slices.Index(monthMarks[:], strings.ToUpper(s[3:6])) + 1
	return dayOf(figures(s[7:], 4), m, figures(s[:2], 2))
}

// anonymous changes the header to the one that leaves.
func (c *Comparison) anonymous(h *head, v *visit) {
	h.fields[1] = v.who + " X X X"
	began, known := h.began()
	day, date, time := "X", "01.01.85", "00.00.00"
	switch kind := c.dated.kind; {
	case kind != "keep" && kind != "shift":
	case !known:
		time = c.startTime(h.fields[4])
	default:
		if kind == "shift" {
			began -= dayShift(v.days)
		}
		y, m, d := began.date()
		day, time = fmt.Sprintf("%02d-%s-%04d", d, monthMarks[m-1], y), c.startTime(h.fields[4])
		date = fmt.Sprintf("%02d.%02d.yy", d, m)
		if 1985 <= y && y <= 2084 {
			date = fmt.Sprintf("%02d.%02d.%02d", d, m, y%100)
		}
	}
	h.fields[2] = "Startdate " + day + " X X X"
	h.fields[3], h.fields[4] = date, time
	h.fields[6] = h.plus()
	for _, s := range h.signals {
		s[9] = ""
	}
}

// startTime returns what leaves of a start time, "hh.mm.ss", as the clock of /started_at does.
func (c *Comparison) startTime(s string) string {
	switch clock := c.dated.clock; {
	case clock == "hour" && len(s) == 8:
		return s[:2] + ".00.00"
	case clock == "hour" || clock == "drop":
		return "00.00.00"
	}
	return s
}

// dayShift is day, which a local name hides.
type dayShift = day

// textFields are the fields of a signal that hold what a person typed.
var textFields = []int{0, 1, 2, 7}

// A trace is the comparison of one EDF recording.
type trace struct {
	c        *Comparison
	path     string
	r        *recording
	head     *head // of the source
	found    []Finding
	texts    []mark // in the source, in bytes of the file
	searched int64
	count    Count // values
	bad      bool
}

// edf compares an EDF recording with the one that its source gives.
func (c *Comparison) edf(path string, s *session, r *recording, source io.Reader, in *counted) error {
	from := bufio.NewReaderSize(source, 64<<10)
	h, err := readHead(from)
	if err != nil {
		_, err := io.Copy(io.Discard, in)
		c.unlike(EDFs, path, "header", "cannot be the header that the source gives", 1, in.n)
		return err
	}
	t := &trace{c: c, path: path, r: r, head: h}
	for _, f := range c.found[r.file] {
		if f.Pointer == "" && f.Start >= 256 { // else in the file's name
			t.found = append(t.found, f)
		}
	}
	if err := t.header(c.visit(s), in); err != nil {
		return err
	}
	if err := t.data(from, in); err != nil {
		return err
	}
	if n, err := io.Copy(io.Discard, in); err != nil {
		return err
	} else if n > 0 {
		t.differs("end", "has bytes behind the last data record", 0)
	}
	c.searched += t.searched
	c.traces[r.file] = t.texts
	tally := c.sort(EDFs)
	tally.Values.add(t.count)
	if t.bad {
		tally.Bytes.Mismatched += in.n
	} else {
		tally.Bytes.Rederived += in.n
	}
	return nil
}

func (t *trace) differs(field, what string, values int64) {
	t.bad = true
	t.count.Mismatched += values
	t.c.mismatch(t.path, field, what)
}

// masked returns text, which is at byte at of the source, as it leaves.
func (t *trace) masked(at int, text string) string {
	t.searched++
	t.texts = append(t.texts, mark{at, at + len(text)})
	var inside []Finding
	for _, f := range t.found {
		if f.Start >= at && f.End <= at+len(text) {
			f.Start, f.End = f.Start-at, f.End-at
			inside = append(inside, f)
		}
	}
	list, ok := stretches(text, inside)
	if !ok {
		t.differs("text", "has a finding that does not fit the text of the source", 0)
	}
	b := []byte(text)
	for _, s := range list {
		for i := s.start; i < s.end; i++ {
			b[i] = 'X'
		}
		t.c.marks = append(t.c.marks, place{strings.TrimPrefix(t.path, "data/"), "", int64(at + s.start),
			int64(at + s.end)})
	}
	return string(b)
}

// header compares the header field by field, and every byte of it.
func (t *trace) header(v *visit, in io.Reader) error {
	h := t.head
	for _, k := range textFields { // before the header is changed
		for i, s := range h.signals {
			if !technical(s[k]) {
				s[k] = ""
				if k == 0 {
					s[k] = "signal " + strconv.Itoa(i+1)
				}
			}
			if s[k] != "" {
				s[k] = t.masked(h.offset(k, i), s[k])
			}
		}
	}
	t.c.anonymous(h, v)
	want, ok := h.write()
	there := make([]byte, len(want))
	n, err := io.ReadFull(in, there)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return err
	}
	fields := int64(len(headFields) + len(signalFields)*len(h.signals))
	if n < len(want) || !ok {
		t.differs("header", "is shorter than the one that the source gives", fields)
		return nil
	}
	if bytes.Equal(want, there) {
		t.count.Rederived += fields
		return nil
	}
	at := 0
	check := func(f headField, signal string) {
		if bytes.Equal(want[at:at+f.width], there[at:at+f.width]) {
			t.count.Rederived++
		} else {
			t.differs(f.name+signal, "differs from what source, plan and key give", 1)
		}
		at += f.width
	}
	for _, f := range headFields {
		check(f, "")
	}
	for _, f := range signalFields {
		for i := range h.signals {
			check(f, " of signal "+strconv.Itoa(i+1))
		}
	}
	return nil
}

// data compares the data records.
func (t *trace) data(from, in io.Reader) error {
	size := 0
	for _, n := range t.head.samples {
		size += 2 * n
	}
	want, there := make([]byte, size), make([]byte, size)
	at := 256 * (1 + len(t.head.signals))
	for record := range t.head.records {
		if _, err := io.ReadFull(from, want); err != nil {
			t.differs("data records", "are more than the source has", 0)
			return nil
		}
		n, err := io.ReadFull(in, there)
		if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
			return err
		}
		if n < size {
			t.differs("data records", "are fewer than the source has", 0)
			return nil
		}
		begin, clock := 0, true
		for i, samples := range t.head.samples {
			part, other := want[begin:begin+2*samples], there[begin:begin+2*samples]
			values := int64(samples)
			if t.head.plus() != "" && t.head.signals[i][0] == "EDF Annotations" {
				if t.c.spoken {
					values = t.annotations(part, at+begin)
				} else {
					values = silenced(part, clock)
				}
				clock = false
			}
			if bytes.Equal(part, other) {
				t.count.Rederived += values
			} else {
				t.differs(fmt.Sprintf("data record %d, signal %d", record+1, i+1),
					"differs from what source, plan and key give", values)
			}
			begin += 2 * samples
		}
		at += size
	}
	if n, _ := io.ReadFull(from, make([]byte, 1)); n > 0 {
		t.differs("data records", "are fewer than the source has", 0)
	}
	return nil
}

// annotations masks what was found in the annotations of b, which is at byte at of the
// source, and returns how many values they are: onsets, durations and texts.
func (t *trace) annotations(b []byte, at int) (values int64) {
	_, ok := annotations(b, func(start, end int) {
		values++
		if start < end {
			copy(b[start:end], t.masked(at+start, string(b[start:end])))
		}
	}, func() { values++ })
	if !ok {
		t.differs("annotations", "are not written as EDF+ requires in the source", 0)
	}
	return max(values, 1)
}

// silenced removes every annotation from b, but for the onset that is the time of the data
// record, in its first annotation signal. It returns how many values are left.
func silenced(b []byte, clock bool) (values int64) {
	end := bytes.IndexAny(b, "\x14\x15")
	var onset []byte
	if clock && end > 0 {
		onset = append(bytes.Clone(b[:end]), "\x14\x14\x00"...)
	}
	clear(b)
	copy(b, onset)
	return 1
}

// annotations walks over the bytes of an annotation signal in one data record: lists of
// an onset, perhaps a duration, and texts; zero bytes to the end. It calls text with the
// place of each text, and time for each list. ok is false if b is something else.
//
// Source: EDF+ 2.2.2.
func annotations(b []byte, text func(start, end int), time func()) (lists int, ok bool) {
	const endOfText, endOfList = 0x14, 0
	at := 0
	for at < len(b) && b[at] != endOfList {
		if b[at] != '+' && b[at] != '-' {
			return lists, false
		}
		n := bytes.IndexByte(b[at:], endOfText)
		if n < 0 || bytes.IndexByte(b[at:at+n], endOfList) >= 0 {
			return lists, false
		}
		time()
		lists++
		at += n + 1
		for first := true; first || at < len(b) && b[at] != endOfList; first = false {
			n := bytes.IndexByte(b[at:], endOfText)
			if n < 0 || bytes.IndexByte(b[at:at+n], endOfList) >= 0 || !utf8.Valid(b[at:at+n]) {
				return lists, false
			}
			text(at, at+n)
			at += n + 1
		}
		if at >= len(b) {
			return lists, false
		}
		at++
	}
	return lists, len(bytes.Trim(b[min(at, len(b)):], "\x00")) == 0
}
