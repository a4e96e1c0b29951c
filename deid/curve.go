package deid

import (
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/schema"
	"outbreath/schema/breath"
	"outbreath/schema/edf"
	"outbreath/schema/sampler"
)

// RecordingFigures describe one recording, for judging how a sample was taken.
// They are not a medical reading.
type RecordingFigures struct {
	File    string `json:"file"`    // "recordings/..."
	Session string `json:"session"` // at the site the record's file, in a shipment the session's pseudonym
	breath.Figures
}

// Figures returns the figures of every recording that holds CO2 and that
// [Draft.CheckRecordings] has read to its end, ordered by file.
func (d *Draft) Figures() []RecordingFigures {
	return d.figures(func(s *treated, r *recording) (string, string) { return r.File, s.file })
}

// figures returns the figures of all measured recordings, with the file and session
// names that names returns, ordered by file.
func (d *draft) figures(names func(*treated, *recording) (file, session string)) []RecordingFigures {
	list := []RecordingFigures{}
	for _, s := range d.sessions {
		for i := range s.recordings {
			if r := &s.recordings[i]; r.figures != nil {
				file, session := names(s, r)
				list = append(list, RecordingFigures{file, session, *r.figures})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b RecordingFigures) int { return cmp.Compare(a.File, b.File) })
	return list
}

// check returns a check of a CSV recording, and the meter that measures the rows
// that pass it; the meter is nil unless the plan declares both t_s and co2_kpa.
func (r *recording) check() (*schema.CSVCheck, *breath.Meter) {
	check := schema.NewCSVCheck(r.File, r.Columns, maxProblems)
	check.Listed = func(n uint64, whole bool) bool { return r.listed.inCell(r.numbers, n, whole) }
	column := func(name string) int {
		return slices.IndexFunc(r.Columns, func(c schema.Column) bool { return c.Name == name })
	}
	t, co2, pressure := column("t_s"), column("co2_kpa"), column("pressure_pa")
	if t < 0 || co2 < 0 {
		return check, nil
	}
	m := breath.NewMeter()
	check.Of = make([]bool, len(r.Columns))
	check.Of[t], check.Of[co2] = true, true
	r.begins, r.pressures, r.pressure = -1, 0, 0
	if pressure >= 0 {
		check.Of[pressure] = true
	}
	check.Each = func(row []float64) {
		m.Add(row[t], row[co2])
		if r.begins < 0 {
			r.begins = row[t]
		}
		if pressure >= 0 && !math.IsNaN(row[pressure]) {
			r.pressures++
			r.pressure = max(r.pressure, math.Abs(row[pressure]))
		}
	}
	return check, m
}

// An edfCurve measures the CO2 in the data records of an EDF file, which are
// written to it as bytes in pieces of any size.
type edfCurve struct {
	*breath.Meter
	offset, samples int       // of the CO2 signal in each data record: bytes, count
	least, step     float64   // kPa: physical minimum, and one digital step
	digMin          int       // digital minimum
	seconds         float64   // of a data record
	gaps            bool      // EDF+D: each data record gives its own start
	clock           edf.Range // of that start in a data record
	record          int       // data records measured so far
	partial         []byte    // of a data record that is not complete yet
	size            int       // of a data record, in bytes
}

// newEDFCurve returns an edfCurve for the signal of CO2, or nil with the reason why
// none can be measured. gasKPa is the pressure in kPa of the gas of which % and ppm
// are shares; 0 if it is not known.
func newEDFCurve(h *edf.Header, gasKPa float64) (*edfCurve, string) {
	signal, ok := sampler.CO2Signal(h, gasKPa)
	switch {
	case !ok:
		return nil, "no signal has CO2 in its label"
	case signal.Why != "":
		return nil, fmt.Sprintf("signal %d has CO2 in its label, but %s", signal.Index+1, signal.Why)
	}
	s := &h.Signals[signal.Index]
	c := &edfCurve{Meter: breath.NewMeter(), samples: s.Samples, seconds: h.RecordSeconds(), size: h.RecordSize()}
	for _, before := range h.Signals[:signal.Index] {
		c.offset += 2 * before.Samples
	}
	most, _ := strconv.ParseFloat(s.PhysMax, 64) // the header has been checked
	least, _ := strconv.ParseFloat(s.PhysMin, 64)
	c.digMin, _ = strconv.Atoi(s.DigMin)
	digMax, _ := strconv.Atoi(s.DigMax)
	c.least = least * signal.Factor
	c.step = (most - least) / float64(digMax-c.digMin) * signal.Factor
	if clocks := h.AnnotationRanges(); strings.HasPrefix(h.Reserved, "EDF+D") && len(clocks) > 0 {
		c.gaps, c.clock = true, clocks[0]
	}
	return c, ""
}

// curve returns an edfCurve for the recording, nil if its CO2 cannot be measured.
func (r *recording) curve(h *edf.Header) *edfCurve {
	c, why := newEDFCurve(h, r.gasKPa)
	r.unmeasured = why
	return c
}

// gasOf returns source_gas_kpa, in kPa, of the recording at pointer
// ("/recordings/0/file") of a treated record; 0 if nothing of it leaves. Figures rest
// on what leaves, so that they tell no more of the day's pressure than the record.
func gasOf(record *schema.Node, pointer string) float64 {
	n := record.At(strings.TrimSuffix(pointer, "/file") + "/source_gas_kpa")
	if n == nil || n.Kind != schema.Number {
		return 0
	}
	f, _ := strconv.ParseFloat(n.Text, 64)
	return f
}

// Write takes the next bytes of data. It never returns an error.
func (c *edfCurve) Write(p []byte) (int, error) {
	n := len(p)
	for len(p) > 0 {
		if len(c.partial) == 0 && len(p) >= c.size {
			c.measure(p[:c.size])
			p = p[c.size:]
			continue
		}
		take := min(len(p), c.size-len(c.partial))
		c.partial = append(c.partial, p[:take]...)
		p = p[take:]
		if len(c.partial) == c.size {
			c.measure(c.partial)
			c.partial = c.partial[:0]
		}
	}
	return n, nil
}

// measure takes one data record. It converts sums of digital values instead of each
// value, because the conversion is linear.
//
// Sources: EDF (1992), physical from digital values; EDF+ 2.2.4, the time of a data
// record.
func (c *edfCurve) measure(b []byte) {
	start := float64(c.record) * c.seconds
	if c.gaps {
		if tals, err := edf.ParseTALs(b[c.clock.Offset : c.clock.Offset+c.clock.Size]); err == nil && len(tals) > 0 {
			start, _ = strconv.ParseFloat(tals[0].Onset, 64)
		}
	}
	c.record++
	data := b[c.offset : c.offset+2*c.samples]
	c.AddEven(start, c.seconds/float64(c.samples), c.samples, func(i, j int) float64 {
		n, sum := j-i, 0
		for d := data[2*i : 2*j]; len(d) >= 2; d = d[2:] {
			sum += int(int16(binary.LittleEndian.Uint16(d)))
		}
		return float64(n)*c.least + c.step*float64(sum-n*c.digMin)
	})
}

// readEDF measures the data of an EDF recording whose header has been checked.
func (r *recording) readEDF(ctx context.Context, s *source, h *edf.Header, advance func(int64)) error {
	c := r.curve(h)
	words := newSampleWords(h)
	advance(h.HeaderSize())
	buf := make([]byte, 256<<10)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := s.Read(buf)
		if c != nil {
			c.Write(buf[:n])
		}
		words.Write(buf[:n])
		advance(int64(n))
		if err == io.EOF {
			if r.words = words.close(); c != nil {
				r.measured(c.Meter)
			}
			return s.same()
		} else if err != nil {
			return r.unreadable(err)
		}
	}
}

