package edf

import (
	"bytes"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The texts that the EDF+ text gives as examples (from memory), those of recorders, and texts
// that tell of somebody.
func TestTechnical(t *testing.T) {
	for text, want := range map[string]bool{
		"": true, "HP:0.1Hz LP:75Hz N:50Hz": true, "HP:0.1Hz LP:75Hz": true, "AgAgCl electrodes": true,
		"Temp": true, "Resp airway": true, "EDF Annotations": true, "CO2": true, "etCO2": true, "cmH2O": true,
		"L/min": true, "%": true, "uV": true, "infrared cell": true, "silicon bridge": true, "Pressure mouth": true,
		"Flow 2": true, "LP: 4 kHz": true, "LP:1200Hz": true,
		"Marta": false, "CO2 Marta": false, "sensor of bed 4": false, "sensor 2026": false, "2026-03-02": false,
		"cell 30 41 89": false, "HP:12345Hz": false, "304189": false, "serial 12": false, "sensor 12 34": false,
		"CO2@ward": false, "C02": false, "m.quillon": false, "1.5.7.9": false, "lp:75x": false, "Hz 12 Hz 345": false,
	} {
		if got := technical(text); got != want {
			t.Errorf("%q is technical: %t", text, got)
		}
	}
}

// Whatever the texts, what is kept is made of the list, and the header keeps its size.
func TestKeepTechnical(t *testing.T) {
	kept, gone := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		known := rapid.SampledFrom(Words())
		text := rapid.OneOf(rapid.StringMatching(`[ -~]{0,16}`), known, rapid.Custom(func(t *rapid.T) string {
			return strings.ToUpper(known.Draw(t, "a")) + " " + known.Draw(t, "b")
		}))
		of := func(most int) string {
			s := text.Draw(t, "text")
			return strings.TrimSpace(s[:min(most, len(s))])
		}
		h := &Header{Patient: "X X X X", Recording: "Startdate X X X X", StartDate: "01.01.85", StartTime: "00.00.00",
			Records: 1, RecordDuration: "1", Signals: []Signal{{Label: of(16), Transducer: of(80), Dimension: of(8),
				Prefilter: of(80), PhysMin: "0", PhysMax: "1", DigMin: "0", DigMax: "1", Samples: 1}}}
		before := h.Signals[0]
		h.KeepTechnical()
		after := h.Signals[0]
		for _, pair := range [][2]string{{before.Label, after.Label}, {before.Transducer, after.Transducer},
			{before.Dimension, after.Dimension}, {before.Prefilter, after.Prefilter}} {
			switch pair[1] {
			case pair[0]:
				kept++
			case "", "signal 1":
				gone++
			default:
				t.Fatalf("%q became %q", pair[0], pair[1])
			}
			for _, word := range strings.FieldsFunc(strings.ToLower(pair[1]), func(r rune) bool {
				return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyz0123456789%", r)
			}) {
				_, ok := words()[strings.TrimLeft(word, "0123456789")]
				if !ok && strings.Trim(word, "0123456789") != "" && !strings.Contains(word, "%") {
					t.Fatalf("%q keeps %q", pair[0], word)
				}
			}
		}
		if len(h.Encode()) != 512 {
			t.Fatal("the header has another size")
		}
	})
	if kept == 0 || gone == 0 {
		t.Errorf("%d kept, %d emptied: the test shows nothing", kept, gone)
	}
}

// The times of the data records stay, and no text does.
func TestDropTexts(t *testing.T) {
	b, err := EncodeTALs(120, NewTAL("+12.5", "", "", "spoke to Odile"), NewTAL("+13", "2", "cough", "Quillon"))
	if err != nil {
		t.Fatal(err)
	}
	for _, clock := range []bool{true, false} {
		c := bytes.Clone(b)
		if err := DropTexts(c, clock); err != nil || len(c) != len(b) {
			t.Fatal(err)
		}
		want := make([]byte, len(b))
		if clock {
			copy(want, "+12.5\x14\x14\x00")
		}
		if !bytes.Equal(c, want) {
			t.Errorf("%q", c)
		}
		if _, err := ParseTALs(c); err != nil {
			t.Error(err)
		}
	}
	if err := DropTexts([]byte("no annotation"), true); err == nil {
		t.Error("what is no annotation was taken for one")
	}
}
