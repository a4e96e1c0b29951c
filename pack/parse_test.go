package pack

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"io"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"
)

var goodSums = formatSums([]sum{{labelName, sha256.Sum256(nil)}, {readmeName, sha256.Sum256([]byte("x"))},
	{"07-0012.tar.zst.age", sha256.Sum256([]byte("y"))}})

func TestSums(t *testing.T) {
	sums, err := parseSums(goodSums)
	if err != nil || len(sums) != 3 || sums[0].name != "07-0012.tar.zst.age" || sums[2].sha256 != sha256.Sum256(nil) {
		t.Fatalf("%v, %v", sums, err)
	}
	good := string(goodSums)
	lines := strings.SplitAfter(good, "\n")
	for name, bad := range map[string]string{
		"empty":          "",
		"no line feed":   strings.TrimSuffix(good, "\n"),
		"blank line":     good + "\n",
		"CR LF":          strings.ReplaceAll(good, "\n", "\r\n"),
		"binary mark":    strings.Replace(good, "  ", " *", 1),
		"one blank":      strings.Replace(good, "  ", " ", 1),
		"upper case":     strings.ToUpper(good[:64]) + good[64:],
		"short":          good[1:],
		"twice":          lines[0] + lines[0] + lines[1] + lines[2],
		"out of order":   lines[1] + lines[0] + lines[2],
		"another file":   strings.Replace(good, "shipment.json", "shipment.jsn", 1),
		"path":           strings.Replace(good, "shipment.json", "../shipment.json", 1),
		"its own":        strings.Replace(good, "READ-ME-FIRST.txt", "SHA256SUMS", 1),
		"escaped":        "\\" + good,
		"byte-order":     "\ufeff" + good,
		"part without 3": strings.Replace(good, ".age", ".age.1", 1),
		"too long":       strings.Repeat(good, 6000),
	} {
		if sums, err := parseSums([]byte(bad)); err == nil {
			t.Errorf("%s: taken for %v", name, sums)
		} else if strings.Contains(err.Error(), "jsn") {
			t.Errorf("%s: content in %v", name, err)
		}
	}
}

func goodLabel() *label {
	return &label{Format: labelFormat, Shipment: "07-0012", Study: "LARK-2", Site: "07", Sealed: "2026-11-25",
		Sessions: 1, Recordings: 2, Tubes: 3,
		Parts: []labelPart{{"07-0012.tar.zst.age.001", 10}, {"07-0012.tar.zst.age.002", 1}}}
}

func TestLabel(t *testing.T) {
	want := `{
  "format": "outbreath-shipment-1",
  "shipment": "07-0012",
  "study": "LARK-2",
  "site": "07",
  "sealed": "2026-11-25",
  "sessions": 1,
  "recordings": 2,
  "tubes": 3,
  "parts": [
    {
      "name": "07-0012.tar.zst.age.001",
      "bytes": 10
    },
    {
      "name": "07-0012.tar.zst.age.002",
      "bytes": 1
    }
  ]
}
`
	if got := string(goodLabel().format()); got != want {
		t.Errorf("got %s", got)
	}
	if l, err := parseLabel([]byte(want)); err != nil || !reflect.DeepEqual(l, goodLabel()) {
		t.Errorf("%+v, %v", l, err)
	}
	for name, change := range map[string][2]string{
		"format":         {"outbreath-shipment-1", "other"},
		"later format":   {"outbreath-shipment-1", "outbreath-shipment-2"},
		"number":         {`"shipment": "07-0012"`, `"shipment": "08-0012"`},
		"long number":    {"07-0012", "07-00012"},
		"site":           {`"site": "07"`, `"site": "../07"`},
		"longer site":    {`"site": "07"`, `"site": "07-0012"`},
		"no study":       {"LARK-2", ""},
		"study":          {"LARK-2", "LARK 2"},
		"date":           {"2026-11-25", "2026-11-31"},
		"time":           {"2026-11-25", "2026-11-25T10:00:00Z"},
		"negative":       {`"tubes": 3`, `"tubes": -3`},
		"fraction":       {`"tubes": 3`, `"tubes": 3.0`},
		"unknown member": {`"tubes": 3`, `"tubes": 3, "x": 1`},
		"equal names":    {`"tubes": 3`, `"tubes": 3, "tubes": 3`},
		"other case":     {`"tubes"`, `"Tubes"`},
		"part name":      {"age.002", "age.003"},
		"part order":     {"age.001", "age.002"},
		"empty part":     {`"bytes": 1` + "\n", `"bytes": 0` + "\n"},
		"after it":       {"]\n}\n", "]\n}\n\n"},
		"spelling":       {"LARK-2", `LARK\u002d2`},
	} {
		bad := strings.Replace(want, change[0], change[1], 1)
		if bad == want {
			t.Fatalf("%s: nothing changed", name)
		}
		if l, err := parseLabel([]byte(bad)); err == nil {
			t.Errorf("%s: taken for %+v", name, l)
		}
	}
}

