package deid

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/schema"
	"outbreath/schema/breath"
	"outbreath/schema/demo"
	"outbreath/schema/edf"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// The figures are those of the curves that were invented, from CSV and from EDF
// alike; the ones that leave are made of the bytes that leave.
func TestFigures(t *testing.T) {
	dir, truth := invented(t, demo.Options{RecordingSeconds: 400, SampleHz: 20})
	c := load(t, dir)
	d := treat(t, c)
	if problems, err := d.CheckRecordings(t.Context(), nil); err != nil || len(problems) > 0 {
		t.Fatal(problems, err)
	}
	got := map[string]RecordingFigures{}
	for _, f := range d.Figures() {
		got[f.File] = f
	}
	formats := map[string]int{}
	for _, s := range truth.Sessions {
		for _, r := range s.Recordings {
			f := got[r.File]
			formats[r.Format]++
			if f.Session != s.File || f.Samples != r.Seconds*r.Hz || math.Abs(f.Seconds-float64(r.Seconds)) > 0.1 ||
				f.Breaths < r.Breaths-1 || f.Breaths > r.Breaths+r.Coughs+1 ||
				math.Abs(f.EndTidal-r.EndTidal) > 0.3 || (f.OffShare > 0) != r.MaskOff {
				t.Errorf("%+v, but it is %+v", f, r)
			}
		}
		if csv := got[s.Recordings[0].File]; len(s.Recordings) > 1 {
			also := got[s.Recordings[1].File]
			also.File = csv.File
			if diff := cmp.Diff(csv, also, cmpopts.EquateApprox(0, 0.02)); diff != "" {
				t.Errorf("CSV and EDF of one curve: %s", diff)
			}
		}
	}
	if formats["csv"] < 2 || formats["edf"] == 0 || len(got) != formats["csv"]+formats["edf"] {
		t.Fatalf("%v recordings, %d figures", formats, len(got))
	}

	fresh := treat(t, c)
	cleared, err := Release(fresh, nil)
	if err != nil {
		t.Fatal(err)
	}
	open := func(name string) []byte {
		i := slices.IndexFunc(cleared.Files(), func(f File) bool { return f.Name == name })
		r, err := cleared.Files()[i].Open()
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	before := open(SummaryName) // nobody has read a recording
	files := payload(t, cleared)
	if !bytes.Equal(before, files[SummaryName]) {
		t.Error("the summary depends on the order in which files are read")
	}
	var s Summary
	if err := json.Unmarshal(before, &s); err != nil {
		t.Fatal(err)
	}
	if s.Format != "outbreath-recordings-1" || !strings.Contains(s.Note, "not a medical reading") ||
		len(s.Recordings) != len(got) {
		t.Errorf("%s, %s, %d recordings", s.Format, s.Note, len(s.Recordings))
	}
	for i, f := range s.Recordings {
		if files[f.File] == nil || files["sessions/"+f.Session+".json"] == nil ||
			!strings.HasPrefix(f.File, "recordings/"+f.Session+"-") ||
			f.Breaths == 0 || i > 0 && s.Recordings[i-1].File >= f.File {
			t.Errorf("%+v", f)
		}
	}
}

// A recording must fit its session. The errors also stop the stream of the bytes that
// leave.
func TestFiguresAsk(t *testing.T) {
	const header = "t_s,co2_kpa,pressure_pa\n"
	breathing := func(t float64) float64 { return 2.6 - 2.5*math.Cos(t*2*math.Pi/4) }
	rows := func(seconds int, co2 func(t float64) float64, without func(t float64) bool) string {
		var b strings.Builder
		b.WriteString(header)
		for i := range seconds * 10 {
			if at := float64(i) / 10; without == nil || !without(at) {
				fmt.Fprintf(&b, "%.1f,%.2f,0\n", at, co2(at))
			}
		}
		return b.String()
	}
	for _, test := range []struct {
		name, data, rule string
		weight           schema.Severity
	}{
		{"good", rows(360, breathing, nil), "", ""},
		{"59 s longer", rows(371+59, breathing, nil), "", ""},
		{"2 min longer", rows(391+60, breathing, nil), "recording.length", schema.Error},
		{"a third", rows(120, breathing, nil), "recording.length", schema.Warning},
		{"three fifths", rows(220, breathing, nil), "recording.length", schema.Warning},
		{"time of an earlier session", rows(420, breathing, func(t float64) bool { return t < 61 }),
			"recording.begin", schema.Warning},
		{"pressure in kPa", strings.ReplaceAll(rows(360, breathing, nil), ",0\n", ",0.06\n"), "recording.pressure",
			schema.Warning},
		{"pressure in Pa", strings.ReplaceAll(rows(360, breathing, nil), ",0\n", ",60\n"), "", ""},
		{"flat", rows(360, func(float64) float64 { return 0.03 }, nil), "recording.flat", schema.Warning},
		{"gap of 4 s", rows(360, breathing, func(t float64) bool { return t > 100 && t < 104 }), "", ""},
		{"gap of 6 s", rows(360, breathing, func(t float64) bool { return t > 100 && t < 106 }), "recording.gap",
			schema.Warning},
	} {
		t.Run(test.name, func(t *testing.T) {
			dir, truth := invented(t, demo.Options{Subjects: 1, Sessions: 1, RecordingSeconds: 360, NoEDF: true})
			file := truth.Sessions[0].Recordings[0].File
			if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(file)), []byte(test.data), 0o600); err != nil {
				t.Fatal(err)
			}
			d := treat(t, load(t, dir))
			problems, err := d.CheckRecordings(t.Context(), nil)
			if err != nil || (len(problems) == 0) != (test.rule == "") {
				t.Fatalf("%+v, %v", problems, err)
			}
			if test.rule != "" && (len(problems) != 1 || problems[0].Rule != test.rule ||
				problems[0].Severity != test.weight || problems[0].File != file) {
				t.Errorf("%+v", problems)
			}
			_, err = drain(d, first(t, d, "csv"), nil)
			if stops := errors.As(err, new(*schema.QueriesError)); stops != (test.weight == schema.Error) ||
				!stops && err != nil {
				t.Errorf("the stream ends with %v", err)
			}
		})
	}
	r := &recording{lasted: time.Minute, figures: &breath.Figures{Hint: breath.HintMmHg}}
	if p := r.impossible(); len(p) != 1 || p[0].Rule != "recording.unit" {
		t.Errorf("%+v", p)
	}
	// Two halves of one session cover it.
	half := recording{lasted: 400 * time.Second, figures: &breath.Figures{Seconds: 181}}
	if p := (&treated{recordings: []recording{half, half}}).doubtful(); len(p) > 0 {
		t.Errorf("%+v", p)
	}
	if p := (&treated{recordings: []recording{half}}).doubtful(); len(p) != 1 || p[0].Rule != "recording.length" {
		t.Errorf("%+v", p)
	}
}

