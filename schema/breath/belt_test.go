package breath

import (
	"os"
	"strconv"
	"strings"
	"testing"
)

// external holds recordings of other projects; SOURCES.md there names them.
const external = "../../../shared/external/"

func numbers(t *testing.T, text string) (out []float64) {
	t.Helper()
	for _, s := range strings.Fields(text) {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// The waves of a respiration belt, against a count by eye (testdata/README.md).
// Every wave that is counted must hold one of the peaks seen; up to four of 136,
// which are lower than 30 % of their neighbours or joined to one, may be missed.
func TestBelt(t *testing.T) {
	seen, err := os.ReadFile("testdata/belt.txt")
	if err != nil {
		t.Fatal(err)
	}
	peaks := numbers(t, string(seen))
	if len(peaks) != 136 {
		t.Fatalf("%d peaks were seen, the README says 136", len(peaks))
	}
	text, err := os.ReadFile(external + "csv/peakdet/RESP.csv")
	if err != nil {
		t.Skip("the recordings of other projects (shared/external/csv) are not here")
	}
	w := waves{floor: 100} // of about 2,000 from lowest to highest
	waves, missed := 0, 0
	for i, v := range numbers(t, string(text)) {
		if i%2 == 1 || !w.add(float64(i)/40, v) {
			continue
		}
		waves++
		within := 0
		for len(peaks) > 0 && peaks[0] < float64(i) {
			peaks, within = peaks[1:], within+1
		}
		if within == 0 {
			t.Errorf("the wave that ends at sample %d has no peak", i)
		}
		missed += within - 1
	}
	missed += len(peaks)
	if missed > 4 || waves+missed != 136 {
		t.Errorf("%d waves, %d peaks missed", waves, missed)
	}
	t.Logf("%d waves, %d peaks missed", waves, missed)
}
