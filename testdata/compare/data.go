package main

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"

	"outbreath/schema/demo"
	"outbreath/schema/edf"
)

// sets are the kinds of collections that can be made.
var sets = map[string]func(dir string, size int64){
	"csv": func(dir string, size int64) { write(dir, demo.Big(size)) },
	// Samples of 16 bits, in which the curve of CO2 lies under noise of a few steps.
	"bin": func(dir string, size int64) {
		recordings(dir, size, "CO2", "kPa", func(r *rand.Rand, second float64) int16 {
			wave := max(0, math.Sin(2*math.Pi*second/4.2))
			return int16(1500 + 18000*math.Sqrt(wave) + 60*r.NormFloat64())
		})
	},
	// Nothing that a compressor could shrink.
	"rand": func(dir string, size int64) {
		recordings(dir, size, "Flow", "L/s", func(r *rand.Rand, _ float64) int16 { return int16(r.Uint32()) })
	},
	// Records and nothing else; size is their number.
	"small": func(dir string, size int64) {
		write(dir, demo.Options{Subjects: int(size)/3 + 1, Sessions: int(size), RecordingSeconds: 1, SampleHz: 1,
			NoEDF: true})
		check(os.RemoveAll(filepath.Join(dir, "recordings")))
		check(os.Mkdir(filepath.Join(dir, "recordings"), 0o755))
		files, err := filepath.Glob(filepath.Join(dir, "sessions", "*.json"))
		check(err)
		for _, file := range files {
			data, err := os.ReadFile(file)
			check(err)
			var record map[string]any
			check(json.Unmarshal(data, &record))
			record["recordings"] = []any{}
			data, err = json.MarshalIndent(record, "", "  ")
			check(err)
			check(os.WriteFile(file, data, 0o600))
		}
	},
}

// write invents a collection whose sessions are all over: the largest takes years.
func write(dir string, o demo.Options) {
	o.Start = time.Date(2001, 3, 5, 0, 0, 0, 0, time.UTC)
	_, err := demo.Write(dir, o)
	check(err)
}

const (
	edfSeconds = 690
	edfRate    = 900 // samples a second, of each of two signals: 2.5 MB a recording
)

// recordings writes a collection of EDF recordings of two signals.
func recordings(dir string, size int64, label, unit string, sample func(r *rand.Rand, second float64) int16) {
	each := int64(edfSeconds * edfRate * 2 * 2)
	n := int(max(1, size/each))
	write(dir, demo.Options{Subjects: n/3 + 1, Sessions: n, RecordingSeconds: 700, SampleHz: 1, NoEDF: true})
	records, err := filepath.Glob(filepath.Join(dir, "sessions", "*.json"))
	check(err)
	check(os.RemoveAll(filepath.Join(dir, "recordings")))
	check(os.Mkdir(filepath.Join(dir, "recordings"), 0o755))
	for i, file := range records {
		data, err := os.ReadFile(file)
		check(err)
		var record struct {
			Started    time.Time `json:"started_at"`
			Recordings []struct{ File string }
		}
		check(json.Unmarshal(data, &record))
		old := record.Recordings[0].File
		name := strings.TrimSuffix(filepath.Base(old), ".csv") + ".edf"
		data = bytes.Replace(data, []byte(old), []byte("recordings/"+name), 1)
		data = bytes.Replace(data, []byte(`"csv"`), []byte(`"edf"`), 1)
		check(os.WriteFile(file, data, 0o600))
		recording(filepath.Join(dir, "recordings", name), record.Started, label, unit,
			rand.New(rand.NewPCG(1, uint64(i))), sample)
	}
}

func recording(file string, started time.Time, label, unit string, r *rand.Rand, sample func(r *rand.Rand,
	second float64) int16) {
	signal := edf.Signal{Label: label, Dimension: unit, PhysMin: "-1", PhysMax: "10", DigMin: "-32768", DigMax: "32767",
		Samples: edfRate}
	second := signal
	second.Label, second.Dimension = "Pressure mouth", "Pa"
	h := &edf.Header{Patient: "X X X X", Recording: "Startdate X X X X", StartDate: started.Format("02.01.06"),
		StartTime: started.Format("15.04.05"),
		Records:   edfSeconds, RecordDuration: "1", Signals: []edf.Signal{signal, second}}
	data := make([][]byte, edfSeconds)
	for s := range data {
		data[s] = make([]byte, h.RecordSize())
		for k := range 2 * edfRate {
			binary.LittleEndian.PutUint16(data[s][2*k:], uint16(sample(r, float64(s)+float64(k%edfRate)/edfRate)))
		}
	}
	f, err := os.Create(file)
	check(err)
	w := bufio.NewWriter(f)
	check(edf.Write(w, h, data))
	check(w.Flush())
	check(f.Close())
}