func FuzzSums(f *testing.F) {
	f.Add(goodSums)
	f.Add([]byte("x\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		sums, err := parseSums(data)
		if err == nil && !bytes.Equal(formatSums(sums), data) {
			t.Error("taken, and written differently")
		}
	})
}

func FuzzLabel(f *testing.F) {
	f.Add(goodLabel().format())
	f.Add([]byte("{}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := parseLabel(data)
		if err == nil && !bytes.Equal(l.format(), data) {
			t.Error("taken, and written differently")
		}
	})
}

// FuzzFrame compares which bytes belong to a frame with what the library
// decodes.
func FuzzFrame(f *testing.F) {
	enc, err := zstd.NewWriter(nil)
	if err != nil {
		f.Fatal(err)
	}
	dec, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxFrame),
		zstd.WithDecoderMaxWindow(maxFrame), zstd.WithDecodeAllCapLimit(true))
	if err != nil {
		f.Fatal(err)
	}
	for _, s := range []string{"a", strings.Repeat("ab", 5000), string(trace(1, 200_000))} {
		f.Add(enc.EncodeAll([]byte(s), nil))
	}
	f.Add(zstdFrame(1000, 0x50, rle(1000, 0, true)...))
	f.Fuzz(func(t *testing.T, data []byte) {
		frame, size, err := readFrame(bufio.NewReader(bytes.NewReader(data)), nil)
		if err != nil {
			return
		}
		if size < 1 || size > maxFrame || !bytes.HasPrefix(data, frame) {
			t.Fatalf("a frame of %d bytes", size)
		}
		if plain, err := dec.DecodeAll(frame, make([]byte, 0, size)); err == nil && len(plain) != size {
			t.Errorf("%d bytes decoded, %d announced", len(plain), size)
		}
	})
}

