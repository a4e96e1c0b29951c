package edf

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// The examples of EDF+ 2.2.2 and 2.2.4 (edfplus.info), byte for byte.
var specTALs = []struct {
	hex string
	tal TAL
}{
	{"2b31383014" + "4c6967687473206f6666" + "14" + "436c6f736520646f6f72" + "1400",
		TAL{Onset: "+180", Texts: []Text{{5, 15, "Lights off"}, {16, 26, "Close door"}}}},
	{"2b313830302e32" + "15" + "32352e35" + "14" + "41706e6561" + "1400",
		TAL{Onset: "+1800.2", Duration: "25.5", Texts: []Text{{13, 18, "Apnea"}}}},
	{"2b353637" + "141400", TAL{Onset: "+567", Texts: []Text{{5, 5, ""}}}},
}

func TestSpecTALs(t *testing.T) {
	for _, tt := range specTALs {
		b, _ := hex.DecodeString(tt.hex)
		for _, padding := range []int{0, 1, 30} {
			in := append(bytes.Clone(b), make([]byte, padding)...)
			got, err := ParseTALs(in)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff([]TAL{tt.tal}, got); diff != "" {
				t.Error(diff)
			}
			out, err := EncodeTALs(len(in), got...)
			if err != nil || !bytes.Equal(out, in) {
				t.Errorf("EncodeTALs gives %x, %v; want %x", out, err, in)
			}
		}
	}
}

func TestTALsRefused(t *testing.T) {
	for name, tt := range map[string]struct {
		text string
		at   int64
		said string
	}{
		"no sign":                 {"180\x14x\x14\x00", 0, "+ or -"},
		"empty onset":             {"\x14\x14\x00", 0, "+ or -"},
		"sign alone":              {"+\x14\x14\x00", 0, "+ or -"},
		"comma in onset":          {"+1,5\x14\x14\x00", 0, "+ or -"},
		"exponent in onset":       {"+1e5\x14\x14\x00", 0, "+ or -"},
		"name as onset":           {"+Ada\x14\x14\x00", 0, "+ or -"},
		"point without fraction":  {"+1.\x14\x14\x00", 0, "+ or -"},
		"point without whole":     {"+.5\x14\x14\x00", 0, "+ or -"},
		"two points":              {"+1.2.3\x14\x14\x00", 0, "+ or -"},
		"25 digits":               {"+1234567890123456789012345\x14\x14\x00", 0, "+ or -"},
		"zeros in front":          {"+0041\x14\x14\x00", 0, "zero"},
		"zero before a duration":  {"+1\x1504041979\x14\x14\x00", 0, "zero"},
		"seven places of onset":   {"+5.1985091\x14\x14\x00", 0, "6 decimal places"},
		"ten digits":              {"+1234567890\x14\x14\x00", 0, "9 digits"},
		"ten nines":               {"+9999999999\x14\x14\x00", 0, "9 digits"},
		"ten digits of duration":  {"+1\x151000000000\x14\x14\x00", 0, "9 digits"},
		"unit separator":          {"+1\x14a\x1fb\x14\x00", 4, "control character"},
		"point alone":             {"+.\x14\x14\x00", 0, "+ or -"},
		"slash in onset":          {"+1/2\x14\x14\x00", 0, "+ or -"},
		"colon in onset":          {"+1:2\x14\x14\x00", 0, "+ or -"},
		"nine, padded":            {"+09\x14\x14\x00", 0, "zero"},
		"eight places":            {"+5.19850914\x14\x14\x00", 0, "6 decimal places"},
		"seven places":            {"+1\x150.1985091\x14\x14\x00", 0, "6 decimal places"},
		"empty duration":          {"+1\x15\x14\x14\x00", 0, "duration"},
		"signed duration":         {"+1\x15+2\x14\x14\x00", 0, "duration"},
		"two durations":           {"+1\x152\x153\x14\x14\x00", 0, "duration"},
		"no text":                 {"+1\x14\x00", 0, "text without an end"},
		"onset without end":       {"+1", 0, "no end"},
		"text without end":        {"+1\x14Lights off", 0, "text without an end"},
		"not closed":              {"+1\x14Lights off\x14", 0, "text without an end"},
		"zero byte in a text":     {"+1\x14Lights\x00off\x14\x00", 9, "control character"},
		"duration mark in a text": {"+1\x14a\x15b\x14\x00", 4, "control character"},
		"escape in a text":        {"+1\x14\x1b[2J\x14\x00", 3, "control character"},
		"Latin-1":                 {"+1\x14p\xe8re\x14\x00", 3, "UTF-8"},
		"text after zero bytes":   {"+1\x14x\x14\x00\x00Ada\x00", 7, "zero bytes that close"},
		"TAL after zero bytes":    {"+1\x14x\x14\x00\x00+2\x14y\x14\x00", 7, "zero bytes that close"},
		"second is bad":           {"+1\x14x\x14\x00Ada\x14\x14\x00", 6, "+ or -"},
		"text alone after zeros":  {"\x00\x00Ada", 2, "zero bytes that close"},
	} {
		_, err := ParseTALs([]byte(tt.text))
		var fe *FieldError
		if !errors.As(err, &fe) || fe.Field != "annotation" || fe.Offset != tt.at ||
			!strings.Contains(fe.Message, tt.said) {
			t.Errorf("%s: %v; want byte %d and %q", name, err, tt.at, tt.said)
		}
	}
}