// An interrupted EDF recording keeps the times of its data records, however its
// bytes come. Sources: EDF+ 2.2.4; EDF (1992) for physical values.
func TestEDFCurve(t *testing.T) {
	h := &edf.Header{
		Patient: "X X X X", Recording: "Startdate X X X X", StartDate: "01.01.85", StartTime: "00.00.00",
		Reserved: "EDF+D", Records: 3, RecordDuration: "2",
		Signals: []edf.Signal{
			{Label: "Pressure", Dimension: "Pa", PhysMin: "-1", PhysMax: "1", DigMin: "-100", DigMax: "100",
				Samples: 7},
			{Label: "Resp co2", Dimension: "kPa", PhysMin: "0", PhysMax: "10", DigMin: "-1000", DigMax: "1000",
				Samples: 4},
			{Label: edf.AnnotationLabel, PhysMin: "-1", PhysMax: "1", DigMin: "-32768", DigMax: "32767", Samples: 8},
		},
	}
	var data []byte
	for i, onset := range []string{"+0", "+2", "+14.5"} {
		b := make([]byte, 14)
		for k := range 4 {
			b = binary.LittleEndian.AppendUint16(b, uint16(int16(-1000+200*(4*i+k)))) // 0, 1, 2 ... kPa
		}
		a, err := edf.EncodeTALs(16, edf.NewTAL(onset, "", ""))
		if err != nil {
			t.Fatal(err)
		}
		data = append(append(data, b...), a...)
	}
	if err := h.Validate(); err != nil {
		t.Fatal(err)
	}
	for size := 1; size <= len(data); size++ {
		c, why := newEDFCurve(h, 0)
		if why != "" {
			t.Fatal(why)
		}
		for part := range slices.Chunk(data, size) {
			c.Write(part)
		}
		f := c.Figures()
		if f.Samples != 12 || f.Seconds != 16 || f.LongestGap != 11 { // 3.5 to 14.5, and 1.5 s after that
			t.Fatalf("in pieces of %d bytes: %+v", size, f)
		}
		if got := slices.Max(f.Strip[:1]); got != 1 {
			t.Errorf("the first second holds up to %v kPa, not 1", got)
		}
	}
	h.Signals[1].Dimension = "uV"
	if c, why := newEDFCurve(h, 0); c != nil || !strings.HasPrefix(why, "signal 2 has CO2 in its label") {
		t.Error("uV is taken for kPa", why)
	}
	h.Signals[1].Label = "Airway"
	if c, why := newEDFCurve(h, 0); c != nil || why != "no signal has CO2 in its label" {
		t.Error("a signal of something else is taken for CO2", why)
	}
}
