package schema

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func parse(t *testing.T, text string) *Node {
	t.Helper()
	n, err := ParseJSON([]byte(text))
	if err != nil {
		t.Fatalf("%v", err)
	}
	return n
}

func TestParseJSONRefuses(t *testing.T) {
	const secret = "Quillon"
	for _, c := range []struct {
		name, text   string
		line, column int
		message      string
	}{
		{"empty", "", 1, 1, "holds no value"},
		{"blank", " \n ", 2, 2, "holds no value"},
		{"byte-order mark", "\ufeff{}", 1, 1, "byte-order mark"},
		{"UTF-16", "\xff\xfe{\x00}\x00", 1, 1, "not UTF-8"},
		{"Latin-1", "{\n  \"a\": \"Jos\xe9\"}", 2, 12, "not UTF-8"},
		{"surrogate in UTF-8", "[\"\xed\xa0\x80\"]", 1, 3, "not UTF-8"},
		{"overlong UTF-8", "[\"\xc0\x80\"]", 1, 3, "not UTF-8"},
		{"columns are characters", "[\"é€😀\", x]", 1, 9, "a value must begin here"},
		{"lines end in LF or CRLF", "{\r\n\"a\": 1,\r\n\"b\" 2}", 3, 5, "colon"},
		{"cut in an object", `{"a": 1`, 1, 8, "ends in the middle"},
		{"cut after a name", `{"a"`, 1, 5, "ends in the middle"},
		{"cut after a colon", `{"a":`, 1, 6, "ends in the middle"},
		{"cut after a brace", `{`, 1, 2, "ends in the middle"},
		{"cut in a list", `[1`, 1, 3, "ends in the middle"},
		{"cut after a comma", `[1,`, 1, 4, "ends in the middle"},
		{"cut in a text", `["` + secret, 1, 2, "no closing quotation mark"},
		{"cut in an escape", `["\`, 1, 3, "backslash"},
		{"equal names", "{\"a\": 1,\n \"b\": 2,\n \"\\u0061\": 3}", 3, 2, "twice in one object (first in line 1)"},
		{"equal names, deep", `{"x": {"` + secret + `": 1, "` + secret + `": 1}}`, 1, 22, "twice"},
		{"comma at the end of an object", `{"a": 1,}`, 1, 9, "comma too many"},
		{"comma at the end of a list", `[1,]`, 1, 4, "a value must begin here"},
		{"missing comma", "{\"a\": 1\n\"b\": 2}", 2, 1, "comma"},
		{"missing comma in a list", `[1 2]`, 1, 4, "comma"},
		{"single quotes", `{'a': 1}`, 1, 2, "field name in quotation marks"},
		{"name without quotes", `{a: 1}`, 1, 2, "field name in quotation marks"},
		{"comment", "// x\n{}", 1, 1, "a value must begin here"},
		{"wrong word", `[True]`, 1, 2, "a value must begin here"},
		{"NaN", `[NaN]`, 1, 2, "a value must begin here"},
		{"text after the end", "{}\n{}", 2, 1, "after the end"},
		{"word too long", "truer", 1, 5, "after the end"},
		{"leading zero", "[01]", 1, 2, "not valid JSON"},
		{"plus sign", "[+1]", 1, 2, "a value must begin here"},
		{"no digit before the point", "[.5]", 1, 2, "a value must begin here"},
		{"minus alone", "[-]", 1, 2, "not valid JSON"},
		{"no digit after the point", "[1.]", 1, 2, "decimal point"},
		{"no digit in the exponent", "[1e+]", 1, 2, "exponent sign"},
		{"four exponent digits", "[1e1000]", 1, 2, "more than three digits"},
		{"a number that stops exact arithmetic", "[1e10000000]", 1, 2, "more than three digits"},
		{"exponent of 309", "[1e-309]", 1, 2, "too large or too small"},
		{"larger than a double", "[10e308]", 1, 2, "too large or too small"},
		{"padded exponent", "[1e0001]", 1, 2, "more than three digits"},
		{"long number", "[" + strings.Repeat("1", 65) + "]", 1, 2, "longer than 64"},
		{"line break in a text", "[\"a\nb\"]", 1, 4, "control character"},
		{"tab in a text", "[\"a\tb\"]", 1, 4, "control character"},
		{"NUL in a text", "[\"\x00\"]", 1, 3, "control character"},
		{"unknown escape", `["C:\data"]`, 1, 5, "backslash"},
		{"short escape", `["\u12"]`, 1, 3, "four hexadecimal digits"},
		{"high half alone", `["\ud83d"]`, 1, 3, "half of a character"},
		{"high half, then a letter", `["\ud83dx"]`, 1, 3, "half of a character"},
		{"low half alone", `["\ude00"]`, 1, 3, "half of a character"},
		{"two high halves", `["\ud83d\ud83d"]`, 1, 3, "half of a character"},
		{"65 levels", strings.Repeat("[", 65) + strings.Repeat("]", 65), 1, 65, "more than 64"},
		{"10,000 levels", strings.Repeat("[", 10_000), 1, 65, "more than 64"},
		{"10,000 levels of objects", strings.Repeat(`{"a":`, 10_000), 1, 321, "more than 64"},
		{"too many values", "[" + strings.Repeat("0,", maxJSONValues) + "0]", 1, 2 * maxJSONValues,
			"more than 262,144 values"},
		{"too large", "[" + strings.Repeat(" ", maxJSONBytes), 1, 1, "larger than 16 MiB"},
	} {
		t.Run(c.name, func(t *testing.T) {
			n, err := ParseJSON([]byte(c.text))
			e, ok := err.(*SyntaxError)
			if !ok || n != nil {
				t.Fatalf("ParseJSON = %v, %v, want a *SyntaxError", n, err)
			}
			if e.Line != c.line || e.Column != c.column || !strings.Contains(e.Message, c.message) {
				t.Errorf("got %d:%d %q, want %d:%d ...%s...", e.Line, e.Column, e.Message, c.line, c.column, c.message)
			}
			if strings.Contains(e.Message, secret) {
				t.Errorf("the message repeats the text: %s", e.Message)
			}
		})
	}
}

func TestParseJSONPlaces(t *testing.T) {
	n := parse(t, "{\n  \"ä\": [1, -0.5e+12,\r\n\t\"\\ud83d\\ude00\\n\\/\"],\n  \"t\": true, \"f\": false, \"n\": "+
		"null }\n")
	want := &Node{Kind: Object, Line: 1, Column: 1, Members: []Member{
		{"ä", &Node{Kind: Array, Line: 2, Column: 8, Items: []*Node{
			{Kind: Number, Text: "1", Line: 2, Column: 9},
			{Kind: Number, Text: "-0.5e+12", Line: 2, Column: 12},
			{Kind: String, Text: "😀\n/", Line: 3, Column: 2},
		}}},
		{"t", &Node{Kind: Bool, Text: "true", Line: 4, Column: 8}},
		{"f", &Node{Kind: Bool, Text: "false", Line: 4, Column: 19}},
		{"n", &Node{Kind: Null, Line: 4, Column: 31}},
	}}
	if diff := cmp.Diff(want, n); diff != "" {
		t.Error(diff)
	}
	parse(t, strings.Repeat("[", 64)+strings.Repeat("]", 64))
	parse(t, "["+strings.Repeat("9", 64)+"]")
	parse(t, "[1e-308, 1E+308, 0e001]")
}

// Source: RFC 6901, section 5.
func TestAtRFC6901(t *testing.T) {
	n := parse(t, `{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " `+
		`": 7, "m~n": 8}`)
	for pointer, want := range map[string]string{
		"/foo/0": "bar", "/": "0", "/a~1b": "1", "/c%d": "2", "/e^f": "3", "/g|h": "4", `/i\j`: "5", `/k"l`: "6",
		"/ ": "7", "/m~0n": "8",
	} {
		if got := n.At(pointer); got == nil || got.Text != want {
			t.Errorf("At(%q) = %v, want %s", pointer, got, want)
		}
	}
	if n.At("") != n || n.At("/foo") != n.Member("foo") {
		t.Error("At does not return the whole or the list")
	}
	for _, pointer := range []string{"foo", "/bar", "/foo/2", "/foo/-", "/foo/00", "/foo/+1", "/foo/-1", "/foo/0/x",
		"/m~n", "/m~2n", "/foo/x", "//x"} {
		if got := n.At(pointer); got != nil {
			t.Errorf("At(%q) = %v, want nil", pointer, got)
		}
	}
}

func TestEncode(t *testing.T) {
	n := parse(t, `{"z":1.50,"a":[],"o":{},"s":"é\u0000\u001f\u007f\u0085\u2028\u2029\b\f\n\r\t\"\\\/😀<","l":[true,null,[1]]}`)
	want := `{
  "z": 1.50,
  "a": [],
  "o": {},
  "s": "é\u0000\u001f\u007f\u0085\u2028\u2029\u0008\u000c\n\r\t\"\\/😀<",
  "l": [
    true,
    null,
    [
      1
    ]
  ]
}
`
	if got := string(n.Encode()); got != want {
		t.Errorf("got %s", got)
	}
}

// node draws any JSON value.
func node(depth int) *rapid.Generator[*Node] {
	return rapid.Custom(func(t *rapid.T) *Node {
		kinds := []Kind{Null, Bool, Number, String}
		if depth > 0 {
			kinds = append(kinds, Object, Array)
		}
		n := &Node{Kind: rapid.SampledFrom(kinds).Draw(t, "kind")}
		switch n.Kind {
		case Bool:
			n.Text = fmt.Sprint(rapid.Bool().Draw(t, "bool"))
		case Number:
			n.Text = rapid.StringMatching(`-?(0|[1-9][0-9]{0,20})(\.[0-9]{1,20})?([eE][-+]?[0-2]?[0-8]{1,2})?`).Draw(t,
				"number")
		case String:
			n.Text = rapid.String().Draw(t, "text")
		case Array:
			n.Items = rapid.SliceOfN(node(depth-1), 0, 4).Draw(t, "items")
			if len(n.Items) == 0 {
				n.Items = nil
			}
		case Object:
			for _, name := range rapid.SliceOfNDistinct(rapid.String(), 0, 4, rapid.ID).Draw(t, "names") {
				n.Members = append(n.Members, Member{name, node(depth-1).Draw(t, "value")})
			}
		}
		return n
	})
}

// unplaced compares values and ignores their places.
var unplaced = cmp.FilterPath(func(p cmp.Path) bool {
	return p.Last().String() == ".Line" ||
		p.Last().String() == ".Column"
}, cmp.Ignore())

func TestEncodeParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := node(4).Draw(t, "node")
		text := n.Encode()
		back, err := ParseJSON(text)
		if err != nil {
			t.Fatalf("what Encode writes is refused: %v\n%s", err, text)
		}
		if diff := cmp.Diff(n, back, unplaced); diff != "" {
			t.Fatal(diff)
		}
		if !bytes.Equal(back.Encode(), text) {
			t.Fatal("equal nodes gave different bytes")
		}
		if diff := cmp.Diff(standard(t, text), back.Value()); diff != "" {
			t.Fatal(diff)
		}
	})
}