func TestEncodeTALsRefused(t *testing.T) {
	for name, tal := range map[string]TAL{
		"no text":          NewTAL("+1", ""),
		"no onset":         NewTAL("", "", "x"),
		"mark in a text":   NewTAL("+1", "", "a\x14b"),
		"end in a text":    NewTAL("+1", "", "a\x14\x00+2\x14b"),
		"mark in an onset": NewTAL("+1\x155", "", "x"),
		"no UTF-8":         NewTAL("+1", "", "\xff"),
		"bad duration":     NewTAL("+1", "soon", "x"),
		"long onset":       NewTAL("+12.30418923", "", "x"),
		"long duration":    NewTAL("+1", "0.0030418923000", "x"),
		"too long":         NewTAL("+1", "", strings.Repeat("x", 60)),
	} {
		b, err := EncodeTALs(64, tal)
		var fe *FieldError
		if !errors.As(err, &fe) || b != nil {
			t.Errorf("%s: %q, %v", name, b, err)
		}
	}
}

// What reaches a bound is taken: the size of the signal, 9 digits and 6 places of a time, and the control
// characters that 2.2.2 allows.
func TestTALsAtTheBounds(t *testing.T) {
	for name, tal := range map[string]TAL{
		"fills the signal": NewTAL("+1", "", strings.Repeat("x", 58)),
		"9 digits":         NewTAL("+123456789", "999999999", "x"),
		"6 places":         NewTAL("-0.123456", "100.999999", "x"),
		"0 and 9":          NewTAL("+0", "9", "x"),
		"tab, feed, CR":    NewTAL("+1", "0", "\t\n\r ~"),
	} {
		b, err := EncodeTALs(63, tal)
		if err != nil || len(b) != 63 {
			t.Errorf("%s: %q, %v", name, b, err)
		}
	}
}

var anyTAL = rapid.Custom(func(t *rapid.T) TAL {
	tal := NewTAL(rapid.StringMatching(`[+-](0|[1-9][0-9]{0,4})(\.[0-9]{1,4})?`).Draw(t, "onset"),
		rapid.StringMatching(`((0|[1-9][0-9]{0,4})(\.[0-9]{1,4})?)?`).Draw(t, "duration"))
	for range rapid.IntRange(1, 4).Draw(t, "texts") {
		tal.Texts = append(tal.Texts, Text{Value: rapid.StringMatching(`[ -~\t\n\p{L}\p{So}]{0,12}`).Draw(t, "text")})
	}
	return tal
})

func TestEncodeThenParseTALs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tals := rapid.SliceOfN(anyTAL, 0, 5).Draw(t, "TALs")
		b, err := EncodeTALs(4096, tals...)
		if err != nil {
			t.Fatal(err)
		}
		back, err := ParseTALs(b)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(tals, back, cmpopts.IgnoreFields(Text{}, "Start", "End"),
			cmpopts.EquateEmpty()); diff != "" {
			t.Fatal(diff)
		}
	})
}

func FuzzTALs(f *testing.F) {
	for _, tt := range specTALs {
		b, _ := hex.DecodeString(tt.hex)
		f.Add(b)
		f.Add(append(bytes.Repeat(b, 3), 0, 0))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		tals, err := ParseTALs(b)
		if err != nil {
			var fe *FieldError
			if !errors.As(err, &fe) || fe.Offset < 0 || fe.Offset > int64(len(b)) {
				t.Fatalf("error %v", err)
			}
			return
		}
		for _, tal := range tals {
			for _, s := range tal.Texts {
				if string(b[s.Start:s.End]) != s.Value {
					t.Fatalf("text %q is not at %d", s.Value, s.Start)
				}
			}
		}
		if out, err := EncodeTALs(len(b), tals...); err != nil || !bytes.Equal(out, b) {
			t.Fatalf("%q gives %q, %v", b, out, err)
		}
	})
}

