package deid

import (
	"io"
	"testing"

	"outbreath/schema/costtest"
	"outbreath/schema/demo"
)

// BenchmarkRecording reads one recording as it is sealed: grammar, figures and,
// for EDF, the header made anonymous and every annotation searched. What it
// gives as cpu-MB/s is bytes by processor time, which holds on a busy machine.
func BenchmarkRecording(b *testing.B) {
	dir, _ := invented(b, demo.Options{Subjects: 1, Sessions: 2, RecordingSeconds: 700, SampleHz: 1000})
	d := treat(b, load(b, dir))
	buf := make([]byte, 256<<10)
	for _, format := range []string{"csv", "edf"} {
		b.Run(format, func(b *testing.B) {
			r := first(b, d, format)
			b.SetBytes(r.Size)
			b.ReportAllocs()
			before := costtest.Processor()
			for b.Loop() {
				in, err := d.reader(r, nil)
				if err != nil {
					b.Fatal(err)
				}
				if n, err := io.CopyBuffer(io.Discard, struct{ io.Reader }{in}, buf); err != nil || n != r.Size {
					b.Fatal(n, err)
				}
				in.Close()
			}
			b.ReportMetric(float64(r.Size)*float64(b.N)/1e6/(costtest.Processor()-before).Seconds(), "cpu-MB/s")
		})
	}
}
