package deid

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
	"outbreath/schema/edf"
)

// first returns the first recording of a format in a treated collection.
func first(t testing.TB, d *Draft, format string) *recording {
	t.Helper()
	for _, s := range d.sessions {
		for i := range s.recordings {
			if s.recordings[i].Format == format {
				return &s.recordings[i]
			}
		}
	}
	t.Fatal("no recording in " + format)
	return nil
}

// broken returns the errors of CheckRecordings. Most recordings here are much
// shorter than their sessions, of which it warns.
func broken(t testing.TB, d *Draft) ([]schema.Problem, error) {
	t.Helper()
	problems, err := d.CheckRecordings(t.Context(), nil)
	return errorsOf(problems), err
}

func errorsOf(problems []schema.Problem) (out []schema.Problem) {
	for _, p := range problems {
		if p.Severity == schema.Error {
			out = append(out, p)
		}
	}
	return out
}

// drain reads a treated recording.
func drain(d *Draft, r *recording, dec *leak.Decisions) ([]byte, error) {
	rc, err := d.reader(r, dec)
	if err != nil {
		return nil, err
	}
	defer rc.Close()
	return io.ReadAll(rc)
}

// A recording that changes after the folder was read does not leave.
func TestRecordingChanged(t *testing.T) {
	later := time.Now().Add(time.Hour)
	for _, format := range []string{"csv", "edf"} {
		for name, change := range map[string]func(file string) error{
			"grown": func(file string) error {
				f, err := os.OpenFile(file, os.O_APPEND|os.O_WRONLY, 0)
				if err != nil {
					return err
				}
				_, err = f.WriteString("1")
				return errors.Join(err, f.Close())
			},
			"grown, and its time set back": func(file string) error {
				info, err := os.Stat(file)
				if err != nil {
					return err
				}
				return errors.Join(os.Truncate(file, info.Size()+1), os.Chtimes(file, info.ModTime(), info.ModTime()))
			},
			"a pipe": func(file string) error { // to open it would wait for ever
				return errors.Join(os.Remove(file), exec.Command(tool(t, "mkfifo"), file).Run())
			},
			"cut":     func(file string) error { return os.Truncate(file, 300) },
			"touched": func(file string) error { return os.Chtimes(file, later, later) },
			"gone":    os.Remove,
			"linked": func(file string) error {
				if err := os.Rename(file, file+".txt"); err != nil {
					return err
				}
				return os.Symlink(filepath.Base(file)+".txt", file)
			},
			"a folder": func(file string) error { return errors.Join(os.Remove(file), os.Mkdir(file, 0o700)) },
		} {
			t.Run(format+" "+name, func(t *testing.T) {
				dir, _ := invented(t, demo.Small())
				c := load(t, dir)
				d := treat(t, c)
				r := first(t, d, format)
				cleared, err := Release(d, nil)
				if err != nil {
					t.Fatal(err)
				}
				if err := change(filepath.Join(dir, filepath.FromSlash(r.File))); err != nil {
					t.Fatal(err)
				}
				i := slices.IndexFunc(cleared.Files(), func(f File) bool { return f.Name == r.leaves })
				_, err = cleared.Files()[i].Open()
				var queries *schema.QueriesError
				if !errors.As(err, &queries) || queries.Problems[0].Rule != "collection.changed" ||
					queries.Problems[0].File != r.File {
					t.Errorf("%v", err)
				}
				problems, err := broken(t, treat(t, c)) // the collection as it was read
				if err != nil || len(problems) != 1 || problems[0].Rule != "collection.changed" ||
					problems[0].File != r.File {
					t.Errorf("%+v, %v", problems, err)
				}
			})
		}
	}
}

// Text does not leave in a CSV recording, at whatever place of the file.
func TestCSVThatSpeaks(t *testing.T) {
	for _, at := range []string{"early", "late"} {
		dir, truth := invented(t, demo.Options{Subjects: 1, Sessions: 1, RecordingSeconds: 600, SampleHz: 100,
			NoEDF: true})
		file := filepath.Join(dir, filepath.FromSlash(truth.Sessions[0].Recordings[0].File))
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		const text = "call Zebulon\n"
		i := 1 + bytes.IndexByte(data[3000:], '\n') + 3000
		if at == "late" {
			i = len(data)
		}
		if err := os.WriteFile(file, slices.Concat(data[:i], []byte(text), data[i:]), 0o600); err != nil {
			t.Fatal(err)
		}
		d := treat(t, load(t, dir))
		problems, err := broken(t, d)
		if err != nil || len(problems) == 0 || problems[0].File != truth.Sessions[0].Recordings[0].File ||
			problems[0].Line != 1+bytes.Count(data[:i], []byte("\n")) {
			t.Fatalf("%s: %+v, %v", at, problems, err)
		}
		got, err := drain(d, first(t, d, "csv"), nil)
		var queries *schema.QueriesError
		if !errors.As(err, &queries) || bytes.Contains(got, []byte("Zebulon")) ||
			strings.Contains(err.Error(), "Zebulon") {
			t.Errorf("%s: %d bytes, %v", at, len(got), err)
		}
	}
}

