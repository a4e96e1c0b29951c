package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode"

	"pgregory.net/rapid"
)

// What is printed as JSON holds nothing that steers a terminal, and means the same.
func TestJSONEscapes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := strings.ToValidUTF8(rapid.String().Draw(t, "text"), "?") + rapid.SampledFrom([]string{"", "\u009b2J",
			"\u202egpj", "\u0085", "\u200f", "\u2066", "\x7f", "\ufeff", "\U000e0041"}).Draw(t, "mark")
		for _, indent := range []string{"", "  "} {
			var b bytes.Buffer
			if err := writeJSON(&b, map[string]string{"a": text, text: "b"}, indent); err != nil {
				t.Fatal(err)
			}
			if i := strings.IndexFunc(b.String(), func(r rune) bool {
				return r != '\n' && (unicode.IsControl(r) ||
					unicode.Is(unicode.Cf, r))
			}); i >= 0 {
				t.Errorf("%q is not escaped in %q", b.String()[i:], b.String())
			}
			var back map[string]string
			if err := json.Unmarshal(b.Bytes(), &back); err != nil || back["a"] != text && text != "a" {
				t.Errorf("%q came back as %q (%v)", text, back["a"], err)
			}
		}
	})
}

// A name with a line feed forges no line.
func TestForgedLines(t *testing.T) {
	var b strings.Builder
	table(&b, [][]string{{"WEIR-0001", "x\nWEIR-0002  accepted\ty\u2028z"}})
	if strings.Count(b.String(), "\n") != 1 || strings.ContainsAny(b.String(), "\t\u2028") {
		t.Errorf("%q", b.String())
	}
}
