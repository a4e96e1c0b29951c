package rederive

import (
	"bytes"
	"strings"
	"testing"
)

// What is written is read back as the same, and written again as the same bytes.
func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"a": [1, -2.50e3, true, null, "\u00e4\u2028\u0007\"\\", {}], "b": []}`))
	f.Add([]byte(strings.Repeat("[", 100)))
	f.Add([]byte(`{"a": 1, "a": 2}`))
	f.Add([]byte("\"\xff\""))
	f.Fuzz(func(t *testing.T, data []byte) {
		n, err := parse(data)
		if err != nil {
			return
		}
		out := n.write()
		again, err := parse(out)
		if err != nil {
			t.Fatalf("%q cannot be read again", out)
		}
		if !bytes.Equal(again.write(), out) || again.leaves() != n.leaves() {
			t.Fatalf("%q is read as something else", out)
		}
	})
}

// A header that is read is written as its bytes, apart from what pads it.
func FuzzReadHead(f *testing.F) {
	head := []byte("0       " + strings.Repeat(" ", 160) + "02.03.26" + "09.14.11" + "512     " +
		"EDF+C" + strings.Repeat(" ", 39) + "1       1       1   " + "CO2             " + strings.Repeat(" ", 80) +
		"kPa     0       10      -32768  32767   " + strings.Repeat(" ", 80) + "4       " + strings.Repeat(" ", 32))
	f.Add(head)
	f.Add(head[:300])
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := readHead(bytes.NewReader(data))
		if err != nil {
			return
		}
		out, ok := h.write()
		if !ok || !bytes.Equal(out, data[:len(out)]) {
			t.Fatalf("%q is written as %q", data, out)
		}
		if day, ok := h.began(); ok && day.String() == "" {
			t.Fatal("a day that is none")
		}
	})
}

func FuzzAnnotations(f *testing.F) {
	f.Add([]byte("+0\x14\x14\x00+1.5\x152\x14text\x14more\x14\x00\x00\x00"))
	f.Add([]byte("+0\x14"))
	f.Add([]byte("+0\x14\x14\x00x"))
	f.Fuzz(func(t *testing.T, data []byte) {
		last := 0
		annotations(data, func(start, end int) {
			if start < last || end < start || end > len(data) || bytes.ContainsAny(data[start:end], "\x00\x14") {
				t.Fatalf("text %d to %d of %q", start, end, data)
			}
			last = end
		}, func() {})
	})
}

func FuzzParseClock(f *testing.F) {
	for _, s := range []string{"2026-03-02T09:14:11.250+01:00", "2016-12-31t23:59:60z", "9999-12-31T00:00:00-23:59"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, ok := parseClock(s)
		if !ok {
			return
		}
		if c.day.String() != s[:10] || !strings.HasPrefix(s[11:], c.time) || c.elapsed(c) != 0 || c.nano >= 1e9 {
			t.Fatalf("%q is read as %+v", s, c)
		}
	})
}

// A text whose findings are kept leaves only as it is; masks stand where findings were.
func FuzzLeaves(f *testing.F) {
	f.Add("seen on 2026-03-02 by Dr. W", "seen on 2026-02-20 by Dr. W", 8, 18, true, 10)
	f.Add("Dr. W came", "[removed: name] came", 0, 5, false, 0)
	f.Add("24.3.2026", "4.3.2026", 0, 9, true, 20)
	f.Fuzz(func(t *testing.T, source, out string, start, end int, moved bool, shift int) {
		o := &opening{source: source, shift: shift, findings: []Finding{{Start: start, End: end, Class: "A",
			Decision: "redact", Moved: moved}}}
		marks, ok := o.leaves(out)
		if ok && (len(marks) != 1 || out[:marks[0].start] != source[:start] || out[marks[0].end:] != source[end:]) {
			t.Fatalf("%q leaves as %q", source, out)
		}
		o.findings[0].Decision = "keep"
		if _, ok := o.leaves(out); ok != (out == source) {
			t.Fatalf("kept %q leaves as %q", source, out)
		}
	})
}

func FuzzSameBytes(f *testing.F) {
	f.Add([]byte("t_s,co2_kpa\n0,1\n"), []byte("t_s,co2_kpa\n0,2\n"))
	f.Add([]byte("a"), []byte("a\n"))
	f.Fuzz(func(t *testing.T, a, b []byte) {
		cells, same, row, column, err := sameBytes(bytes.NewReader(a), bytes.NewReader(b))
		if err != nil || same != bytes.Equal(a, b) || row < 1 || column < 1 {
			t.Fatalf("%q and %q: %v, line %d, column %d, %v", a, b, same, row, column, err)
		}
		if want := int64(bytes.Count(b, []byte(",")) + bytes.Count(b, []byte("\n"))); cells != want {
			t.Fatalf("%d cells in %q", cells, b)
		}
	})
}