// However a reader is drained, the bytes are the same.
func TestRecordingReaders(t *testing.T) {
	dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
	i := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
	if _, err := planting.Put(dir, planting.Identifier{Place: planting.InAnnotation, Session: truth.Sessions[i].File,
		Column: "family_name"}); err != nil {
		t.Fatal(err)
	}
	d := treat(t, load(t, dir))
	dec := decide(t, "redact", findings(t, d, nil)...)
	for _, format := range []string{"csv", "edf"} {
		r := first(t, d, format)
		want, err := drain(d, r, dec)
		if err != nil || int64(len(want)) != r.Size {
			t.Fatalf("%s: %d of %d bytes, %v", format, len(want), r.Size, err)
		}
		for name, wrap := range map[string]func(io.Reader) io.Reader{"one byte": iotest.OneByteReader,
			"half": iotest.HalfReader} {
			rc, err := d.reader(r, dec)
			if err != nil {
				t.Fatal(err)
			}
			if got, err := io.ReadAll(wrap(rc)); err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s, %s: %d bytes, %v", format, name, len(got), err)
			}
			if n, err := rc.Read(make([]byte, 10)); n != 0 || err != io.EOF {
				t.Errorf("%s: after the end %d, %v", format, n, err)
			}
			rc.Close()
		}
		rc, err := d.reader(r, dec)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer // io.Copy prefers WriteTo, which an embedded os.File has
		if _, err := io.Copy(&b, rc); err != nil || !bytes.Equal(b.Bytes(), want) {
			t.Errorf("%s: io.Copy gives other bytes, %v", format, err)
		}
		rc.Close()
	}
	// A finding that nobody decided on stops the stream, should it get so far.
	got, err := drain(d, first(t, d, "edf"), nil)
	if !errors.As(err, new(*FindingsError)) || bytes.Contains(got, []byte(truth.Roster[0]["family_name"])) {
		t.Errorf("%d bytes, %v", len(got), err)
	}
}

// The EDF header at its byte offsets (EDF 1992; EDF+ 2.1.3), for every plan.
func TestEDFHeader(t *testing.T) {
	for _, plan := range schema.Builtin() {
		dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
		usePlan(t, dir, plan)
		d := treat(t, load(t, dir))
		r := first(t, d, "edf")
		before, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(r.File)))
		if err != nil {
			t.Fatal(err)
		}
		after, err := drain(d, r, nil)
		if err != nil || len(after) != len(before) {
			t.Fatalf("%d bytes became %d, %v", len(before), len(after), err)
		}
		i := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
		s := truth.Sessions[i]
		id := truth.Roster[s.Row]["subject_id"]
		names := NewPseudonymiser(testKey(), demo.Study)
		subject, err1 := names.Subject(id)
		days, err2 := names.ShiftDays(id)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		start := s.Started
		clock := string(before[176:184])
		var long, short string
		switch plan {
		case "shifted":
			start = start.AddDate(0, 0, -days)
			fallthrough
		case "limited":
			long, short = strings.ToUpper(start.Format("02-Jan-2006")), start.Format("02.01.06")
		default: // common practice for an unknown date, no source
			long, short, clock = "X", "01.01.85", "00.00.00"
		}
		for _, f := range []struct {
			name     string
			from, to int
			want     string
		}{
			{"patient", 8, 88, subject + " X X X"},
			{"recording", 88, 168, "Startdate " + long + " X X X"},
			{"start date", 168, 176, short},
			{"start time", 176, 184, clock},
			{"reserved", 192, 236, "EDF+C"},
			{"version", 0, 8, "0"},
		} {
			if got := strings.TrimRight(string(after[f.from:f.to]), " "); got != f.want {
				t.Errorf("%s, %s: %q, want %q", plan, f.name, got, f.want)
			}
		}
		if !bytes.Equal(after[184:192], before[184:192]) || !bytes.Equal(after[236:], noTexts(t, plan, before)[236:]) {
			t.Errorf("%s: more than the identity was changed", plan)
		}
	}
}

