package pack

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
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
