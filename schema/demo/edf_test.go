package demo

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"outbreath/schema/demo/planting"
	"outbreath/schema/edf"

	"github.com/google/go-cmp/cmp"
)

func theEDF(t *testing.T, truth *Truth) (*Session, *Recording) {
	t.Helper()
	for i := range truth.Sessions {
		s := &truth.Sessions[i]
		for k := range s.Recordings {
			if s.Recordings[k].Format == "edf" {
				return s, &s.Recordings[k]
			}
		}
	}
	t.Fatal("no EDF recording")
	return nil, nil
}

// Header fields at the offsets of the published table (standards 6.1, EDF 1992),
// read without package edf; samples compared with the CSV of the same session.
func TestEDFByTheTable(t *testing.T) {
	dir, truth := write(t, Options{})
	s, r := theEDF(t, truth)
	b, err := os.ReadFile(filepath.Join(dir, r.File))
	if err != nil {
		t.Fatal(err)
	}
	field := func(at, width int) string { return strings.TrimRight(string(b[at:at+width]), " ") }
	number := func(at int) int {
		n, err := strconv.Atoi(field(at, 8))
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	const ns = 3
	for _, c := range []struct {
		at, width int
		want      string
	}{
		{0, 8, "0"}, {168, 8, s.Started.Format("02.01.06")}, {176, 8, s.Started.Format("15.04.05")},
		{184, 8, "1024"}, {192, 44, "EDF+C"}, {236, 8, strconv.Itoa(r.Seconds)}, {244, 8, "1"}, {252, 4, "3"},
		{256, 16, "CO2"}, {256 + 2*16, 16, "EDF Annotations"}, {256 + 96*ns, 8, "kPa"}, {256 + 96*ns + 8, 8, "Pa"},
	} {
		if got := field(c.at, c.width); got != c.want {
			t.Errorf("byte %d: %q, want %q", c.at, got, c.want)
		}
	}
	if p := strings.Split(field(8, 80), " "); len(p) != 4 || len(p[2]) != 11 {
		t.Error("the patient field has not the four parts of EDF+ 2.1.3")
	}
	perRecord := 2 * (number(256+216*ns) + number(256+216*ns+8) + number(256+216*ns+16))
	if want := 1024 + r.Seconds*perRecord; len(b) != want {
		t.Fatalf("%d bytes, the header announces %d", len(b), want)
	}

	_, co2, pressure := readCSV(t, filepath.Join(dir, s.Recordings[0].File))
	i := 0
	for rec := range r.Seconds {
		data := b[1024+rec*perRecord:]
		for k := range r.Hz {
			// Gain by the rule of the format: (physical range) / (digital range).
			c := float64(int16(binary.LittleEndian.Uint16(data[2*k:]))) * (327.67 + 327.68) / 65535
			p := float64(int16(binary.LittleEndian.Uint16(data[2*(r.Hz+k):]))) * (3276.7 + 3276.8) / 65535
			if d := c - co2[i]; d > 1e-6 || d < -1e-6 {
				t.Fatalf("CO2 sample %d differs from the CSV", i)
			}
			if d := p - pressure[i]; d > 1e-6 || d < -1e-6 {
				t.Fatalf("pressure sample %d differs from the CSV", i)
			}
			i++
		}
	}
	if r.Breaths != s.Recordings[0].Breaths || r.EndTidal != s.Recordings[0].EndTidal {
		t.Error("two recordings of one session have two truths")
	}
}

func TestEDFAnnotations(t *testing.T) {
	dir, truth := write(t, Options{})
	_, r := theEDF(t, truth)
	f, err := os.Open(filepath.Join(dir, r.File))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	h, err := edf.ReadHeader(f)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	if err := edf.WalkAnnotations(f, h, func(_ int, _ int64, text string) error {
		got = append(got, text)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(r.Annotations, got); d != "" || len(got) != len(marks) {
		t.Error(d)
	}
}

func TestPlant(t *testing.T) {
	dir, truth := write(t, Small())
	s, _ := theEDF(t, truth)
	for _, p := range []planting.Identifier{
		{Place: planting.InNotes, Session: "sessions/0001.json", Row: 0, Column: "family_name"},
		{Place: planting.InNotes, Session: "sessions/0001.json", Row: 1, Column: "phone"},
		{Place: planting.InNotes, Session: "sessions/0002.json", Column: "mrn", Value: "m.r.n. 304 177 88"},
		{Place: planting.InFileName, Session: "sessions/0002.json", Row: 1, Column: "family_name"},
		{Place: planting.InTransducer, Session: s.File, Row: 0, Column: "mrn"},
		{Place: planting.InAnnotation, Session: s.File, Row: 0, Column: "family_name"},
		{Place: planting.InAnnotation, Session: s.File, Row: 1, Column: "email"},
		{Place: planting.InKeptField, Session: "sessions/0003.json", Row: 1, Column: "given_name"},
	} {
		before := digest(t, dir)
		got, err := planting.Put(dir, p)
		if err != nil {
			t.Errorf("%+v: %v", p, err)
			continue
		}
		want := truth.Roster[p.Row][p.Column]
		if p.Value != "" {
			want = p.Value
		}
		if got.Value != want {
			t.Errorf("%+v: planted something else", p)
		}
		data, err := os.ReadFile(filepath.Join(dir, got.File))
		if err != nil {
			t.Fatal(err)
		}
		var rec record
		hay := string(data)
		if got.Pointer != "" {
			mustUnmarshal(t, data, &rec)
			hay = map[string]string{
				"/notes": rec.Notes, "/kit/lot": rec.Kit.Lot,
				"/recordings/0/file": filepath.Base(rec.Recordings[0].File),
			}[got.Pointer]
		}
		if got.End > len(hay) || hay[got.Start:got.End] != want {
			t.Errorf("%+v: not at %d to %d", p, got.Start, got.End)
		}
		if p.Place == planting.InFileName {
			if _, err := os.Stat(filepath.Join(dir, rec.Recordings[0].File)); err != nil {
				t.Errorf("%+v: the record names no file", p)
			}
		}
		changed := 0
		after := digest(t, dir)
		for name, sum := range after {
			if before[name] != sum {
				changed++
			}
		}
		if want := map[bool]int{true: 2, false: 1}[p.Place == planting.InFileName]; changed != want ||
			len(after) != len(before) {
			t.Errorf("%+v: %d files changed, want %d", p, changed, want)
		}
		// An EDF file stays one.
		if strings.HasSuffix(got.File, ".edf") {
			h, err := edf.ReadHeader(bytes.NewReader(data))
			if err == nil {
				err = h.Check(int64(len(data)))
			}
			if err == nil {
				err = edf.WalkAnnotations(bytes.NewReader(data), h, func(int, int64, string) error { return nil })
			}
			if err != nil {
				t.Errorf("%+v: %v", p, err)
			}
		}
	}
	for _, p := range []planting.Identifier{
		{Place: planting.InNotes, Session: "sessions/0099.json", Column: "mrn"},
		{Place: planting.InNotes, Session: "sessions/0001.json", Row: 2, Column: "mrn"},
		{Place: planting.InNotes, Session: "sessions/0001.json", Column: "shoe_size"},
		{Place: "elsewhere", Session: "sessions/0001.json", Column: "mrn"},
		{Place: planting.InAnnotation, Session: "sessions/0001.json", Column: "mrn"}, // CSV only
		{Place: planting.InTransducer, Session: s.File, Column: "family_name"},       // not ASCII
	} {
		before := digest(t, dir)
		if _, err := planting.Put(dir, p); err == nil {
			t.Errorf("%+v was accepted", p)
		}
		if d := cmp.Diff(before, digest(t, dir)); d != "" {
			t.Errorf("%+v: refused, and yet changed %s", p, d)
		}
	}
}
