package sampler

import (
	"bytes"
	"io"
	"runtime"
	"strings"
	"testing"

	"outbreath/schema/costtest"
)

// hostile are files that cost much to read, or try to.
var hostile = map[string][]byte{
	"one endless line":     bytes.Repeat([]byte("1;"), 4<<20),
	"many columns":         bytes.Repeat([]byte(strings.Repeat("1,", 499)+"1\n"), 4000),
	"many columns, clocks": bytes.Repeat([]byte(strings.Repeat("10:10:10;", 480)+"1\n"), 2000),
	"too many columns":     bytes.Repeat([]byte(strings.Repeat("1,", 600)+"1\n"), 4000),
	"empty lines":          bytes.Repeat([]byte("\n"), 8<<20),
	"empty cells":          bytes.Repeat([]byte(strings.Repeat(",", 499)+"\n"), 10_000),
	"open quotation marks": bytes.Repeat([]byte(strings.Repeat("\"1,", 400)+"\n"), 4000),
	"keys":                 append(bytes.Repeat([]byte("name: x\n"), 1<<20), "t_s,co2_kpa\n0,1\n1,2\n"...),
	"remarks":              append([]byte("t_s,co2_kpa\n0,1\n"), bytes.Repeat([]byte("#\n"), 4<<20)...),
	"zeros":                make([]byte, 8<<20),
	"long numbers":         bytes.Repeat([]byte(strings.Repeat("9", 39)+"e9,1\n"), 100_000),
	"UTF-16 of one half":   append([]byte("\xFF\xFE"), bytes.Repeat([]byte("\xD8\xD8"), 1<<20)...),
}

// TestHostileTables: no content takes more memory than a few times what is looked at,
// or much time: 100 units are about two seconds on a machine of 2020 (costtest).
func TestHostileTables(t *testing.T) {
	for name, data := range hostile {
		t.Run(name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			costtest.Within(t, 100, func() {
				p, _, err := Propose("a.txt", data[:min(len(data), HeadSize)])
				Look("a.txt", bytes.NewReader(data), nil)
				if err == nil {
					p.Fits(data)
					Convert(io.Discard, bytes.NewReader(data), p, GasPressure{KPa: 100})
				}
			})
			runtime.ReadMemStats(&after)
			if took := after.TotalAlloc - before.TotalAlloc; took > 150<<20 {
				t.Errorf("%d bytes are allocated in all", took)
			}
		})
	}
}
