package demo

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/google/go-cmp/cmp"
)

func write(t *testing.T, o Options) (string, *Truth) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "collection")
	truth, err := Write(dir, o)
	if err != nil {
		t.Fatal(err)
	}
	return dir, truth
}

func digest(t *testing.T, dir string) map[string]string {
	t.Helper()
	sums := map[string]string{}
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		rel, _ := filepath.Rel(dir, p)
		sums[filepath.ToSlash(rel)] = fmt.Sprintf("%x", sha256.Sum256(b))
		return err
	})
	if err != nil || len(sums) == 0 {
		t.Fatal(len(sums), err)
	}
	return sums
}

func TestEqualOptionsGiveEqualBytes(t *testing.T) {
	a, _ := write(t, Small())
	b, _ := write(t, Small())
	if d := cmp.Diff(digest(t, a), digest(t, b)); d != "" {
		t.Error(d)
	}
	o := Small()
	o.Seed = 1
	c, _ := write(t, o)
	if cmp.Equal(digest(t, a), digest(t, c)) {
		t.Error("another seed gives the same collection")
	}
}

func TestFolderIsAsTheContractSays(t *testing.T) {
	dir, truth := write(t, Options{})
	want := map[string]bool{"study.json": true, "roster.csv": true}
	for _, s := range truth.Sessions {
		want[s.File] = true
		for _, r := range s.Recordings {
			want[r.File] = true
		}
	}
	var size int64
	for name := range digest(t, dir) {
		if !want[name] {
			t.Errorf("%s is not in the truth", name)
		}
		delete(want, name)
		st, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		size += st.Size()
	}
	if len(want) > 0 {
		t.Errorf("not written: %v", want)
	}
	if size > 4<<20 {
		t.Errorf("%d bytes are too many for the shipped demo", size)
	}
	if len(truth.Roster) != 14 || len(truth.Sessions) != 18 {
		t.Errorf("%d subjects, %d sessions", len(truth.Roster), len(truth.Sessions))
	}
}