// measured keeps the figures of a recording that has been read to its end; m may
// be nil.
func (r *recording) measured(m *breath.Meter) {
	if m != nil {
		f := m.Figures()
		if math.IsInf(f.EndTidal, 0) || math.IsNaN(f.EndTidal) {
			f.EndTidal = 0 // of numbers that are no CO2; JSON has no word for it
		}
		r.figures = &f
	}
}

// longer is how much longer than its session a recording may last: clocks differ.
const longer = time.Minute

// impossible returns what cannot be true of the recording, as errors.
func (r *recording) impossible() []schema.Problem {
	f := r.figures
	if f == nil {
		return nil
	}
	var out []schema.Problem
	// a session that ends before it begins is reported elsewhere
	if r.lasted > 0 && f.Seconds > (r.lasted+longer).Seconds() {
		out = append(out, r.query(schema.Error, "recording.length",
			fmt.Sprintf("the recording lasts %.0f s and the session that names it %.0f s, from started_at to "+
				"ended_at, so it may be another session's: "+
				"name the right file in the record, or correct the wrong time", f.Seconds, r.lasted.Seconds())))
	}
	if f.Hint == breath.HintMmHg {
		out = append(out, r.query(schema.Error, "recording.unit",
			"CO2 is declared in kPa, but the values of the curve fit mmHg: set the recorder to kPa, or "+
				"convert the values, then export the recording again"))
	}
	return out
}