func TestAnnotationRanges(t *testing.T) {
	h := specHeader()
	if diff := cmp.Diff([]Range{{200, 80}}, h.AnnotationRanges()); diff != "" {
		t.Error(diff)
	}
	h.Signals = append(h.Signals, h.Signals[1])
	if diff := cmp.Diff([]Range{{200, 80}, {380, 80}}, h.AnnotationRanges()); diff != "" {
		t.Error(diff)
	}
	h.Reserved = ""
	if r := h.AnnotationRanges(); r != nil {
		t.Errorf("plain EDF has annotations: %v", r)
	}
}

// onlyAnnotations fails the test when anything but annotations is read.
type onlyAnnotations struct {
	t *testing.T
	b []byte
	h *Header
}

func (r onlyAnnotations) ReadAt(p []byte, at int64) (int, error) {
	in := int(at-r.h.HeaderSize()) % r.h.RecordSize()
	if in < 200 || in+len(p) > 280 {
		r.t.Errorf("%d bytes were read at %d of a data record", len(p), in)
	}
	return bytes.NewReader(r.b).ReadAt(p, at)
}

func TestWalkAnnotations(t *testing.T) {
	h := specHeader()
	b := specFile(t, h, NewTAL("+2.5", "1", "cough", "", "Ärger mit der Maske"), NewTAL("-1", "", "calibrated before"))
	var got []string
	err := WalkAnnotations(onlyAnnotations{t, b, h}, h, func(rec int, at int64, text string) error {
		if string(b[at:at+int64(len(text))]) != text {
			t.Errorf("%q is not at byte %d", text, at)
		}
		got = append(got, fmt.Sprint(rec, " ", text))
		return nil
	})
	if want := "2 cough|2 Ärger mit der Maske|2 calibrated before"; err != nil || strings.Join(got, "|") != want {
		t.Errorf("%v, %v", got, err)
	}
	stop := &FieldError{Field: "annotation", Message: "of the caller"}
	calls := 0
	if err := WalkAnnotations(bytes.NewReader(b), h, func(int, int64,
		string) error {
		calls++
		return stop
	}); err != stop || calls != 1 {
		t.Errorf("%v after %d calls", err, calls)
	}
	err = WalkAnnotations(bytes.NewReader(b[:len(b)-120]), h, func(int, int64, string) error { return nil })
	if fe := new(FieldError); !errors.As(err, &fe) || fe.Field != "file size" {
		t.Errorf("a short file gives %v", err)
	}
	// A file that ends within the last annotations ends at the byte that is named.
	for n := len(b) - 100 - 80; n < len(b)-100; n++ {
		err = WalkAnnotations(bytes.NewReader(b[:n]), h, func(int, int64, string) error { return nil })
		if fe := new(FieldError); !errors.As(err, &fe) || fe.Field != "file size" || fe.Offset != int64(n) {
			t.Errorf("a file of %d bytes gives %v", n, err)
		}
	}
	if err := WalkAnnotations(brokenDisk{}, h, nil); err != io.ErrNoProgress {
		t.Errorf("a failing disk gives %v", err)
	}
}

type brokenDisk struct{}

func (brokenDisk) ReadAt([]byte, int64) (int, error) { return 0, io.ErrNoProgress }

