package bag

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestBagit(t *testing.T) {
	// RFC 8493, 2.1.1: exactly two lines.
	want := "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
	if got := string(FormatBagit()); got != want {
		t.Errorf("got %q", got)
	}
	for _, good := range []string{want, strings.ReplaceAll(want, "\n", "\r\n"), strings.ReplaceAll(want, "\n", "\r"),
		strings.TrimSuffix(want, "\n")} {
		if err := ParseBagit([]byte(good)); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
	for name, bad := range map[string]string{
		"empty":                             "",
		"bom-in-bagit.txt":                  "\ufeff" + want,
		"bagit-with-invalid-whitespace":     strings.Replace(want, ":", " :", 1),
		"two blanks":                        strings.Replace(want, ": ", ":  ", 1),
		"small v, as in samples of the RFC": strings.Replace(want, "-V", "-v", 1),
		"invalid-version-number":            strings.Replace(want, "1.0", "a.b", 1),
		"one line":                          "BagIt-Version: 1.0\n",
		"three lines":                       want + "Another: line\n",
		"an empty third line":               want + "\n",
		"other encoding":                    strings.Replace(want, "UTF-8", "UTF-16", 1),
		"cut short":                         want[:len(want)-2],
		"order of lines":                    "Tag-File-Character-Encoding: UTF-8\nBagIt-Version: 1.0\n",
		"trailing blank":                    strings.Replace(want, "1.0", "1.0 ", 1),
	} {
		var s *SyntaxError
		if err := ParseBagit([]byte(bad)); !errors.As(err, &s) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, version := range []string{"0.97", "1.1", "2.0", "1.00", "01.0"} {
		var v *VersionError
		if err := ParseBagit([]byte(strings.Replace(want, "1.0", version, 1))); !errors.As(err, &v) ||
			v.Version != version {
			t.Errorf("version %s: %v", version, err)
		}
	}
}

func TestInfo(t *testing.T) {
	// RFC 8493, 2.2.2: a long value goes on in the next line, which begins with
	// whitespace; labels may repeat and their order is kept.
	data := "Source-Organization: An Invented University\r\n" +
		"Contact-Name:\tA\nContact-Name: B\n" +
		"External-Description: first,\n   second: part,\n\tthird\n" +
		"Payload-Oxum: 279164409832.1198\nBag-Count: 1 of 15\n"
	got, err := parseInfo([]byte(data))
	if err != nil {
		t.Fatal(err)
	}
	want := []Field{
		{"Source-Organization", "An Invented University"},
		{"Contact-Name", "A"}, {"Contact-Name", "B"},
		{"External-Description", "first, second: part, third"},
		{"Payload-Oxum", "279164409832.1198"},
		{"Bag-Count", "1 of 15"},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	out, err := FormatInfo(want[:2])
	if err != nil || string(out) != "Source-Organization: An Invented University\nContact-Name: A\n" {
		t.Errorf("got %q, %v", out, err)
	}
}

func TestInfoRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		data string
		line int
	}{
		"empty":                  {"", 0},
		"first line goes on":     {" A: b\n", 1},
		"no colon":               {"A: b\nC\n", 2},
		"no value":               {"A:\n", 1},
		"no blank":               {"A:b\n", 1},
		"no label":               {": b\n", 1},
		"blank before the colon": {"A : b\n", 1},
		"empty line":             {"A: b\n\nC: d\n", 2},
		"control character":      {"A: b\nC: d\x00\n", 2},
		"not in the last line":   {"A: b\x00\nC: d\n", 1},
		"in a continuation":      {"A: b\nC: d\n e\x1b\n", 2},
		"not UTF-8":              {"A: \xff\n", 1},
		"two oxums":              {"Payload-Oxum: 1.1\npayload-oxum: 1.1\n", 0},
		"oxum of one number":     {"A: b\nPayload-Oxum: 12\n", 2},
		"negative oxum":          {"Payload-Oxum: -1.1\n", 1},
		"oxum with zeros":        {"Payload-Oxum: 01.1\n", 1},
		"oxum too large":         {"Payload-Oxum: 99999999999999999999.1\n", 1},
		"no line end":            {"A: b", 1},
	} {
		var s *SyntaxError
		if got, err := parseInfo([]byte(c.data)); !errors.As(err, &s) || s.Line != c.line {
			t.Errorf("%s: got %q, %v", name, got, err)
		}
	}
	for name, fields := range map[string][]Field{
		"none":      {},
		"line feed": {{"A", "b\nC: d"}}, "return": {{"A", "b\r"}}, "colon": {{"A:", "b"}}, "no label": {{"", "b"}},
		"blank": {{" A", "b"}}, "oxum": {{"Payload-Oxum", "b"}},
		"control character first": {{"A", "\x1b[2J"}}, "first in a label": {{"\x7fA", "b"}},
		"not UTF-8": {{"A", "\xff"}},
		"two oxums": {{"Payload-Oxum", "1.1"}, {"Payload-Oxum", "1.1"}},
	} {
		if got, err := FormatInfo(fields); err == nil {
			t.Errorf("%s: wrote %q", name, got)
		}
	}
}

func TestOxum(t *testing.T) {
	// Sample of RFC 8493, 2.2.2.
	if got := Oxum(279164409832, 1198); got != "279164409832.1198" {
		t.Error(got)
	}
	b, n, err := parseOxum("279164409832.1198")
	if b != 279164409832 || n != 1198 || err != nil {
		t.Error(b, n, err)
	}
	// RFC 8493, 2.2.2: a count of octets and one of files. A bag may have no payload, or empty files only.
	for _, c := range []struct {
		text         string
		bytes, files int64
	}{{"0.0", 0, 0}, {"0.3", 0, 3}} {
		if b, n, err := parseOxum(c.text); b != c.bytes || n != c.files || err != nil || Oxum(b, n) != c.text {
			t.Error(c.text, b, n, err)
		}
	}
	for _, bad := range []string{"-1.1", "1.-1", "", ".", "1", "1.", ".1", "1.2.3", "+1.2", "1. 2", "0x1.2", "1_0.2"} {
		if _, _, err := parseOxum(bad); err == nil {
			t.Errorf("%q taken", bad)
		}
	}
}

func TestInfoRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fields := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Field {
			return Field{
				rapid.StringMatching(`[A-Za-zé](|[A-Za-z -]{0,9}[a-z])`).Draw(t, "label"),
				rapid.StringMatching(`[^\x00-\x1f\x7f-\x9f]{0,30}`).Draw(t, "value"),
			}
		}), 1, 8).Draw(t, "fields")
		data, err := FormatInfo(fields)
		if err != nil {
			t.Fatal(err)
		}
		got, err := parseInfo(data)
		if err != nil {
			t.Fatalf("%v in %q", err, data)
		}
		if d := cmp.Diff(fields, got); d != "" {
			t.Fatal(d)
		}
	})
}

