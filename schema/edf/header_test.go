package edf

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

const shared = "../../../shared/external/edf"

// sampleFiles returns the recordings that other projects wrote (MNE-Python,
// edfio; see SOURCES.md in that folder), by their name.
func sampleFiles(t testing.TB) map[string][]byte {
	t.Helper()
	names, _ := filepath.Glob(shared + "/*/*.edf")
	if len(names) == 0 {
		t.Skip("the recordings of other projects (shared/external/edf) are not here")
	}
	out := map[string][]byte{}
	for _, n := range names {
		b, err := os.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		out[filepath.Base(n)] = b
	}
	return out
}

// What SOURCES.md says of each file.
func TestFilesOfOthers(t *testing.T) {
	want := map[string]struct {
		signals, records, annotations int
		seconds                       float64
		flag, patient                 string
	}{
		"test.edf": {140, 6, 5, 1, "EDF+C", "X X X X"},
		"test_uneven_samp.edf": {2, 11, 0, 10, "", "A 3Hz sinewave and a 0.2Hz block signal, both starting in " +
			"their positive phase"},
		"short_psg.edf":          {7, 10, 0, 30, "", "X F X Female_33yr"},
		"SC4001EC-Hypnogram.edf": {1, 1, 154, 0, "EDF+C", "X F X Female_33yr"},
	}
	files := sampleFiles(t)
	for name, w := range want {
		b, ok := files[name]
		if !ok {
			t.Errorf("%s is not here", name)
			continue
		}
		h, err := ReadHeader(iotest.OneByteReader(bytes.NewReader(b)))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !bytes.Equal(h.Encode(), b[:h.HeaderSize()]) {
			t.Errorf("%s: Encode does not give the header back", name)
		}
		if err := h.Check(int64(len(b))); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		n := 0
		if err := WalkAnnotations(bytes.NewReader(b), h, func(_ int, at int64, text string) error {
			n++
			if string(b[at:at+int64(len(text))]) != text {
				t.Errorf("%s: annotation %d is not at its stated place", name, n)
			}
			return nil
		}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if len(h.Signals) != w.signals || h.Records != w.records || n != w.annotations ||
			h.RecordSeconds() != w.seconds || h.flag() != w.flag || h.Patient != w.patient {
			t.Errorf("%s: %d signals, %d records of %v s, %d annotations, %q", name, len(h.Signals), h.Records,
				h.RecordSeconds(), n, h.flag())
		}
	}
}

// short_psg_header_reference.json is what the edfio project expects of short_psg.edf.
func TestSignalsAsEdfioReadsThem(t *testing.T) {
	b, ok := sampleFiles(t)["short_psg.edf"]
	j, err := os.ReadFile(shared + "/edfio/short_psg_header_reference.json")
	if !ok || err != nil {
		t.Skip("edfio's answer is not here")
	}
	type signal struct {
		Label, Transducer_type, Physical_dimension, Prefiltering, Reserved string
		Physical_min, Physical_max                                         float64
		Digital_min, Digital_max, Samples_per_data_record                  int
		Sampling_frequency                                                 float64
	}
	var want []signal
	if err := json.Unmarshal(j, &want); err != nil || len(want) == 0 {
		t.Fatal(err)
	}
	h, err := ReadHeader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	var got []signal
	for _, s := range h.Signals {
		lo, _ := number(s.PhysMin)
		hi, _ := number(s.PhysMax)
		dlo, _ := digital(s.DigMin)
		dhi, _ := digital(s.DigMax)
		got = append(got, signal{s.Label, s.Transducer, s.Dimension, s.Prefilter, s.Reserved, lo, hi, dlo, dhi,
			s.Samples, float64(s.Samples) / h.RecordSeconds()})
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// The offsets are those of the table in EDF (1992), written out once more by hand.
func TestOffsets(t *testing.T) {
	b := specHeader().Encode()
	for _, tt := range []struct {
		at    int
		field string
	}{
		{0, "0       " + specPatient + strings.Repeat(" ", 80-len(specPatient)) + specRecording},
		{168, "02.03.0214.05.591024    EDF+C   "},
		{236, "3       1       3   CO2 airway      EDF Annotations Pressure mouth  infrared cell "},
		{256 + 16*3, "infrared cell "},
		{256 + 96*3, "kPa             Pa      -1      -1      5e2     15.5    1       -5e2    "},
		{256 + 120*3, "-2048   -32768  -32768  2047    32767   32767   LP:10Hz "},
		{256 + 216*3, "100     40      50      "},
	} {
		if got := string(b[tt.at : tt.at+len(tt.field)]); got != tt.field {
			t.Errorf("at byte %d: %q, want %q", tt.at, got, tt.field)
		}
	}
	if len(b) != 1024 {
		t.Errorf("%d bytes, want 256*(1+3)", len(b))
	}
}

// What can be wrong in a header: which field is named, and at which byte.
func TestHeaderRefused(t *testing.T) {
	good := specFile(t, specHeader())
	plain := specHeader()
	plain.Reserved, plain.Signals = "", plain.Signals[:1]
	goodPlain := specFile(t, plain)
	for name, tt := range map[string]struct {
		file  []byte
		at    int
		bytes string
		field string
		said  string
	}{
		"BDF":                      {good, 0, "\xffBIOSEMI", "version", "not that of an EDF file"},
		"version 1":                {good, 0, "1", "version", "not that of an EDF file"},
		"accent in patient":        {good, 20, "\xe9", "patient identification", "ASCII"},
		"line feed in recording":   {good, 100, "\n", "recording identification", "ASCII"},
		"zero byte in reserved":    {good, 210, "\x00", "reserved field", "ASCII"},
		"delete in a label":        {good, 256 + 5, "\x7f", "label of signal 1", "ASCII"},
		"zero byte in reserved 3":  {good, 256 + 224*3 + 64, "\x00", "reserved field of signal 3", "ASCII"},
		"slashes in date":          {good, 168, "02/03/02", "start date", "dd.mm.yy"},
		"no such day":              {good, 168, "29.02.01", "start date", "dd.mm.yy"},
		"no such day, yy":          {good, 168, "31.04.yy", "start date", "dd.mm.yy"},
		"month 13":                 {good, 168, "01.13.01", "start date", "dd.mm.yy"},
		"day 0":                    {good, 168, "00.01.01", "start date", "dd.mm.yy"},
		"blank date":               {good, 168, "        ", "start date", "dd.mm.yy"},
		"date half yy":             {good, 168, "01.01.y1", "start date", "dd.mm.yy"},
		"colons in time":           {good, 176, "14:05:59", "start time", "hh.mm.ss"},
		"24 hours":                 {good, 176, "24.00.00", "start time", "hh.mm.ss"},
		"second 60":                {good, 176, "23.59.60", "start time", "hh.mm.ss"},
		"header bytes":             {good, 184, "768 ", "number of header bytes", "256 for each signal"},
		"header bytes, zeros":      {good, 184, "0001024", "number of header bytes", "256 for each signal"},
		"header bytes no number":   {good, 184, "1O24", "number of header bytes", "256 for each signal"},
		"EDF+ of no kind":          {good, 192, "EDF+X", "reserved field", "EDF+C"},
		"plain with annotations":   {good, 192, "     ", "label of signal 2", "neither EDF+C nor EDF+D"},
		"plus without annotations": {goodPlain, 192, "EDF+C", "reserved field", "no signal"},
		"still recording":          {good, 236, "-1", "number of data records", "still running"},
		"no records":               {good, 236, "0 ", "number of data records", "holds no data"},
		"minus two records":        {good, 236, "-2", "number of data records", "holds no data"},
		"records to the right":     {good, 236, " 3", "number of data records", "whole number"},
		"duration comma":           {good, 244, "1,0", "duration of a data record", "decimal comma"},
		"duration word":            {good, 244, "inf", "duration of a data record", "decimal number"},
		"duration in powers of 10": {good, 244, "1e0", "duration of a data record", "decimal number"},
		"annotation transducer":    {good, 256 + 16*3 + 80, "x", "transducer type of signal 2", "not blank"},
		"annotation prefilter":     {good, 256 + 136*3 + 80, "x", "prefiltering of signal 2", "not blank"},
		"duration 0":               {good, 244, "0  ", "duration of a data record", "more than 0"},
		"duration below 0":         {good, 244, "-1 ", "duration of a data record", "more than 0"},
		"no signals":               {good, 252, "0   ", "number of signals", "from 1 to 4096"},
		"many signals":             {good, 252, "9999", "number of signals", "from 1 to 4096"},
		"signals blank":            {good, 252, "    ", "number of signals", "from 1 to 4096"},
		"label in small letters":   {good, 256 + 16, "edf annotations ", "label of signal 2", "almost"},
		"label indented":           {good, 256 + 16, " EDF Annotations", "label of signal 2", "almost"},
		"BDF label":                {good, 256 + 16, "BDF Annotations ", "label of signal 2", "almost"},
		"physical min comma":       {good, 256 + 104*3, "-1,0", "physical minimum of signal 1", "decimal comma"},
		"physical max blank":       {good, 256 + 112*3, "        ", "physical maximum of signal 1", "decimal number"},
		"physical max too great":   {good, 256 + 112*3, "1e999", "physical maximum of signal 1", "decimal number"},
		"physical max = min":       {good, 256 + 112*3 + 8, "-1.0", "physical maximum of signal 2", "equals"},
		"digital min with point":   {good, 256 + 120*3, "-2.5 ", "digital minimum of signal 1", "whole number"},
		"digital max too great":    {good, 256 + 128*3, "32768", "digital maximum of signal 1", "whole number"},
		"digital max below min":    {good, 256 + 128*3, "-2049", "digital maximum of signal 1", "not greater"},
		"digital max = min":        {good, 256 + 128*3, "-2048", "digital maximum of signal 1", "not greater"},
		"annotation digital": {good, 256 + 120*3 + 8, "-2048 ", "digital minimum of signal 2",
			"-32768 and 32767"},
		"annotation digital max": {good, 256 + 128*3 + 8, "32766 ", "digital minimum of signal 2",
			"-32768 and 32767"},
		"eight digits of duration": {good, 244, "10000000", "duration of a data record", "7 digits"},
		"duration with zeros":      {good, 244, "01", "duration of a data record", "zero"},
		"duration with 09":         {good, 244, "09", "duration of a data record", "zero"},
		"physical max, 8 digits":   {good, 256 + 112*3, "99999999", "physical maximum of signal 1", "7 digits"},
		"physical min with zeros":  {good, 256 + 104*3, "-00", "physical minimum of signal 1", "zero"},
		"no samples":               {good, 256 + 216*3, "0  ", "samples in a data record of signal 1", "less than 1"},
		"samples blank":            {good, 256 + 216*3, "   ", "samples in a data record of signal 1", "whole number"},
		"long data records": {good, 256 + 216*3, "99999999", "samples in a data record of signal 1",
			"10,485,760 bytes"},
	} {
		b := bytes.Clone(tt.file)
		copy(b[tt.at:], tt.bytes)
		_, err := ReadHeader(bytes.NewReader(b))
		var fe *FieldError
		if !errors.As(err, &fe) {
			t.Errorf("%s: error is %v", name, err)
			continue
		}
		elsewhere := tt.at == 192 && tt.field != "reserved field" // the fault shows at another field
		there := fe.Offset <= int64(tt.at) && int64(tt.at) < fe.Offset+80
		if !strings.Contains(fe.Message, tt.said) || fe.Field != tt.field || !there && !elsewhere {
			t.Errorf("%s: got %v; want the field %q at %d and %q", name, fe, tt.field, tt.at, tt.said)
		}
	}
}

func TestHeaderCutShort(t *testing.T) {
	b := specHeader().Encode()
	for n := range b {
		_, err := ReadHeader(bytes.NewReader(b[:n]))
		var fe *FieldError
		if !errors.As(err, &fe) || fe.Field != "header" || fe.Offset != int64(n) {
			t.Fatalf("%d bytes: %v", n, err)
		}
	}
	r := bytes.NewReader(append(b, 1, 2, 3))
	if _, err := ReadHeader(r); err != nil || r.Len() != 3 {
		t.Errorf("%v, %d bytes left; want the 3 after the header", err, r.Len())
	}
	if _, err := ReadHeader(iotest.ErrReader(io.ErrClosedPipe)); err != io.ErrClosedPipe {
		t.Errorf("a failing disk gives %v", err)
	}
}

func TestCheckSize(t *testing.T) {
	h := specHeader()
	if h.RecordSize() != 380 || h.DataSize() != 1140 || h.FileSize() != 2164 {
		t.Fatal(h.RecordSize(), h.DataSize(), h.FileSize())
	}
	for size, said := range map[int64]string{
		2164: "", 2163: "2,163 of the 2,164 bytes", 0: "0 of the 2,164", 2165: "something after the last data record",
	} {
		err := h.Check(size)
		if (err == nil) != (said == "") || err != nil && !strings.Contains(err.Error(), said) {
			t.Errorf("%d: %v", size, err)
		}
	}
}

func TestEncodeThenReadIsTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := anyHeader.Draw(t, "header")
		back, err := ReadHeader(bytes.NewReader(h.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(h, back) {
			t.Fatal(cmp.Diff(h, back))
		}
	})
}

// Whatever is accepted is written back as it was, byte for byte.
func TestReadThenEncodeIsTheSame(t *testing.T) {
	read := 0
	rapid.Check(t, func(t *rapid.T) {
		b := anyHeader.Draw(t, "header").Encode()
		for range rapid.IntRange(1, 3).Draw(t, "changes") {
			at := rapid.IntRange(0, len(b)-1).Draw(t, "at")
			b[at] = rapid.SampledFrom([]byte(" 0123456789+-.eEyA\x00\xff")).Draw(t, "byte")
		}
		if comesBack(t, b) {
			read++
		}
	})
	if read == 0 {
		t.Error("no changed header was accepted: the test shows nothing")
	}
}

// comesBack fails unless b is refused with a *FieldError, or its header comes back.
func comesBack(t interface{ Fatalf(string, ...any) }, b []byte) bool {
	h, err := ReadHeader(bytes.NewReader(b))
	if err != nil {
		var fe *FieldError
		if !errors.As(err, &fe) || fe.Field == "" || fe.Message == "" || fe.Offset < 0 || fe.Offset > int64(len(b)) {
			t.Fatalf("error %v", err)
		}
		return false
	}
	if got := h.Encode(); !bytes.Equal(got, b[:len(got)]) {
		t.Fatalf("Encode gives\n%q, not\n%q", got, b[:len(got)])
	}
	return true
}

func FuzzReadHeader(f *testing.F) {
	f.Add(specHeader().Encode())
	h := specHeader()
	h.Reserved, h.Signals = "", h.Signals[2:]
	f.Add(h.Encode())
	f.Fuzz(func(t *testing.T, b []byte) { comesBack(t, b) })
}

// EDF+ 2.1.3, rule 1: the bytes 32 to 126 and no others, in what is read and in what is written.
func TestEveryByteOfAField(t *testing.T) {
	for c := range 256 {
		ok := c >= 32 && c <= 126
		b := specHeader().Encode()
		b[8+3], b[256+7] = byte(c), 'x' // in the patient identification
		if _, err := ReadHeader(bytes.NewReader(b)); (err == nil) != ok {
			t.Errorf("byte %d in the file: %v", c, err)
		}
		b = specHeader().Encode()
		b[256+16*3+3] = byte(c) // in the transducer type of signal 1
		if _, err := ReadHeader(bytes.NewReader(b)); (err == nil) != ok {
			t.Errorf("byte %d of a signal: %v", c, err)
		}
		h := specHeader()
		h.Patient = "a" + string([]byte{byte(c)}) + "b"
		if err := h.Validate(); (err == nil) != ok {
			t.Errorf("byte %d in the header: %v", c, err)
		}
	}
}

// What reaches a bound of the format, or of this package, is a header; one more is none.
func TestHeaderAtTheBounds(t *testing.T) {
	for name, tt := range map[string]struct {
		h    *Header
		ok   bool
		call func(h *Header)
	}{
		"4096 signals":    {manySignals(4096), true, func(*Header) {}},
		"4097 signals":    {manySignals(4097), false, func(*Header) {}},
		"1 signal":        {manySignals(1), true, func(*Header) {}},
		"10 MiB a record": {manySignals(2), true, func(h *Header) { h.Signals[0].Samples = 5_242_879 }},
		"2 bytes more":    {manySignals(2), false, func(h *Header) { h.Signals[0].Samples = 5_242_880 }},
		"full fields":     {manySignals(1), true, func(h *Header) { h.Patient = strings.Repeat("x", 80) }},
		"one record":      {manySignals(1), true, func(h *Header) { h.Records = 1 }},
		"most records":    {manySignals(1), true, func(h *Header) { h.Records = 99_999_999 }},
		"7 digits":        {manySignals(1), true, func(h *Header) { h.RecordDuration = "1.000009" }},
		"8 digits":        {manySignals(1), false, func(h *Header) { h.RecordDuration = "12345678" }},
		"7 digits, scale": {manySignals(1), true, func(h *Header) { h.Signals[0].PhysMax = "9000000" }},
		"8 digits, scale": {manySignals(1), false, func(h *Header) { h.Signals[0].PhysMax = "10000000" }},
		"0 to 0.5":        {manySignals(1), true, func(h *Header) { h.Signals[0].PhysMax = "0.5" }},
		"16 bits": {manySignals(1), true, func(h *Header) {
			h.Signals[0].DigMin, h.Signals[0].DigMax = "-32768", "32767"
		}},
		"no time, texts":   {onlyTexts(1), true, func(*Header) {}},
		"time below 0":     {onlyTexts(1), false, func(h *Header) { h.RecordDuration = "-1" }},
		"no time, samples": {manySignals(1), false, func(h *Header) { h.RecordDuration = "0" }},
	} {
		tt.call(tt.h)
		err := tt.h.Validate()
		if (err == nil) != tt.ok {
			t.Errorf("%s: %v", name, err)
		}
		if back, err := ReadHeader(bytes.NewReader(tt.h.Encode())); (err == nil) != tt.ok ||
			tt.ok && !reflect.DeepEqual(tt.h, back) {
			t.Errorf("%s, written and read: %v", name, err)
		}
	}
	for n, want := range map[int64]string{
		0: "0", 9: "9", 999: "999", 1000: "1,000", 123456: "123,456", 1234567: "1,234,567",
	} {
		if got := grouped(n); got != want {
			t.Errorf("%d is written %s", n, got)
		}
	}
}

// A header whose value does not fit its field is never cut.
func TestEncodeOfNoHeader(t *testing.T) {
	defer func() {
		if r := recover(); r == nil || !strings.Contains(r.(string), "patient identification") {
			t.Errorf("no panic that names the field: %v", r)
		}
	}()
	h := specHeader()
	h.Patient = strings.Repeat("x", 81)
	h.Encode()
}

func TestValidateBeforeWriting(t *testing.T) {
	for name, change := range map[string]func(*Header){
		"patient":            func(h *Header) { h.Patient = strings.Repeat("x", 81) },
		"recording":          func(h *Header) { h.Recording = "ends with a space " },
		"label of signal 1":  func(h *Header) { h.Signals[0].Label = "pression inspirée" },
		"number of data":     func(h *Header) { h.Records = 100_000_000 },
		"number of signals":  func(h *Header) { h.Signals = nil },
		"samples in a data":  func(h *Header) { h.Signals[0].Samples = -5 },
		"physical dimension": func(h *Header) { h.Signals[2].Dimension = "kilopascal" },
	} {
		h := specHeader()
		change(h)
		var out bytes.Buffer
		err := Write(&out, h, make([][]byte, 3))
		var fe *FieldError
		if !errors.As(err, &fe) || !strings.HasPrefix(fe.Field, name) || out.Len() > 0 {
			t.Errorf("%s: %v, %d bytes written", name, err, out.Len())
		}
	}
	if err := Write(io.Discard, specHeader(), make([][]byte, 2)); err == nil {
		t.Error("2 of 3 records were written")
	}
	for bad := range 3 {
		records := [][]byte{make([]byte, 380), make([]byte, 380), make([]byte, 380)}
		records[bad] = records[bad][1:]
		var fe *FieldError
		if err := Write(io.Discard, specHeader(), records); !errors.As(err, &fe) ||
			fe.Field != fmt.Sprint("data record ", bad+1) {
			t.Errorf("record %d is short: %v", bad+1, err)
		}
	}
	for n := range 4 { // the header and three data records
		w := &fullDisk{left: n}
		records := [][]byte{make([]byte, 380), make([]byte, 380), make([]byte, 380)}
		if err := Write(w, specHeader(), records); err != io.ErrShortWrite || w.left != -1 {
			t.Errorf("a disk that is full after %d writes: %v, %d writes left", n, err, w.left)
		}
	}
}

// A fullDisk takes as many writes as are left.
type fullDisk struct{ left int }

func (d *fullDisk) Write(b []byte) (int, error) {
	if d.left--; d.left < 0 {
		return 0, io.ErrShortWrite
	}
	return len(b), nil
}

func BenchmarkReadHeader(b *testing.B) {
	h := specHeader()
	for len(h.Signals) < 16 {
		s := h.Signals[0]
		s.Label = "S " + strconv.Itoa(len(h.Signals))
		h.Signals = append(h.Signals, s)
	}
	enc := h.Encode()
	b.SetBytes(int64(len(enc)))
	for b.Loop() {
		if _, err := ReadHeader(bytes.NewReader(enc)); err != nil {
			b.Fatal(err)
		}
	}
}
