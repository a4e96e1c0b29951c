package edf

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// A Check says what the readers of a whole file say, however the bytes are cut.
func TestCheckAsReaders(t *testing.T) {
	h := specHeader()
	good := specFile(t, h, NewTAL("+1.5", "2", "cough", "talk"))
	files := [][]byte{good, good[:100], good[:300], good[:len(good)-1], append(bytes.Clone(good), 0), nil}
	for i := 0; i < len(good); i += 7 {
		bad := bytes.Clone(good)
		bad[i] ^= 0x15
		files = append(files, bad)
	}
	seeds, _ := filepath.Glob("testdata/fuzz/*/*")
	for _, name := range seeds {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(text)) {
			if quoted, ok := strings.CutPrefix(strings.TrimSpace(line), "[]byte("); ok {
				if data, err := strconv.Unquote(strings.TrimSuffix(quoted, ")")); err == nil {
					files = append(files, []byte(data))
				}
			}
		}
	}
	refused := 0
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SampledFrom(files).Draw(t, "file")
		c := NewCheck(int64(len(data)))
		for rest := data; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "n")
			c.Write(rest[:n])
			rest = rest[n:]
		}
		got := c.Close()
		want := func() error {
			h, err := ReadHeader(bytes.NewReader(data))
			if err == nil {
				err = h.Check(int64(len(data)))
			}
			if err == nil {
				err = WalkAnnotations(bytes.NewReader(data), h, func(int, int64, string) error { return nil })
			}
			return err
		}()
		if fmt.Sprint(got) != fmt.Sprint(want) { // the same field, byte and words
			t.Fatalf("the check says %v, the readers say %v", got, want)
		}
		if got != nil {
			refused++
		}
	})
	if refused == 0 {
		t.Error("nothing was refused")
	}
}

// A header that arrives in pieces is the header, whatever the pieces, and nothing of
// what follows it.
func TestHeadInPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anyHeader.Draw(t, "header").Encode()
		rest := append(bytes.Clone(want), "samples"...)
		var head Head
		for !head.Whole() {
			n := rapid.IntRange(1, len(rest)).Draw(t, "n")
			left := head.Add(rest[:n])
			rest = rest[n-len(left):]
		}
		if !bytes.Equal(head.Bytes(), want) || string(rest) != "samples" || string(head.Add(rest)) != "samples" {
			t.Fatalf("%d bytes of %d, and %d follow", len(head.Bytes()), len(want), len(rest))
		}
	})
	// the most signals that can be
	want := manySignals(4096).Encode()
	var head Head
	if rest := head.Add(append(bytes.Clone(want), "samples"...)); !bytes.Equal(head.Bytes(), want) ||
		string(rest) != "samples" {
		t.Errorf("%d bytes of %d", len(head.Bytes()), len(want))
	}
	// no signals that can be: there is no more to wait for
	for _, number := range []string{"0   ", "-1  ", "4097", "x   ", "    "} {
		var head Head
		head.Add([]byte(strings.Repeat(" ", 252) + number + "more"))
		if !head.Whole() || len(head.Bytes()) != 256 {
			t.Errorf("with %q signals %d bytes are waited for", number, len(head.Bytes()))
		}
	}
}
