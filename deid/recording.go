package deid

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"sync"
	"time"

	"outbreath/deid/leak"
	"outbreath/pack/durable"
	"outbreath/schema"
	"outbreath/schema/breath"
)

// maxProblems is how many problems of one recording are reported.
const maxProblems = 20

// A recording is one file that a session names, with the parameters of its treatment.
type recording struct {
	schema.RecordingRef
	leaves   string // "recordings/<session pseudonym>-1.csv"
	subject  string // the subject's pseudonym
	started  time.Time
	lasted   time.Duration // of the session, from started_at to ended_at
	shift    int           // days; 0: the date is not moved
	dated    bool          // the plan lets the date leave
	clock    string        // of the time of day: "" all, else [schema.ClockHour] or [schema.ClockDrop]
	texts    bool          // the plan lets annotations leave
	declared *leak.Declared
	listed   *listedNumbers
	numbers  []string // in the subject's row of the roster
	gasKPa   float64  // source_gas_kpa as it leaves, 0 for none

	// Results of reading the recording to its end. Only one goroutine at a time reads it.
	read    bool
	figures *breath.Figures // nil for one without CO2

	axes map[int]string // columns of time that are moved to begin at 0, with their first values; see findAxes

	begins    float64 // t_s of the first row of a CSV recording
	pressure  float64 // the greatest amount of pressure_pa in it
	pressures int     // rows with a value of it

	// unmeasured says why CO2 of an EDF recording cannot be measured; "" if it can.
	unmeasured string

	words []span // bytes among the samples of an EDF recording that read as words
}

// recording returns the i-th recording of a session with the parameters of its treatment.
func (d *draft) recording(v *visit, i int) recording {
	r := recording{RecordingRef: v.Recordings[i], subject: v.subject, started: v.Started,
		lasted: v.Ended.Sub(v.Started)}
	// The record's own codes are not declared: whoever reads a recording alone lacks them.
	r.declared = leak.Declare(d.c.Study.Study, d.c.Study.Site)
	r.listed, r.numbers = d.treater.listed, v.numbers
	r.leaves = v.recordingName(r.Pointer)
	if f, ok := d.c.Plan.Field("/started_at"); ok {
		switch f.Treatment.Kind {
		case schema.Shift:
			r.dated, r.shift, r.clock = true, v.shift, f.Treatment.Clock
		case schema.Keep:
			r.dated = true
		}
	}
	if f, ok := d.c.Plan.Field("/recordings/*/content"); ok {
		r.texts = f.Treatment.Kind == schema.Text || f.Treatment.Kind == schema.Keep
	}
	return r
}

// problem returns an error about the recording as a whole.
func (r *recording) problem(rule, message string) *schema.QueriesError {
	return &schema.QueriesError{Problems: []schema.Problem{{File: r.File, Rule: rule, Severity: schema.Error,
		Message: message}}}
}

func (r *recording) changed() error {
	return r.problem("collection.changed", "the file has changed since the folder was read; wait until no program "+
		"writes to it any more, then run the command again")
}

// A source is an open recording that is still the file that was checked.
type source struct {
	*os.File
	r *recording
}

// open opens the recording for reading; links, pipes and devices are refused.
func (r *recording) open(root *os.Root) (*source, error) {
	f, err := durable.Open(root, r.File)
	if errors.Is(err, fs.ErrNotExist) || errors.As(err, new(*durable.Refusal)) {
		return nil, r.changed()
	} else if err != nil {
		return nil, r.unreadable(err)
	}
	s := &source{f, r}
	if err := s.same(); err != nil {
		f.Close()
		return nil, err
	}
	return s, nil
}

// same returns an error if size or time of the open file differ from those that it had
// when the folder was read.
func (s *source) same() error {
	info, err := s.Stat()
	if err != nil {
		return s.r.unreadable(err)
	}
	if !info.Mode().IsRegular() || info.Size() != s.r.Size || !info.ModTime().Equal(s.r.ModTime) {
		return s.r.changed()
	}
	return nil
}

func (r *recording) unreadable(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		err = path.Err // without the name, which the message below begins with
	}
	return fmt.Errorf("%s cannot be read: %w; check the disk and the rights on the file", r.File, err)
}

// csv opens a CSV recording for the reading of its treated bytes: unchanged, but for axes that
// are moved.
func (r *recording) csv(root *os.Root) (io.ReadCloser, error) {
	s, err := r.open(root)
	if err != nil {
		return nil, err
	}
	check, meter := r.check()
	c := &csvReader{source: s, check: check, meter: meter, left: r.Size}
	if r.axes != nil {
		return &axisReader{Closer: c, in: bufio.NewReaderSize(struct{ io.Reader }{c}, maxLine), axes: r.axes}, nil
	}
	return c, nil
}

// A csvReader returns the bytes of a CSV recording unchanged, and checks on the way
// that they are numbers only.
type csvReader struct {
	*source
	check *schema.CSVCheck
	meter *breath.Meter // nil: nothing to measure
	left  int64
	err   error
}

