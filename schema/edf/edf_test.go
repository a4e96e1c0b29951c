package edf

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// sampleFiles returns the recordings that other projects wrote (MNE-Python,
// edfio; see SOURCES.md beside them), by their path.
func sampleFiles(t testing.TB) map[string][]byte {
	t.Helper()
	names, _ := filepath.Glob("../../../shared/external/edf/*/*.edf")
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

func TestOtherPeoplesFilesComeBack(t *testing.T) {
	for name, b := range sampleFiles(t) {
		h, err := ReadHeader(bytes.NewReader(b))
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
		err = WalkAnnotations(bytes.NewReader(b), h, func(int, int64, string) error { n++; return nil })
		t.Log(name, n, err)
	}
}
