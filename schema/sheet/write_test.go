package sheet

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
)

func ptr(v float64) *float64 { return &v }

// sampleBook has a column of every sort.
func sampleBook() Book {
	long := make([]string, 60)
	for i := range long {
		long[i] = "choice number " + strings.Repeat("x", i)
	}
	return Book{
		Sheets: []Sheet{
			{Name: "sessions", Columns: []Column{
				{Heading: "session_id", Comment: "one line a session", Width: 14},
				{Heading: "height, cm", Format: AsNumber,
					Check: &Check{Min: ptr(40), Max: ptr(250), Message: "40 to 250 cm"}},
				{Heading: "sex", Choices: []string{"female", "male", "unknown"}},
				{Heading: "site", Choices: long},
				{Heading: "note", Check: &Check{MaxLen: 200}},
				{Heading: "started_at"},
			}, Rows: [][]Cell{
				{{Kind: Text, Text: "0007"}, {Kind: Number, Text: "181.5"}, {Kind: Text, Text: "female"}, {},
					{Kind: Text, Text: " two\nlines, _x0041_ <&> \"ü\" 😀 "},
					{Kind: Time, Text: "2026-03-14T09:10:00"}},
				{{Kind: Text, Text: "=1+1"}, {Kind: Number, Text: "47400000000"}, {}, {},
					{Kind: Bool, Text: "TRUE"},
					{Kind: Time, Text: "1961-02-03"}},
				{{Kind: Text, Text: "4.74E+10"}, {Kind: Number, Text: "-0.25"}, {}, {}, {},
					{Kind: Time, Text: "23:59:59"}},
			}},
			{Name: "tubes", Columns: []Column{{Heading: "session_id"}, {Heading: "barcode"}}},
		},
		Pages: []Page{{Name: "explained", Widths: []float64{20, 80},
			Lines: []Line{{Heading: true, Texts: []string{"column", "what it means"}},
				{Texts: []string{"sex", "as in the roster"}}}}},
	}
}

func write(t testing.TB, b Book) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := Write(&buf, b); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func TestWriteReadsBack(t *testing.T) {
	b := sampleBook()
	tables, err := Read("session-log.xlsx", write(t, b))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, table := range tables {
		names = append(names, table.Name)
		if table.Hidden != (table.Name == ListsName) {
			t.Errorf("sheet %s: hidden is %v", table.Name, table.Hidden)
		}
	}
	if d := cmp.Diff([]string{"sessions", "tubes", "explained", "lists"}, names); d != "" {
		t.Errorf("sheets: %s", d)
	}
	for i, row := range b.Sheets[0].Rows {
		got := tables[0].Rows[i+1]
		for len(row) > 0 && row[len(row)-1] == (Cell{}) {
			row = row[:len(row)-1]
		}
		if d := cmp.Diff(row, got.Cells); d != "" || got.Number != i+2 {
			t.Errorf("row %d: %s", got.Number, d)
		}
	}
}

func TestWriteIsDeterministic(t *testing.T) {
	first := write(t, sampleBook())
	for range 5 {
		if !bytes.Equal(first, write(t, sampleBook())) {
			t.Fatal("equal books gave different bytes")
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	for name, c := range map[string]Cell{
		"control":   {Kind: Text, Text: "a\x01"},
		"too long":  {Kind: Text, Text: strings.Repeat("x", MaxCell+1)},
		"not UTF-8": {Kind: Text, Text: "\xFF"},
		"return":    {Kind: Text, Text: "a\rb"},
		"no number": {Kind: Number, Text: "NaN"},
		"no time":   {Kind: Time, Text: "14.03.2026"},
		"too early": {Kind: Time, Text: "1899-03-14"},
		"fault":     {Kind: Fault, Text: "#N/A"},
	} {
		var buf bytes.Buffer
		b := Book{Sheets: []Sheet{{Name: "s", Columns: []Column{{Heading: "a"}}, Rows: [][]Cell{{c}}}}}
		if err := Write(&buf, b); err == nil || buf.Len() > 0 {
			t.Errorf("%s: written, error %v", name, err)
		}
	}
	two := Book{Sheets: []Sheet{{Name: "s"}, {Name: "S"}}}
	if err := Write(&bytes.Buffer{}, two); err == nil {
		t.Error("two sheets of one name were written")
	}
}

// TestPassword reads a workbook that excelize has put under a password.
func TestPassword(t *testing.T) {
	f := excelize.NewFile()
	var buf bytes.Buffer
	if _, err := f.WriteTo(&buf, excelize.Options{Password: "week 48"}); err != nil {
		t.Fatal(err)
	}
	_, err := Read("log.xlsx", buf.Bytes())
	if err == nil || !strings.Contains(err.Error(), "is protected by a password") {
		t.Errorf("%v", err)
	}
}
