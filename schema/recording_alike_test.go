package schema

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Rows of few looks, one byte of which may be another: what is proved eight bytes
// at a time must be what an independent reader accepts, with the same numbers.
func TestCSVAlikeAgreesWithIndependentReader(t *testing.T) {
	passed := 0
	rapid.Check(t, func(t *rapid.T) {
		columns := rapid.SampledFrom([][]Column{DefaultColumns(),
			{{Name: "t", Min: -5, Max: 2000, Rising: true}, {Name: "b", Min: -3.5, Max: 99.25}}}).Draw(t, "columns")
		var names []string
		looks := make([]string, len(columns))
		for k, c := range columns {
			names = append(names, c.Name)
			looks[k] = rapid.SampledFrom([]string{"%.0f", "%.1f", "%.2f", "%.2f", "%.4f", "%05.1f"}).Draw(t, "look")
		}
		end := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "end")
		var text strings.Builder
		text.WriteString(strings.Join(names, ",") + end)
		v := []float64{rapid.Float64Range(-6, 120).Draw(t, "start"), 1, -20}
		step := rapid.SampledFrom([]float64{0.004, 0.01, 1, 7}).Draw(t, "step")
		for range rapid.IntRange(1, 60).Draw(t, "rows") {
			for k := range columns {
				if k > 0 {
					text.WriteByte(',')
				}
				fmt.Fprintf(&text, looks[k], v[k])
			}
			text.WriteString(end)
			v[0] += step
			v[1] += float64(rapid.IntRange(-60, 60).Draw(t, "b")) / 100
			v[2] += float64(rapid.IntRange(-60, 90).Draw(t, "c")) / 10
		}
		all := []byte(text.String())
		if rapid.IntRange(0, 2).Draw(t, "bent") == 0 {
			at := rapid.IntRange(0, len(all)-1).Draw(t, "at")
			if rapid.Bool().Draw(t, "bit") {
				all[at] ^= 1 << rapid.IntRange(0, 7).Draw(t, "which")
			} else {
				all[at] = rapid.SampledFrom([]byte("0159-+.,:/\n\r e\x80\xff")).Draw(t, "byte")
			}
		}
		if agree(t, string(all), columns) {
			passed++
		}
	})
	t.Logf("%d recordings were accepted", passed)
	if passed < 5 {
		t.Errorf("only %d recordings were accepted: the test shows nothing", passed)
	}
}