// noTexts returns an EDF recording as it leaves under plan but for its identity: under "year-only"
// without its annotations, which are made again from the times of its data records.
func noTexts(t *testing.T, plan string, before []byte) []byte {
	t.Helper()
	if plan != "year-only" {
		return before
	}
	out := bytes.Clone(before)
	h, err := edf.ReadHeader(bytes.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	for at := int(h.HeaderSize()); at < len(out); at += h.RecordSize() {
		for i, r := range h.AnnotationRanges() {
			b := out[at+r.Offset : at+r.Offset+r.Size]
			tals, err := edf.ParseTALs(bytes.Clone(b))
			if err != nil {
				t.Fatal(err)
			}
			clear(b)
			if i == 0 {
				clock, err := edf.EncodeTALs(len(b), edf.NewTAL(tals[0].Onset, "", ""))
				if err != nil {
					t.Fatal(err)
				}
				copy(b, clock)
			}
		}
	}
	return out
}

// A text of the header with a word that is not technical leaves under no plan, and nobody is asked.
func TestHeaderTextsDoNotLeave(t *testing.T) {
	for _, plan := range schema.Builtin() {
		dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
		usePlan(t, dir, plan)
		i := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
		planted, err := planting.Put(dir, planting.Identifier{Place: planting.InTransducer,
			Session: truth.Sessions[i].File, Column: "email"})
		if err != nil {
			t.Fatal(err)
		}
		d := treat(t, load(t, dir))
		if list := findings(t, d, nil); len(list) > 0 {
			t.Errorf("%s: %d findings", plan, len(list))
		}
		out, err := drain(d, first(t, d, "edf"), nil)
		if err != nil || len(out) == 0 {
			t.Fatal(err)
		}
		if bytes.Contains(out, []byte(planted.Value)) || strings.Trim(string(out[planted.Start:planted.End]),
			" ") != "" {
			t.Errorf("%s: %q leaves", plan, out[planted.Start:planted.End])
		}
	}
}

// Redactions in an EDF recording overwrite just the bytes named.
func TestEDFRedaction(t *testing.T) {
	for _, place := range []planting.Place{planting.InAnnotation} {
		dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
		i := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
		planted, err := planting.Put(dir, planting.Identifier{Place: place, Session: truth.Sessions[i].File,
			Column: "email"})
		if err != nil {
			t.Fatal(err)
		}
		d := treat(t, load(t, dir))
		r := first(t, d, "edf")
		list := findings(t, d, nil)
		kept, err1 := drain(d, r, decide(t, "keep", list...))
		cut, err2 := drain(d, r, decide(t, "redact", list...))
		if err := errors.Join(err1, err2); err != nil || len(kept) != len(cut) {
			t.Fatal(err)
		}
		if string(kept[planted.Start:planted.End]) != planted.Value {
			t.Fatalf("%s: not where it was planted", place)
		}
		if want := strings.Repeat("X", len(planted.Value)); string(cut[planted.Start:planted.End]) != want {
			t.Errorf("%s: %q", place, cut[planted.Start:planted.End])
		}
		if !bytes.Equal(kept[:planted.Start], cut[:planted.Start]) ||
			!bytes.Equal(kept[planted.End:], cut[planted.End:]) {
			t.Errorf("%s: more than the value was changed", place)
		}
	}
}

// Recordings that other projects wrote (test data of MNE-Python, BSD-3-Clause,
// and of edfio, Apache-2.0, cut from PhysioNet's Sleep-EDF): their identity goes,
// their samples stay.
func TestOtherPeoplesEDF(t *testing.T) {
	for _, test := range []struct {
		file  string
		start string // day of the recording, from its header
		clear bool   // no word in it looks like an identifier
	}{
		{"mne-python/test.edf", "2014-04-29", true},
		{"mne-python/test_uneven_samp.edf", "2000-07-13", true},
		{"edfio/short_psg.edf", "1989-04-24", true},
		{"edfio/SC4001EC-Hypnogram.edf", "1989-04-24", true},
	} {
		t.Run(test.file, func(t *testing.T) {
			before, err := os.ReadFile(filepath.Join("..", "..", "shared", "external", "edf",
				filepath.FromSlash(test.file)))
			if err != nil {
				t.Skip("the recordings of other projects are not at hand")
			}
			dir, truth := invented(t, demo.Options{RecordingSeconds: 10, Start: day(test.start)})
			i := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
			for k := range i { // the EDF session must fall on the day of the recording
				if y, m, d := truth.Sessions[k].Started.Date(); !time.Date(y, m, d, 0, 0, 0, 0,
					time.UTC).Equal(day(test.start)) {
					t.Fatal("the sessions of the day are too few")
				}
			}
			if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(truth.Sessions[i].Recordings[1].File)),
				before, 0o600); err != nil {
				t.Fatal(err)
			}
			d := treat(t, load(t, dir))
			if problems, err := broken(t, d); err != nil || len(problems) > 0 {
				t.Fatal(problems, err)
			}
			list := findings(t, d, nil)
			if (len(list) == 0) != test.clear {
				t.Errorf("%+v", list)
			}
			r := first(t, d, "edf")
			after, err := drain(d, r, decide(t, "redact", list...))
			if err != nil || len(after) != len(before) {
				t.Fatalf("%d bytes, %v", len(after), err)
			}
			if got, want := string(after[8:88]), r.subject+" X X X"; strings.TrimRight(got, " ") != want {
				t.Errorf("patient %q", got)
			}
			want := "Startdate " + strings.ToUpper(day(test.start).AddDate(0, 0, -r.shift).Format("02-Jan-2006")) +
				" X X X"
			if got := strings.TrimRight(string(after[88:168]), " "); got != want {
				t.Errorf("recording %q, want %q", got, want)
			}
			rest := onlyTechnical(t, before)[236:]
			if !bytes.Equal(after[176:184], before[176:184]) || !bytes.Equal(after[236:], rest) {
				t.Error("more than the identity was changed")
			}
			for _, gone := range []string{"Female", "33yr", "sinewave", "JUL-2000", "APR-1989", "APR-2014"} {
				if bytes.Contains(after[:256], []byte(gone)) {
					t.Errorf("the header still holds %q", gone)
				}
			}
		})
	}
}

