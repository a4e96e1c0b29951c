package leak

import (
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"mime/quotedprintable"
	"net/url"
	"outbreath/schema"
	"strings"
	"testing"
)

// Values of the roster in the encodings that Go's own packages write, between
// words and alone.
func TestEscapes(t *testing.T) {
	quoted := func(v string) string {
		var b strings.Builder
		w := quotedprintable.NewWriter(&b)
		w.Write([]byte(v))
		w.Close()
		return b.String()
	}
	every := func(form string) func(string) string {
		return func(v string) string {
			var b strings.Builder
			for _, r := range v {
				fmt.Fprintf(&b, form, r)
			}
			return b.String()
		}
	}
	bytewise := func(v string) string {
		var b strings.Builder
		for i := range len(v) {
			fmt.Fprintf(&b, "%%%02X", v[i])
		}
		return b.String()
	}
	ways := map[string]func(string) string{
		"path": url.PathEscape, "query": url.QueryEscape, "all bytes": bytewise, "quoted-printable": quoted,
		"hex": func(v string) string { return hex.EncodeToString([]byte(v)) },
		"HEX": func(v string) string { return "0x" + strings.ToUpper(hex.EncodeToString([]byte(v))) },
		"u":   every(`\u%04x`), "decimal": every("&#%d;"), "hexadecimal": every("&#x%X;"),
		"base64": func(v string) string { return base64.StdEncoding.EncodeToString([]byte(v)) },
	}
	n := 0
	for _, v := range []string{"Grünwald", "Anne-Sophie Grünwald", "30417788", "as.gruenwald@example.org",
		"Torvald Øvregård", "LK-0107"} {
		for way, f := range ways {
			for _, text := range []string{f(v), "link " + f(v) + " sent", "(" + f(v) + ")"} {
				n++
				ms := scan().Scan(text, nil)
				checkMatches(t, text, ms)
				if len(ms) == 0 || !strings.HasPrefix(ms[0].Basis, "roster") {
					t.Errorf("%s of %q: %+v in %q", way, v, ms, text)
				}
			}
		}
	}
	if n != 180 {
		t.Errorf("%d texts", n)
	}
	for _, text := range []string{"45%25 of it", "a=20b", "CO2 5%=AB", `C:\users\u0041`, "Tom &amp; co", "&#60;b&#62;",
		"5353729064", "0x80070005", "deadbeef4a4b4c4d", "T_s%20co2", "%%%%====\\\\&&&&"} {
		for _, m := range scan().Scan(text, nil) {
			t.Errorf("%q: %s (%s)", text, m.Basis, m.Confidence)
		}
	}
}

// Quoted-printable text whose lines are cut in the middle of a name.
func TestSoftLineBreak(t *testing.T) {
	text := "seen by =\nnobody, Gr=C3=BC=\r\nnwald rested"
	ms := scan().Scan(text, nil)
	if len(ms) != 1 || text[ms[0].Start:ms[0].End] != "Gr=C3=BC=\r\nnwald" {
		t.Errorf("%+v", ms)
	}
}

// What is decoded is judged as the text that holds it is, whatever was searched before:
// an everyday word is a name in a field alone.
func TestEncodedAsItsText(t *testing.T) {
	s := New(&schema.Roster{Columns: []string{"family_name", "mrn"},
		Rows: []map[string]string{{"family_name": "Garden", "mrn": "30417788"}}})
	for range 50 { // pages are used again
		if ms := s.ScanField("in the%20garden", nil); len(ms) == 0 {
			t.Fatal("not found in a field")
		}
		if ms := s.Scan("a walk in the%20garden%20path did the subject good, again", nil); len(ms) > 0 {
			t.Fatalf("found in prose: %v", ms)
		}
	}
}