func FuzzParseInfo(f *testing.F) {
	f.Add([]byte("A: b\n c\r\nPayload-Oxum: 1.2\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		fields, err := parseInfo(data)
		if err != nil {
			return
		}
		out, err := FormatInfo(fields)
		if err != nil {
			t.Fatal(err)
		}
		again, err := parseInfo(out)
		if err != nil || cmp.Diff(fields, again) != "" {
			t.Fatalf("%q read back as %q, %v", fields, again, err)
		}
	})
}

// parseInfo reads a bag-info.txt (RFC 8493, 2.2.2). Lines that begin with a
// space or tab continue the value before, joined by one space. The error is a
// *SyntaxError.
func parseInfo(data []byte) ([]Field, error) {
	lines, err := splitLines(data)
	if err != nil {
		return nil, err
	}
	// Values are joined once they are whole: a file of nothing but continuation
	// lines must not take quadratic time.
	var fields []Field
	var value []string
	begin := 0
	end := func() error {
		if value == nil {
			return nil
		}
		f := &fields[len(fields)-1]
		f.Value = strings.Join(value, " ")
		value = nil
		if msg := f.check(); msg != "" {
			return &SyntaxError{begin, msg}
		}
		return nil
	}
	for i, line := range lines {
		if strings.HasPrefix(line, " ") || strings.HasPrefix(line, "\t") {
			if value == nil {
				return nil, &SyntaxError{i + 1, "continues a line, but is the first"}
			}
			value = append(value, strings.TrimLeft(line, " \t"))
			continue
		}
		if err := end(); err != nil {
			return nil, err
		}
		label, rest, ok := strings.Cut(line, ":")
		if !ok || rest == "" || rest[0] != ' ' && rest[0] != '\t' {
			return nil, &SyntaxError{i + 1, `is not a label, a colon, a space and a value`}
		}
		fields, value, begin = append(fields, Field{Label: label}), []string{rest[1:]}, i+1
	}
	if err := end(); err != nil {
		return nil, err
	}
	return fields, oneOxum(fields)
}