// onlyTechnical returns an EDF recording with texts of its signals in technical words alone.
func onlyTechnical(t *testing.T, data []byte) []byte {
	t.Helper()
	h, err := edf.ReadHeader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	h.KeepTechnical()
	return slices.Concat(h.Encode(), data[h.HeaderSize():])
}

// A recording made on another day may be another subject's.
func TestEDFOfAnotherDay(t *testing.T) {
	for _, test := range []struct {
		date, clock string // added to the session's start
		wrong       bool
	}{
		{"0h", "0h", false},
		{"24h", "0h", false},
		{"24h", "1h", true},
		{"-24h", "-2h", true},
		{"8784h", "0h", true},
	} {
		dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
		i := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
		file := filepath.Join(dir, filepath.FromSlash(truth.Sessions[i].Recordings[1].File))
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		date, err1 := time.ParseDuration(test.date)
		clock, err2 := time.ParseDuration(test.clock)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		at := truth.Sessions[i].Started.Add(date + clock)
		copy(data[88:168], "Startdate "+strings.ToUpper(at.Format("02-Jan-2006"))+" X X X"+strings.Repeat(" ", 80))
		copy(data[168:], at.Format("02.01.0615.04.05"))
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		d := treat(t, load(t, dir))
		problems, err := broken(t, d)
		if err != nil {
			t.Fatal(err)
		}
		if wrong := len(problems) == 1 && problems[0].Rule == "recording.edf.start"; wrong != test.wrong ||
			len(problems) > 1 {
			t.Errorf("%s and %s: %+v", test.date, test.clock, problems)
		}
		if _, err := Release(d, nil); errors.As(err, new(*schema.QueriesError)) != test.wrong {
			t.Errorf("%s and %s: %v", test.date, test.clock, err)
		}
	}
}

// CheckRecordings reports a broken EDF recording, and the findings of the other files are
// still listed.
func TestEDFBroken(t *testing.T) {
	dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
	i := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
	file := filepath.Join(dir, filepath.FromSlash(truth.Sessions[i].Recordings[1].File))
	if err := os.Truncate(file, 5000); err != nil {
		t.Fatal(err)
	}
	if _, err := planting.Put(dir, planting.Identifier{Place: planting.InNotes, Session: truth.Sessions[0].File,
		Column: "family_name"}); err != nil {
		t.Fatal(err)
	}
	d := treat(t, load(t, dir))
	if list := findings(t, d, nil); len(list) == 0 {
		t.Error("no finding")
	}
	problems, err := broken(t, d)
	if err != nil || len(problems) != 1 || problems[0].Rule != "recording.edf" || problems[0].Severity != schema.Error {
		t.Errorf("%+v, %v", problems, err)
	}
	if _, err := Release(d, decide(t, "redact", findings(t, d, nil)...)); !errors.As(err, new(*schema.QueriesError)) {
		t.Error(err)
	}
}

func TestCheckRecordingsTellsAndStops(t *testing.T) {
	dir, _ := invented(t, demo.Small())
	d := treat(t, load(t, dir))
	var last, whole int64
	calls := 0
	problems, err := d.CheckRecordings(t.Context(), func(done, total int64) {
		if done < last || done > total {
			t.Errorf("%d of %d after %d", done, total, last)
		}
		last, whole = done, total
		calls++
	})
	if err != nil || len(errorsOf(problems)) > 0 || calls == 0 || last != whole || whole == 0 {
		t.Errorf("%d of %d in %d calls, %v", last, whole, calls, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := d.CheckRecordings(ctx, nil); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