// FuzzTarHeader: what is read is written back the same.
func FuzzTarHeader(f *testing.F) {
	h := tarHeader("07-0012/data/tubes.csv", 12345)
	f.Add(h[:])
	f.Fuzz(func(t *testing.T, data []byte) {
		var h [tarBlock]byte
		copy(h[:], data)
		name, size, err := parseTarHeader(&h)
		if err != nil {
			return
		}
		if tarHeader(name, size) != h || strings.Contains(name, "..") || strings.HasPrefix(name, "/") ||
			strings.Contains(name, `\`) || size > maxFile {
			t.Errorf("%q, %d", name, size)
		}
	})
}

func FuzzTubes(f *testing.F) {
	f.Add([]byte("T1\r\nT2\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tubes, err := ParseTubes(data)
		if err != nil {
			return
		}
		again, err := ParseTubes([]byte(strings.Join(tubes, "\n")))
		if err != nil || !slices.Equal(tubes, again) {
			t.Errorf("%q read again as %q, %v", tubes, again, err)
		}
	})
}

func TestParseTubes(t *testing.T) {
	got, err := ParseTubes([]byte("\ufeffT1\r\n\r\n  T2\t\nT 3\nT1"))
	if want := []string{"T1\r", "T2", "T 3", "T1"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("%q, %v", got, err)
	}
	// a scanner's, some typed by hand
	for _, ends := range []string{"T1\r\nT2\r\nT3\r\n", "T1\r\nT2\r\nT3", "T1\r\n\nT2\nT3 \r", "T1\nT2\nT3\n"} {
		if got, err := ParseTubes([]byte(ends)); err != nil || !slices.Equal(got, []string{"T1", "T2", "T3"}) {
			t.Errorf("%q: %q, %v", ends, got, err)
		}
	}
	for name, bad := range map[string]string{"nothing": "", "blanks": " \r\n\n", "control": "T1\nT\x002",
		"not UTF-8": "T\xff", "long": strings.Repeat("T", 201), "CR inside": "T1\rT2"} {
		if got, err := ParseTubes([]byte(bad)); err == nil {
			t.Errorf("%s: taken for %q", name, got)
		} else if strings.Contains(err.Error(), "T") {
			t.Errorf("%s: content in %v", name, err)
		}
	}
	if _, err := ParseTubes([]byte("T1\n\nT\x01\n")); err == nil || !strings.Contains(err.Error(), "line 3") {
		t.Errorf("%v does not name line 3", err)
	}
}

func TestMatchTubes(t *testing.T) {
	for _, tt := range []struct {
		scanned, recorded, matched, missing, unexpected string
	}{
		{"", "", "", "", ""},
		{"B A", "A B", "A B", "", ""},
		{"A", "A B", "A", "B", ""},
		{"A B", "A", "A", "", "B"},
		{"a", "A", "", "A", "a"},
		{"A A", "A", "A", "", "A"},
		{"A", "A A", "A", "A", ""},
	} {
		m := MatchTubes(strings.Fields(tt.scanned), strings.Fields(tt.recorded))
		want := TubeMatch{Matched: list(tt.matched), Missing: list(tt.missing), Unexpected: list(tt.unexpected)}
		if !reflect.DeepEqual(*m, want) {
			t.Errorf("%q in the box, %q recorded: %+v, want %+v", tt.scanned, tt.recorded, *m, want)
		}
	}
	if m := MatchTubes([]string{" T1 "}, []string{"T1"}); !m.Agrees() {
		t.Errorf("blanks: %+v", m)
	}
	m := MatchTubes([]string{"T2", " T1\r"}, []string{"T1", "T2"})
	if m.Explain(); m.Agrees() || len(m.Matched) != 2 || !slices.Equal(m.Returned, []string{"T1"}) ||
		len(m.Notes) != 1 || m.Notes[0].Kind != NoteReturn || m.Notes[0].Barcode != "T1" {
		t.Errorf("a carriage return: %+v", m)
	}
}

func list(s string) []string { return append([]string{}, strings.Fields(s)...) }

// Every scanned and every recorded barcode is accounted for exactly once.
func TestMatchTubesCounts(t *testing.T) {
	codes := rapid.SliceOf(rapid.StringMatching(`[AB][12]?`))
	rapid.Check(t, func(t *rapid.T) {
		scanned, recorded := codes.Draw(t, "scanned"), codes.Draw(t, "recorded")
		m := MatchTubes(scanned, recorded)
		sorted := func(s ...[]string) []string { c := slices.Concat(s...); slices.Sort(c); return c }
		if !slices.Equal(sorted(m.Matched, m.Unexpected), sorted(scanned)) ||
			!slices.Equal(sorted(m.Matched, m.Missing), sorted(recorded)) {
			t.Errorf("%+v", m)
		}
		for _, b := range m.Missing {
			if slices.Contains(m.Unexpected, b) {
				t.Errorf("%q is missing and unexpected", b)
			}
		}
	})
}

// The packer's frames are read back by our unpacker and by the library as one
// stream, whatever the sizes of the writes.
func TestFrames(t *testing.T) {
	dec, err := zstd.NewReader(nil)
	if err != nil {
		t.Fatal(err)
	}
	data := append(trace(3, 2<<20), bytes.Repeat([]byte{0}, 1<<20+7)...)
	for _, n := range []int{1, 2, 255, 256, 257, 65791, 65792, pieceSize - 1, pieceSize, pieceSize + 1, len(data)} {
		for _, workers := range []int{1, 3} {
			var packed bytes.Buffer
			p, err := newPacker(t.Context(), &packed, workers)
			if err != nil {
				t.Fatal(err)
			}
			for rest := data[:n]; len(rest) > 0; {
				m := min(len(rest), 300_001)
				if _, err := p.Write(rest[:m]); err != nil {
					t.Fatal(err)
				}
				rest = rest[m:]
			}
			if err := p.close(); err != nil {
				t.Fatal(err)
			}
			if got, err := dec.DecodeAll(packed.Bytes(), nil); err != nil || !bytes.Equal(got, data[:n]) {
				t.Errorf("%d bytes: the library reads %d, %v", n, len(got), err)
			}
			u, err := newUnpacker(t.Context(), &packed, workers)
			if err != nil {
				t.Fatal(err)
			}
			got, err := io.ReadAll(u)
			u.stop()
			if err != nil || !bytes.Equal(got, data[:n]) {
				t.Errorf("%d bytes: read back %d, %v", n, len(got), err)
			}
		}
	}
}