// The roster on disk, read by encoding/csv, is the truth's.
func TestRoster(t *testing.T) {
	dir, truth := write(t, Options{Subjects: 300, Sessions: 1, RecordingSeconds: 1})
	data, err := os.ReadFile(filepath.Join(dir, "roster.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(truth.Columns, lines[0]); d != "" {
		t.Error(d)
	}
	unique := map[string]bool{}
	filled, cells := 0, 0
	for i, line := range lines[1:] {
		for k, cell := range line {
			cells++
			if cell != "" {
				filled++
			}
			if cell != truth.Roster[i][lines[0][k]] {
				t.Errorf("row %d column %s differs from the truth", i, lines[0][k])
			}
		}
		row := truth.Roster[i]
		for _, c := range []string{"subject_id", "mrn", "national_id", "phone", "email"} {
			if v := row[c]; v != "" && unique[v] {
				t.Errorf("row %d: %s is not unique", i, c)
			} else {
				unique[v] = true
			}
		}
		// Never issued: standards 5.2 (SSA). Fiction only: standards 5.20.
		if !regexp.MustCompile(`^9\d\d-00-\d{4}$`).MatchString(row["national_id"]) {
			t.Errorf("row %d: a national id that could be somebody's", i)
		}
		for _, c := range []string{"phone", "emergency_contact_phone"} {
			if v := row[c]; v != "" && !regexp.MustCompile(`^\+(1 \d{3} 555 01\d\d|44 20 7946 0\d{3}|33 1 99 00 `+
				`\d\d \d\d)$`).MatchString(v) {
				t.Errorf("row %d: %s is not from a range for fiction", i, c)
			}
		}
		if v := row["email"]; v != "" &&
			!regexp.MustCompile(`^[a-z0-9.]+@(example\.org|post\.example)$`).MatchString(v) {
			t.Errorf("row %d: mail address outside the reserved domains (RFC 2606)", i)
		}
	}
	if filled*10 < cells*9 {
		t.Errorf("only %d of %d cells are filled", filled, cells)
	}
}

func TestAgesAndVisits(t *testing.T) {
	_, truth := write(t, Options{RecordingSeconds: 1})
	visits := map[int]int{}
	ages := map[int]bool{}
	for i, s := range truth.Sessions {
		birth, err := time.Parse(time.DateOnly, truth.Roster[s.Row]["birth_date"])
		if err != nil {
			t.Fatal(err)
		}
		age := s.Started.Year() - birth.Year()
		if birth.AddDate(age, 0, 0).After(s.Started) {
			age--
		}
		if age < 19 || age > 91 {
			t.Errorf("%s: age %d", s.File, age)
		}
		ages[age] = true
		visits[s.Row]++
		if i > 0 && !truth.Sessions[i-1].Started.Before(s.Started) {
			t.Errorf("%s does not start after the session before it", s.File)
		}
		if wd := s.Started.Weekday(); wd == time.Saturday || wd == time.Sunday {
			t.Errorf("%s is on a weekend", s.File)
		}
	}
	if !ages[19] || !ages[91] {
		t.Error("the youngest or the oldest is missing")
	}
	count := map[int]int{}
	for _, n := range visits {
		count[n]++
	}
	if d := cmp.Diff(map[int]int{1: 11, 2: 2, 3: 1}, count); d != "" {
		t.Error(d)
	}
}

// Records agree with the roster, with the truth and with the study's limits.
func TestRecords(t *testing.T) {
	for _, o := range []Options{{RecordingSeconds: 1}, Small(), {Subjects: 30, Sessions: 400, RecordingSeconds: 1}} {
		dir, truth := write(t, o)
		barcodes := map[string]bool{}
		var lastEnd time.Time
		for _, s := range truth.Sessions {
			data, err := os.ReadFile(filepath.Join(dir, s.File))
			if err != nil {
				t.Fatal(err)
			}
			dec := json.NewDecoder(bytes.NewReader(data))
			dec.DisallowUnknownFields()
			var r record
			if err := dec.Decode(&r); err != nil {
				t.Fatal(err)
			}
			row := truth.Roster[s.Row]
			if r.Subject.SubjectID != row["subject_id"] || r.Subject.BirthDate != row["birth_date"] ||
				r.Subject.Sex != row["sex"] {
				t.Errorf("%s disagrees with the roster", s.File)
			}
			at := func(v string) time.Time {
				u, err := time.Parse(time.RFC3339, v)
				if err != nil {
					t.Fatal(err)
				}
				return u
			}
			start, end := at(r.StartedAt), at(r.EndedAt)
			if d := end.Sub(start); d <= 0 || d > 12*time.Minute {
				t.Errorf("%s lasts %v", s.File, d)
			}
			if len(o.Start.String()) > 0 && o.Sessions <= 60 && start.Before(lastEnd) {
				t.Errorf("%s begins before the last one ended", s.File)
			}
			lastEnd = end
			if len(r.Tubes) != 2 {
				t.Errorf("%s has %d tubes", s.File, len(r.Tubes))
			}
			last := start
			for _, tube := range r.Tubes {
				if barcodes[tube.Barcode] {
					t.Errorf("%s: a barcode for the second time", s.File)
				}
				barcodes[tube.Barcode] = true
				open, shut := at(tube.UncappedAt), at(tube.CappedAt)
				if open.Before(last) || !shut.After(open) || shut.Sub(open) > 120*time.Second || shut.After(end) {
					t.Errorf("%s: impossible times of a tube", s.File)
				}
				last = shut
			}
			for _, i := range r.Interruptions {
				if v := at(i.At); v.Before(start) || v.After(end) {
					t.Errorf("%s: interruption outside the session", s.File)
				}
			}
		}
	}
}

// Nothing in the kept text of the records is, or nearly is, a value of the
// roster, nor has the look of a date or a telephone number.
func TestNotesAreClean(t *testing.T) {
	_, truth := write(t, Options{RecordingSeconds: 1})
	words := func(s string) []string {
		return strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
			return !unicode.IsLetter(r) &&
				!unicode.IsMark(r)
		})
	}
	names := map[string]bool{}
	for _, row := range truth.Roster {
		for _, c := range []string{"given_name", "family_name", "other_names", "emergency_contact_name"} {
			for _, w := range words(row[c]) {
				if len(w) > 1 { // O'Hallaghan and "20 s" share a letter
					names[w] = true
				}
			}
		}
		names[strings.ToLower(row["city"])] = true
	}
	suspicious := regexp.MustCompile(`\d{5}|\d[./-]\d+[./-]\d{2}|\d{3}[ .-]\d{4}|@|www|(?i)\b(mr|mrs|ms|dr|prof)\b`)
	texts := []string{"pt coughed x3, paused 20 s", "mask off to drink, refitted", content}
	texts = append(texts, notes...)
	checked := 0
	for _, text := range texts {
		for _, m := range suspicious.FindAllString(text, -1) {
			t.Errorf("%q in %q", m, text)
		}
		for _, w := range words(text) {
			checked++
			for n := range names {
				if w == n || len(w) > 3 && near(w, n) {
					t.Errorf("%q in %q is like %q on the roster", w, text, n)
				}
			}
		}
	}
	if checked < 100 {
		t.Fatal("hardly any words")
	}
}

