package edf

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The specification's own examples (EDF+ 2.1.3, rules 3 and 4, edfplus.info).
const (
	specPatient   = "MCH-0234567 F 02-MAY-1951 Haagse_Harry"
	specRecording = "Startdate 02-MAR-2002 PSG-1234/2002 NN Telemetry03"
)

// specHeader is an EDF+ header of two signals and a place for annotations.
func specHeader() *Header {
	return &Header{
		Patient: specPatient, Recording: specRecording, StartDate: "02.03.02", StartTime: "14.05.59",
		Reserved: "EDF+C", Records: 3, RecordDuration: "1",
		Signals: []Signal{
			{Label: "CO2 airway", Transducer: "infrared cell", Dimension: "kPa", PhysMin: "-1", PhysMax: "15.5",
				DigMin: "-2048", DigMax: "2047", Prefilter: "LP:10Hz", Samples: 100},
			{Label: AnnotationLabel, PhysMin: "-1", PhysMax: "1", DigMin: "-32768", DigMax: "32767", Samples: 40},
			{Label: "Pressure mouth", Dimension: "Pa", PhysMin: "5e2", PhysMax: "-5e2", DigMin: "-32768",
				DigMax: "32767", Samples: 50},
		},
	}
}

// manySignals is a plain header of n signals of one sample each.
func manySignals(n int) *Header {
	h := specHeader()
	h.Reserved, h.Signals = "", make([]Signal, n)
	for i := range h.Signals {
		h.Signals[i] = Signal{Label: fmt.Sprint("S", i), PhysMin: "0", PhysMax: "1", DigMin: "0", DigMax: "1",
			Samples: 1}
	}
	return h
}

// onlyTexts is an EDF+ header of nothing but one annotation signal. Its data records may then last 0 seconds,
// as in the sleep scorings of EDF+ (section from memory: 2.2.4), and none needs to follow the one before by a step.
func onlyTexts(records int) *Header {
	h := specHeader()
	h.Signals, h.Records, h.RecordDuration = h.Signals[1:2], records, "0"
	return h
}

// specFile is a whole file with specHeader; its third record has the TALs given.
func specFile(t testing.TB, h *Header, last ...TAL) []byte {
	t.Helper()
	var data [][]byte
	for rec := range h.Records {
		var r []byte
		for i := range h.Signals {
			s := &h.Signals[i]
			if s.IsAnnotation() {
				tals := []TAL{NewTAL(fmt.Sprintf("+%.6g", float64(rec)*h.RecordSeconds()), "", "")}
				if rec == h.Records-1 {
					tals = append(tals, last...)
				}
				b, err := EncodeTALs(2*s.Samples, tals...)
				if err != nil {
					t.Fatal(err)
				}
				r = append(r, b...)
				continue
			}
			for k := range s.Samples {
				r = binary.LittleEndian.AppendUint16(r, uint16(int16(1000*math.Sin(float64(rec*s.Samples+k)))))
			}
		}
		data = append(data, r)
	}
	var b bytes.Buffer
	if err := Write(&b, h, data); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// anyHeader draws a valid header.
var anyHeader = rapid.Custom(func(t *rapid.T) *Header {
	text := func(name string, width int) string {
		return rapid.StringMatching(fmt.Sprintf(`([ -~]{0,%d}[!-~])?`, width-1)).Draw(t, name)
	}
	decimal := func(name string) string {
		return rapid.StringMatching(`[+-]?([1-9]?[0-9])(\.[0-9]{0,2})?([eE][0-9])?`).Draw(t, name)
	}
	h := &Header{
		Patient: text("patient", 80), Recording: text("recording", 80),
		StartDate: fmt.Sprintf("%02d.%02d.%s", rapid.IntRange(1, 28).Draw(t, "day"),
			rapid.IntRange(1, 12).Draw(t, "month"),
			rapid.SampledFrom([]string{"00", "26", "84", "85", "99", "yy"}).Draw(t, "year")),
		StartTime: fmt.Sprintf("%02d.%02d.%02d", rapid.IntRange(0, 23).Draw(t, "hour"),
			rapid.IntRange(0, 59).Draw(t, "minute"), rapid.IntRange(0, 59).Draw(t, "second")),
		Reserved: rapid.SampledFrom([]string{"EDF+C", "EDF+D", "EDF+C and more", "", "anything"}).Draw(t,
			"reserved"),
		Records:        rapid.IntRange(1, 99_999_999).Draw(t, "records"),
		RecordDuration: rapid.SampledFrom([]string{"1", "0.25", "+30", "30.0"}).Draw(t, "duration"),
	}
	for i := range rapid.IntRange(1, 6).Draw(t, "signals") {
		s := Signal{Label: "S" + text("label", 15), Transducer: text("transducer", 80), Dimension: text("dimension", 8),
			PhysMin: decimal("physical minimum"), PhysMax: decimal("physical maximum"), DigMin: "-32768",
			DigMax:    "32767",
			Prefilter: text("prefilter", 80), Samples: rapid.IntRange(1, 5000).Draw(t, "samples"),
			Reserved: text("reserved", 32)}
		lo, _ := number(s.PhysMin)
		if hi, _ := number(s.PhysMax); lo == hi {
			s.PhysMin, s.PhysMax = "0", "1"
		}
		if h.Plus() && (i == 0 || rapid.Bool().Draw(t, "annotation")) {
			s.Label, s.Transducer, s.Prefilter = AnnotationLabel, "", ""
		}
		h.Signals = append(h.Signals, s)
	}
	return h
})