type fataler interface{ Fatalf(string, ...any) }

// standard reads a JSON text with encoding/json.
func standard(t fataler, text []byte) any {
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		t.Fatalf("encoding/json refuses: %v", err)
	}
	if d.More() {
		t.Fatalf("encoding/json reads more after the value")
	}
	return v
}

// FuzzParseJSON holds what we accept against encoding/json.
func FuzzParseJSON(f *testing.F) {
	for _, s := range []string{
		``, `{}`, `[1, -0.5e+12, "\ud83d\ude00"]`, `{"a": {"b": [true, false, null]}}`, "\ufeff{}", `{"a":1,"a":2}`,
		`["\ud800"]`, "[\"\xff\"]", `1e1000`, "{\r\n\t\"x\" : \"\u2028\" }", string(sessionSchema),
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		n, err := ParseJSON(data)
		if err != nil {
			e := err.(*SyntaxError)
			lines := bytes.Split(data, []byte("\n"))
			if e.Line < 1 || e.Line > len(lines) || e.Column < 1 || e.Column > len(lines[e.Line-1])+1 {
				t.Fatalf("the error is at %d:%d, outside the text", e.Line, e.Column)
			}
			return
		}
		if diff := cmp.Diff(standard(t, data), n.Value()); diff != "" {
			t.Fatal(diff)
		}
		back, err := ParseJSON(n.Encode())
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(n, back, unplaced); diff != "" {
			t.Fatal(diff)
		}
	})
}