// The rules of 2.2.4 on the first annotation of a data record.
func TestTimeKeeping(t *testing.T) {
	h := specHeader()
	good := specFile(t, h)
	rec2 := 1024 + 380 + 200 // annotations of the second data record
	for name, tt := range map[string]struct {
		at    int
		bytes string
		field string
		said  string
	}{
		"first not 0":         {1024 + 200, "+5\x14\x14", "annotation in data record 1", "+0"},
		"first below 0":       {1024 + 200, "-0\x14\x14", "annotation in data record 1", "+0"},
		"first within 1 s":    {1024 + 200, "+0.25\x14\x14", "", ""},
		"first with 00":       {1024 + 200, "+00\x14\x14", "annotation in data record 1", "zero"},
		"too early":           {rec2, "+0\x14\x14", "annotation in data record 2", "too early"},
		"a gap":               {rec2, "+2\x14\x14", "annotation in data record 2", "a gap"},
		"half a step early":   {rec2, "+0.5\x14\x14", "annotation in data record 2", "too early"},
		"not half, early":     {rec2, "+0.501\x14\x14", "", ""},
		"half a step late":    {rec2, "+1.5\x14\x14", "annotation in data record 2", "a gap"},
		"not half, late":      {rec2, "+1.499\x14\x14", "", ""},
		"rounded":             {rec2, "+1.0004\x14\x14", "", ""},
		"none":                {rec2, "\x00\x00\x00\x00", "annotation in data record 2", "missing"},
		"text in its place":   {rec2, "+1\x14x\x14", "annotation in data record 2", "none may be"},
		"text after it":       {rec2, "+1\x14\x14x\x14", "", ""},
		"bytes after padding": {rec2 + 70, "x", "annotation in data record 2", "zero bytes"},
	} {
		b := bytes.Clone(good)
		copy(b[tt.at:], tt.bytes)
		err := WalkAnnotations(bytes.NewReader(b), h, func(int, int64, string) error { return nil })
		var fe *FieldError
		if tt.field == "" && err == nil {
			continue
		}
		if !errors.As(err, &fe) || fe.Field != tt.field || fe.Offset != int64(tt.at) ||
			!strings.Contains(fe.Message, tt.said) {
			t.Errorf("%s: %v; want %q at byte %d and %q", name, err, tt.field, tt.at, tt.said)
		}
	}
	// EDF+D may have gaps, but no way back.
	h.Reserved = "EDF+D"
	for onset, ok := range map[string]bool{"+1.4": true, "+1.5": false} { // the third record is at +2
		b := bytes.Clone(good)
		copy(b[rec2:], onset+"\x14\x14")
		if err := WalkAnnotations(bytes.NewReader(b), h, nil); (err == nil) != ok {
			t.Errorf("EDF+D, second record at %s: %v", onset, err)
		}
	}
	last := bytes.Clone(good)
	copy(last[rec2+380:], "+900\x14\x14")
	if err := WalkAnnotations(bytes.NewReader(last), h, nil); err != nil {
		t.Errorf("EDF+D with a gap: %v", err)
	}
	// Data records of no duration may have any time that does not go back.
	for _, tt := range []struct {
		second string
		ok     bool
	}{{"+7", true}, {"+7.5", true}, {"+900", true}, {"+6.9", false}, {"+0", false}} {
		h := onlyTexts(3)
		var data [][]byte
		for _, onset := range []string{"+0", "+7", tt.second} {
			b, err := EncodeTALs(80, NewTAL(onset, "", "", "x"))
			if err != nil {
				t.Fatal(err)
			}
			data = append(data, b)
		}
		var b bytes.Buffer
		if err := Write(&b, h, data); err != nil {
			t.Fatal(err)
		}
		n := 0
		err := WalkAnnotations(bytes.NewReader(b.Bytes()), h, func(int, int64, string) error { n++; return nil })
		if (err == nil) != tt.ok || tt.ok && n != 3 {
			t.Errorf("+0, +7, %s: %d texts, %v", tt.second, n, err)
		}
	}
	// A second annotation signal keeps no time.
	h.Signals = append(h.Signals, h.Signals[1])
	h.Records = 1
	first, _ := EncodeTALs(80, NewTAL("+0", "", ""))
	for _, second := range []TAL{NewTAL("+9", "", "late"), NewTAL("+9", "", "")} {
		last, _ := EncodeTALs(80, second)
		rec := append(make([]byte, 200), first...)
		rec = append(append(rec, make([]byte, 100)...), last...)
		var b bytes.Buffer
		if err := Write(&b, h, [][]byte{rec}); err != nil {
			t.Fatal(err)
		}
		n := 0
		if err := WalkAnnotations(bytes.NewReader(b.Bytes()), h,
			func(int, int64, string) error { n++; return nil }); err != nil || n != len(second.Texts[0].Value)/4 {
			t.Errorf("%d texts, %v", n, err)
		}
	}
}

// An hour in records of 0.1 s.
func BenchmarkWalkAnnotations(b *testing.B) {
	h := specHeader()
	h.Records, h.RecordDuration = 36_000, "0.1"
	file := specFile(b, h)
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	for b.Loop() {
		if err := WalkAnnotations(bytes.NewReader(file), h, func(int, int64, string) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
}
