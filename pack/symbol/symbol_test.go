package symbol

import (
	"strings"
	"testing"
)

// TestCode128 compares with widths worked out by hand from ISO/IEC 15417 (from
// memory): start, characters and check have 11 modules each, stop 13; in set C two
// digits are one character.
func TestCode128(t *testing.T) {
	for _, c := range []struct {
		text    string
		symbols int // start, data and check
	}{{"A", 3}, {"LK-", 5}, {"0123456789", 7}} {
		s, err := Code128(c.text)
		if err != nil {
			t.Fatal(err)
		}
		if want := 11*c.symbols + 13 + 2*quietCode128; s.Width != want || s.Height != 1 {
			t.Errorf("%s: %d x %d modules, want %d x 1", c.text, s.Width, s.Height, want)
		}
		// Every start character begins with a bar of two modules and the stop ends
		// with one, inside the quiet zones.
		if !strings.HasPrefix(s.Path, "M10 0h2v1h-2z") || !strings.HasSuffix(s.Path, "h2v1h-2z") {
			t.Errorf("%s: %s", c.text, s.Path)
		}
	}
	for _, text := range []string{"", strings.Repeat("x", 81), "Röhrchen", "a\tb", "a\u00f1b", "a\x7fb"} {
		if _, err := Code128(text); err == nil {
			t.Errorf("%q was drawn", text)
		}
	}
}

// TestQR: size and finder pattern of ISO/IEC 18004 (from memory): version 4 has 33
// modules a side, and at level M it holds 90 alphanumeric characters.
func TestQR(t *testing.T) {
	s, err := QR("OUTBREATH1 WEIR-0001 " + strings.Repeat("0F", 32))
	if err != nil {
		t.Fatal(err)
	}
	if s.Width != 33+2*quietQR || s.Height != s.Width {
		t.Errorf("%d x %d modules", s.Width, s.Height)
	}
	if !strings.HasPrefix(s.Path, "M4 4h7v1h-7z") {
		t.Errorf("no finder pattern in the corner: %.40s", s.Path)
	}
	if _, err := QR(strings.Repeat("x", 4000)); err == nil {
		t.Error("4000 characters were drawn")
	}
}