// near reports whether one letter changed, added or left out turns a into b.
func near(a, b string) bool {
	x, y := []rune(a), []rune(b)
	if len(x) > len(y) {
		x, y = y, x
	}
	i := 0
	for i < len(x) && x[i] == y[i] {
		i++
	}
	if len(x) == len(y) {
		return i == len(x) || string(x[i+1:]) == string(y[i+1:])
	}
	return len(y) == len(x)+1 && string(x[i:]) == string(y[i+1:])
}

// readCSV is an independent reader of a recording.
func readCSV(t *testing.T, path string) (ts, co2, pressure []float64) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"t_s", "co2_kpa", "pressure_pa"}, lines[0]); d != "" {
		t.Fatal(d)
	}
	for _, l := range lines[1:] {
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(l[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		ts, co2, pressure = append(ts, v[0]), append(co2, v[1]), append(pressure, v[2])
	}
	return ts, co2, pressure
}

// countBreaths is a plain threshold counter: a breath begins when CO2 rises
// over 2.5 kPa after it was under 1 kPa, and its end-tidal value is the mean of
// the last tenth of a second before it falls under 2.5 kPa again.
func countBreaths(ts, co2 []float64) (n int, endTidal, seconds float64) {
	low, sum, ended := co2[0] < 1, 0.0, 0
	for i := 1; i < len(co2); i++ {
		switch {
		case co2[i] < 1:
			low = true
		case low && co2[i] >= 2.5:
			low = false
			n++
		}
		if co2[i-1] >= 2.5 && co2[i] < 2.5 {
			peak := 0.0
			for k := i - 1; k >= 0 && ts[i]-ts[k] <= 0.5; k-- {
				peak = max(peak, co2[k])
			}
			sum += peak
			ended++
		}
	}
	return n, sum / float64(ended), ts[len(ts)-1] - ts[0]
}

// The curves breathe: rate and end-tidal CO2 lie where standards 10.5 puts
// healthy adults (12 to 20 a minute by most texts; 35 to 45 mmHg = 4.67 to
// 6.00 kPa), with a margin for jitter and noise; and the truth says the same
// as a counter that knows nothing of how they were made.
func TestCurves(t *testing.T) {
	dir, truth := write(t, Options{})
	var coughing, maskless, clean int
	for _, s := range truth.Sessions {
		r := s.Recordings[0]
		ts, co2, pressure := readCSV(t, filepath.Join(dir, r.File))
		if len(ts) != r.Seconds*r.Hz || r.Seconds < 360 || r.Seconds > 540 {
			t.Errorf("%s: %d rows, %d s", r.File, len(ts), r.Seconds)
		}
		lo, hi, top := 0.0, 0.0, 0.0
		for i := range ts {
			if want := float64(i) / float64(r.Hz); ts[i] < want-0.0005 || ts[i] > want+0.0005 {
				t.Fatalf("%s: row %d is not at its time", r.File, i)
			}
			lo, hi, top = min(lo, pressure[i]), max(hi, pressure[i]), max(top, co2[i])
		}
		if co2lo := co2[0]; co2lo < 0 || top > 6.5 {
			t.Errorf("%s: CO2 up to %.2f kPa", r.File, top)
		}
		n, endTidal, seconds := countBreaths(ts, co2)
		rate := float64(n) / seconds * 60
		if rate < 10 || rate > 22 || endTidal < 4.5 || endTidal > 6.2 {
			t.Errorf("%s: %.1f breaths a minute, end-tidal %.2f kPa", r.File, rate, endTidal)
		}
		if n < r.Breaths-1 || n > r.Breaths+1+r.Coughs {
			t.Errorf("%s: counted %d breaths, truth %d and %d coughs", r.File, n, r.Breaths, r.Coughs)
		}
		switch {
		case r.Coughs > 0:
			coughing++
			if hi < 200 {
				t.Errorf("%s: coughs without a spike (%.0f Pa)", r.File, hi)
			}
		default:
			if r.MaskOff {
				maskless++
			} else {
				clean++
			}
			if endTidal < r.EndTidal-0.1 || endTidal > r.EndTidal+0.1 {
				t.Errorf("%s: counted end-tidal %.2f kPa, truth %.2f", r.File, endTidal, r.EndTidal)
			}
			if lo < -100 || lo > -50 || hi < 80 || hi > 150 {
				t.Errorf("%s: pressure from %.0f to %.0f Pa", r.File, lo, hi)
			}
		}
		flat, longest := 0, 0
		for _, v := range co2 {
			if flat++; v > 0.15 {
				flat = 0
			}
			longest = max(longest, flat)
		}
		if off := longest > 20*r.Hz; off != r.MaskOff {
			t.Errorf("%s: %d rows of room air, mask off: %v", r.File, longest, r.MaskOff)
		}
	}
	if coughing != 1 || maskless != 1 || clean != 16 {
		t.Errorf("%d with coughs, %d without mask, %d clean", coughing, maskless, clean)
	}
}

func TestAppendFixed(t *testing.T) {
	for _, c := range []struct {
		v      int64
		digits int
		want   string
	}{
		{0, 2, "0.00"}, {5, 2, "0.05"}, {12, 2, "0.12"}, {-34, 1, "-3.4"}, {-4, 1, "-0.4"}, {123456, 3, "123.456"},
		{7, 3, "0.007"},
	} {
		if got := string(appendFixed(nil, c.v, c.digits)); got != c.want {
			t.Errorf("appendFixed(%d, %d) = %s, want %s", c.v, c.digits, got, c.want)
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	full := t.TempDir()
	os.WriteFile(filepath.Join(full, "x"), nil, 0o600)
	if _, err := Write(full, Small()); err == nil {
		t.Error("a folder that is not empty was accepted")
	}
	if _, err := os.Stat(filepath.Join(full, "x")); err != nil {
		t.Error("the refused folder was touched")
	}
	for _, o := range []Options{{Subjects: -1}, {Sessions: 100_001}, {SampleHz: 1001}, {RecordingSeconds: 701}} {
		dir := filepath.Join(t.TempDir(), "c")
		if _, err := Write(dir, o); err == nil {
			t.Errorf("%+v was accepted", o)
		}
		if _, err := os.Stat(dir); err == nil {
			t.Errorf("%+v: left a folder", o)
		}
	}
}

func TestBigIsBigEnough(t *testing.T) {
	o := Big(3_000_000)
	dir, truth := write(t, o)
	var size int64
	for _, s := range truth.Sessions {
		st, err := os.Stat(filepath.Join(dir, s.Recordings[0].File))
		if err != nil {
			t.Fatal(err)
		}
		size += st.Size()
	}
	if size < 3_000_000 || size > 6_000_000 {
		t.Errorf("%d bytes of recordings", size)
	}
}

// Writing 2 GB must not hold up a test: over 150 MB a second where the disk is not the limit.
func BenchmarkWrite(b *testing.B) {
	var size int64
	for range b.N {
		dir := filepath.Join(b.TempDir(), "c")
		truth, err := Write(dir, Big(100_000_000))
		if err != nil {
			b.Fatal(err)
		}
		size = 0
		for _, s := range truth.Sessions {
			st, _ := os.Stat(filepath.Join(dir, s.Recordings[0].File))
			size += st.Size()
		}
		os.RemoveAll(dir)
	}
	b.SetBytes(size)
}

func mustUnmarshal(t *testing.T, data []byte, v any) {
	t.Helper()
	if err := json.Unmarshal(data, v); err != nil {
		t.Fatal(err)
	}
}