// Read returns no byte of a block in which something is wrong.
func (c *csvReader) Read(p []byte) (int, error) {
	if c.err != nil || len(p) == 0 {
		return 0, c.err
	}
	n, err := c.File.Read(p)
	c.left -= int64(n)
	c.check.Write(p[:n])
	switch {
	case c.left < 0:
		c.err = c.r.changed()
	case err == io.EOF:
		c.check.Close()
		if c.err = c.verdict(); c.err == nil {
			if c.err = c.same(); c.err == nil && c.left > 0 {
				c.err = c.r.changed()
			}
		}
		if c.err == nil {
			c.err = c.r.end(c.meter)
		}
		if c.err == nil {
			c.err = io.EOF
		}
	case err != nil:
		c.err = c.r.unreadable(err)
	default:
		c.err = c.verdict()
	}
	if c.err != nil {
		return 0, c.err
	}
	return n, nil
}

// WriteTo hides the method of the embedded file, which would bypass Read.
func (c *csvReader) WriteTo(w io.Writer) (int64, error) {
	return io.Copy(w, struct{ io.Reader }{c})
}

// end records that the recording has been read to its end, and returns what cannot be
// true of it. m may be nil: nothing was measured.
func (r *recording) end(m *breath.Meter) error {
	r.read = true
	r.measured(m)
	if problems := r.impossible(); len(problems) > 0 {
		return &schema.QueriesError{Problems: problems}
	}
	return nil
}

func (c *csvReader) verdict() error {
	if problems := c.check.Problems(); len(problems) > 0 {
		return &schema.QueriesError{Problems: problems}
	}
	return nil
}

// CheckRecordings reads every recording that has not been read yet to its end, and
// returns the problems of all recordings, warnings included: look at Severity. progress
// may be nil; it is called from one goroutine at a time, with bytes.
func (d *Draft) CheckRecordings(ctx context.Context, progress func(done, total int64)) ([]schema.Problem, error) {
	var all []*recording
	var total, done int64
	for _, s := range d.sessions {
		for i := range s.recordings {
			all = append(all, &s.recordings[i])
			if !s.recordings[i].read {
				total += s.recordings[i].Size
			}
		}
	}
	var mu sync.Mutex
	advance := func(n int64) {
		mu.Lock()
		defer mu.Unlock()
		done += n
		if progress != nil {
			progress(done, total)
		}
	}
	if err := d.readTraces(); err != nil {
		return nil, err
	}
	problems := make([][]schema.Problem, len(all))
	failed := make([]error, len(all))
	parallel(len(all), func(i int) {
		if failed[i] = ctx.Err(); failed[i] != nil {
			return
		}
		if r := all[i]; r.read {
			problems[i] = r.impossible()
		} else if r.Format == "csv" {
			problems[i], failed[i] = r.checkCSV(ctx, d.c.Root, advance)
		} else {
			problems[i], failed[i] = d.checkEDF(ctx, r, advance)
		}
	})
	for _, s := range d.sessions {
		problems = append(problems, s.doubtful())
	}
	same, err := d.sameCurves()
	return append(slices.Concat(problems...), same...), errors.Join(append(failed, err)...)
}

// checkEDF returns the problems of the first reading or, if there are none, measures
// the recording and returns what the measurement shows.
func (d *draft) checkEDF(ctx context.Context, r *recording, advance func(int64)) ([]schema.Problem, error) {
	if problems := d.traces.problems[r.File]; len(problems) > 0 {
		advance(r.Size)
		return problems, nil
	}
	s, h, err := r.header(d.c.Root)
	if err == nil {
		defer s.Close()
		err = r.readEDF(ctx, s, h, advance)
	}
	var queries *schema.QueriesError
	if errors.As(err, &queries) {
		return queries.Problems, nil
	}
	return append(r.impossible(), r.wordsInSamples()...), err
}

// checkCSV reads a recording to its end, where a csvReader would stop at the first
// problem: the user then sees all problems at once.
func (r *recording) checkCSV(ctx context.Context, root *os.Root, advance func(int64)) ([]schema.Problem, error) {
	s, err := r.open(root)
	var queries *schema.QueriesError
	if errors.As(err, &queries) {
		return queries.Problems, nil
	} else if err != nil {
		return nil, err
	}
	defer s.Close()
	check, meter := r.check()
	buf := make([]byte, 256<<10)
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		n, err := s.Read(buf)
		check.Write(buf[:n])
		advance(int64(n))
		if err == io.EOF {
			break
		} else if err != nil {
			return nil, r.unreadable(err)
		}
	}
	check.Close()
	problems := check.Problems()
	if errors.As(s.same(), &queries) {
		problems = append(problems, queries.Problems...)
	}
	if len(problems) == 0 {
		r.measured(meter)
		problems = r.impossible()
	}
	return problems, nil
}

// reader returns the treated bytes of the recording, checked as they are read.
func (d *draft) reader(r *recording, dec *leak.Decisions) (io.ReadCloser, error) {
	if r.Format == "csv" {
		return r.csv(d.c.Root)
	}
	return d.edf(r, dec)
}
