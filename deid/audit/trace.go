package audit

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"outbreath/schema/breath"
	"outbreath/schema/edf"
)

// A Trace is the audit's extract of a recording.
type Trace struct {
	Name    string // "recordings/....csv"
	Bytes   int64
	Figures *breath.Figures // nil if the summary has none
	Strips  []Strip         // of the first [MaxStrips] recordings
	Foreign bool            // a CSV recording with letters below its header row
	Patient string          // of an EDF recording's header
	Hits    []Hit
	Partial bool // too large for all of its annotations to be listed

	texts []fileText // header and annotations
}

// A Strip is a curve for a small drawing: the least and the greatest value in each of
// stripPoints equal intervals, NaN where there is none.
type Strip struct {
	Name      string // "co2_kpa"
	Low, High []float64
}

// MaxStrips is how many recordings of an output are drawn.
const MaxStrips = 400

const (
	stripPoints = 90
	maxDrawn    = 32 << 20 // bytes of a recording that are drawn
)

// readTrace reads a recording to its end, and searches all of it for w.
func readTrace(name string, r io.Reader, w *Words) (*Trace, error) {
	t := &Trace{Name: name}
	s := &scanner{t: t, words: w, csv: strings.HasSuffix(name, ".csv")}
	buf := make([]byte, 128<<10)
	var kept bytes.Buffer
	for {
		n, err := r.Read(buf)
		t.Bytes += int64(n)
		s.write(buf[:n])
		if room := maxDrawn - kept.Len(); room > 0 {
			kept.Write(buf[:min(n, room)])
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
	}
	s.flush()
	if s.csv {
		t.Strips = csvStrips(kept.Bytes())
		header, _, _ := bytes.Cut(kept.Bytes(), []byte("\n"))
		for _, name := range strings.Split(strings.TrimSpace(string(header)), ",") {
			t.text("CSV recordings, names of columns", name, false)
		}
	} else {
		t.edf(kept.Bytes())
	}
	return t, nil
}

// A scanner looks for text in the bytes of a recording: in a CSV file for the header
// row and anything but numbers below it, in an EDF file for every printable run.
type scanner struct {
	t      *Trace
	words  *Words
	csv    bool
	header bool   // the header row has passed
	run    []byte // text that may go on
}

// maxRun is the length in bytes at which a run is searched even if it goes on.
const maxRun = 4096

// plain marks the bytes that rows of numbers consist of.
var plain = func() (p [256]bool) {
	for _, b := range []byte("0123456789+-.,;eE\r\n \t") {
		p[b] = true
	}
	return p
}()

// write takes the next bytes of the recording, and searches each run that ends in them.
func (s *scanner) write(p []byte) {
	if s.csv && !s.header {
		i := bytes.IndexByte(p, '\n')
		if i < 0 {
			s.run = append(s.run, p[:min(len(p), maxRun)]...)
			return
		}
		s.run = append(s.run, p[:min(i, maxRun)]...)
		s.flush()
		s.header = true
		p = p[i:]
	}
	for _, b := range p {
		switch {
		case s.csv && plain[b]:
			if len(s.run) > 0 {
				s.flush()
			}
		case s.csv, b >= 32 && b < 127, b >= 0x80:
			if s.run = append(s.run, b); len(s.run) >= maxRun {
				s.flush()
			}
		default:
			s.flush()
		}
	}
}

// flush searches the run, and marks the recording if it is text where numbers belong.
func (s *scanner) flush() {
	if s.csv && s.header && len(s.run) > 0 {
		if word := strings.ToLower(string(s.run)); word != "nan" && word != "inf" {
			s.t.Foreign = true
		}
	}
	if len(s.run) >= 4 && len(s.t.Hits) < 20 {
		for _, h := range s.words.Search(strings.ToValidUTF8(string(s.run), " ")) {
			if s.csv || h.Basis == "roster" && h.Sure { // samples match a pattern by chance
				s.t.Hits = append(s.t.Hits, h)
			}
		}
	}
	s.run = s.run[:0]
}

// csvStrips returns the curves of the first two columns other than t_s.
func csvStrips(data []byte) []Strip {
	header, rest, ok := bytes.Cut(data, []byte("\n"))
	if !ok {
		return nil
	}
	rows := bytes.Count(rest, []byte("\n"))
	var strips []Strip
	for _, name := range strings.Split(strings.TrimSpace(string(header)), ",") {
		strips = append(strips, newStrip(name))
	}
	for row := 0; len(rest) > 0; row++ {
		var line []byte
		line, rest, _ = bytes.Cut(rest, []byte("\n"))
		for i := 0; i < len(strips) && len(line) > 0; i++ {
			var cell []byte
			cell, line, _ = bytes.Cut(line, []byte(","))
			if i == 0 && strips[0].Name == "t_s" {
				continue
			}
			if v, err := strconv.ParseFloat(string(bytes.TrimSpace(cell)), 64); err == nil {
				strips[i].add(row*stripPoints/max(rows, 1), v)
			}
		}
	}
	if len(strips) > 0 && strips[0].Name == "t_s" {
		strips = strips[1:]
	}
	return strips[:min(len(strips), 2)]
}

func newStrip(name string) Strip {
	s := Strip{Name: name, Low: make([]float64, stripPoints), High: make([]float64, stripPoints)}
	for i := range s.Low {
		s.Low[i], s.High[i] = math.NaN(), math.NaN()
	}
	return s
}

// add extends interval i to v; the negated comparisons hold for NaN too.
func (s *Strip) add(i int, v float64) {
	i = min(max(i, 0), stripPoints-1)
	if !(v >= s.Low[i]) {
		s.Low[i] = v
	}
	if !(v <= s.High[i]) {
		s.High[i] = v
	}
}

// edf reads the header, and sets Patient and the curves of the first two signals that
// are not annotations. A broken header leaves t unchanged.
//
// Source: EDF (1992), physical from digital values.
func (t *Trace) edf(data []byte) {
	h, err := edf.ReadHeader(bytes.NewReader(data))
	if err != nil {
		return
	}
	t.Patient = h.Patient
	t.edfTexts(h, data)
	body := data[min(int64(len(data)), h.HeaderSize()):]
	size := h.RecordSize()
	records := 0
	if size > 0 {
		records = len(body) / size
	}
	offset := 0
	for i := range h.Signals {
		sig := &h.Signals[i]
		at := offset
		offset += 2 * sig.Samples
		if sig.IsAnnotation() || len(t.Strips) == 2 {
			continue
		}
		low, _ := strconv.ParseFloat(sig.PhysMin, 64)
		high, _ := strconv.ParseFloat(sig.PhysMax, 64)
		digLow, _ := strconv.Atoi(sig.DigMin)
		digHigh, _ := strconv.Atoi(sig.DigMax)
		s := newStrip(strings.TrimSpace(sig.Label + " " + sig.Dimension))
		total := records * sig.Samples
		for r := range records {
			for k := range sig.Samples {
				d := int16(binary.LittleEndian.Uint16(body[r*size+at+2*k:]))
				s.add((r*sig.Samples+k)*stripPoints/max(total, 1),
					low+(high-low)*float64(int(d)-digLow)/float64(digHigh-digLow))
			}
		}
		t.Strips = append(t.Strips, s)
	}
}

// edfTexts lists the texts of an EDF header and of the annotations. Time-keeping entries,
// and what EDF itself defines ("X", "EDF+C", the label of annotations), are no texts.
//
// Source: EDF+ (2003), 2.1.3 and 2.2.
func (t *Trace) edfTexts(h *edf.Header, data []byte) {
	header := func(field, text string) {
		t.text("EDF headers, "+field, strings.Join(slices.DeleteFunc(strings.Fields(text), func(w string) bool {
			return w == "X" || w == "EDF+C" || w == "EDF+D" || pseudonymForm.MatchString(w) && checkDigit(w)
		}), " "), true)
	}
	header("patient field", h.Patient)
	header("recording field", startdate.ReplaceAllString(h.Recording, ""))
	header("reserved field", h.Reserved)
	for _, f := range h.Texts() {
		if f.Value != edf.AnnotationLabel {
			field, _, _ := strings.Cut(f.Name, " of signal")
			t.text("EDF headers, "+field, f.Value, true)
		}
	}
	for _, s := range h.Signals {
		header("reserved field of a signal", s.Reserved)
	}
	t.Partial = h.Plus() && h.FileSize() > int64(len(data))
	err := edf.WalkAnnotations(bytes.NewReader(data), h, func(_ int, _ int64, text string) error {
		t.text("EDF annotations", text, true)
		return nil
	})
	t.Partial = t.Partial || err != nil
}

// startdate is the beginning of a recording field, which the treatment of dates has made.
var startdate = regexp.MustCompile(`^Startdate (X|\d\d-[A-Z]{3}-\d{4})`)

// text adds a text that leaves in this recording.
func (t *Trace) text(where, text string, free bool) {
	if text = strings.TrimSpace(text); text != "" {
		t.texts = append(t.texts, fileText{where, t.Name, text, free, false})
	}
}