// covered is the share of its session that the recordings of one should last (common
// practice, no source).
const covered = 0.9

// lateStart is after how many seconds the time of a recording hardly begins; the sampler's
// time went on from an earlier session, or the beginning was cut off (common practice, no
// source).
const lateStart = 60

// leastPressure is what the pressure at a mouth exceeds in any breath, in Pa (common
// practice, no source). Values below it are in kPa.
const leastPressure = 1

// fewPressures is how many rows of a recording show the range of its pressure.
const fewPressures = 100

// doubtful returns what somebody should look at, as warnings. The limits are our
// own; no standard gives them.
func (s *treated) doubtful() []schema.Problem {
	const gap = 5 // seconds
	var out []schema.Problem
	together := 0.0
	for i := range s.recordings {
		r := &s.recordings[i]
		f := r.figures
		warn := func(rule, message string) { out = append(out, r.query(schema.Warning, rule, message)) }
		if r.unmeasured != "" {
			warn("recording.not-measured", "CO2 is not measured, because "+r.unmeasured+": complete the record, or "+
				"export the recording again; otherwise the laboratory receives it without figures")
		}
		if f == nil {
			return out
		}
		together += f.Seconds
		if f.Samples > 0 && f.Dropped == f.Samples {
			warn("recording.not-measured", "CO2 is not measured, because no row holds a value of it: check whether "+
				"the sensor was connected, and inform the laboratory")
		}
		if f.LongestGap > gap {
			warn("recording.gap", fmt.Sprintf("the recording has a gap of %.0f s between two samples: find out "+
				"whether the recorder stopped, and say so in interruptions", f.LongestGap))
		}
		if r.begins > lateStart {
			warn("recording.begin", fmt.Sprintf("the time of this recording begins at %.0f s and not near 0: check "+
				"whether its beginning was cut off, or the sampler's time went on from an earlier session", r.begins))
		}
		if r.pressures >= fewPressures && r.pressure > 0 && r.pressure < leastPressure {
			warn("recording.pressure", fmt.Sprintf("the pressure never exceeds %g Pa, which is a thousand times less "+
				"than breathing gives: if it was recorded in kPa, convert the values, and export the recording again",
				r.pressure))
		}
		if f.Flat {
			warn("recording.flat", "CO2 has the same value from beginning to end, so nothing was measured: check "+
				"whether the sensor was connected, and inform the laboratory")
		}
		if f.Hint == breath.HintLeak {
			warn("recording.leak", "CO2 stays low at the ends of the breaths, or declines over the recording: "+
				"check whether the mask or the sampling line leaked, and say so in notes")
		}
	}
	if len(s.recordings) == 0 {
		return out
	}
	first := &s.recordings[0]
	if lasted := first.lasted.Seconds(); together < lasted*covered {
		out = append(out, first.query(schema.Warning, "recording.length", fmt.Sprintf("the recordings of this session "+
			"last %.0f s, and the session %.0f s, from started_at to ended_at: check whether a recording was cut off "+
			"or is another session's, and say so in interruptions", together, lasted)))
	}
	return out
}

func (r *recording) query(weight schema.Severity, rule, message string) schema.Problem {
	return schema.Problem{File: r.File, Rule: rule, Severity: weight, Message: message}
}
