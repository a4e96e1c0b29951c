package pack

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A folder with more files than are listed lacks none of the shipment's.
func TestCrowdedFolder(t *testing.T) {
	b := newBench(t)
	dir := forge(t, b).write(t, b)
	for i := range 2 * maxFolder {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%d.tmp", i)), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	v := b.mustVerify(t, dir)
	rejectedAt(t, v, checkFinished)
	if last := v.Checks[len(v.Checks)-1]; strings.Contains(last.Detail, "missing") {
		t.Errorf("said %q", last.Detail)
	}
}

// A label whose day is still to come is told, and spoils nothing: a clock is wrong, and
// it may be the one here.
func TestSealedInFuture(t *testing.T) {
	b := newBench(t)
	dir, _ := b.mustSeal(t, sample(t, 1, 100)) // on sealDay
	for before, told := range map[time.Duration]bool{-48 * time.Hour: false, 0: false, 24 * time.Hour: false,
		25 * time.Hour: true, 24 * 365 * time.Hour: true} {
		o := b.verifyOptions()
		o.Now = sealDay.Add(-before)
		v, err := Verify(context.Background(), dir, o)
		if err != nil || v.Decision != Accepted {
			t.Fatal(v, err)
		}
		said := ""
		for _, c := range v.Checks {
			if c.Name == checkLabel {
				said = c.Detail
			}
		}
		if strings.Contains(said, "CAUTION: by this computer's clock that day is still to come (it is "+
			o.Now.Format(time.DateOnly)+" UTC)") != told {
			t.Errorf("%v before: %s", before, said)
		}
	}
}
