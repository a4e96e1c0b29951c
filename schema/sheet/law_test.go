package sheet

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// TestWriteReadLaw writes any cells into a sheet and reads the same ones back.
func TestWriteReadLaw(t *testing.T) {
	text := rapid.OneOf(
		rapid.StringMatching(`(_x|_|005F|0041|[ \t\n"<&=+;,]|[a-zä€😀]){1,12}`),
		rapid.String(),
	)
	cell := rapid.Custom(func(t *rapid.T) Cell {
		switch rapid.SampledFrom([]Kind{Empty, Text, Number, Time, Bool}).Draw(t, "kind") {
		case Text:
			s := text.Filter(func(s string) bool {
				return s != "" && utf8.ValidString(s) && !hasControl(s) && !bytes.ContainsRune([]byte(s), '\r') &&
					!strings.ContainsRune(s, utf8.RuneError) && !twiceEncoded(s)
			}).Draw(t, "text")
			return Cell{Kind: Text, Text: s}
		case Number:
			return Cell{Kind: Number, Text: rapid.StringMatching(`-?[0-9]{1,18}(\.[0-9]{1,15})?`).Draw(t, "number")}
		case Time:
			first := time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC).Unix()
			last := time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC).Unix()
			at := time.Unix(rapid.Int64Range(first, last).Draw(t, "seconds"), 0).UTC()
			form := rapid.SampledFrom([]string{"2006-01-02T15:04:05", "2006-01-02", "15:04:05"}).Draw(t, "form")
			return Cell{Kind: Time, Text: at.Format(form)}
		case Bool:
			return Cell{Kind: Bool, Text: rapid.SampledFrom([]string{"TRUE", "FALSE"}).Draw(t, "bool")}
		}
		return Cell{}
	})
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.SliceOfN(cell, 0, 5), 0, 5).Draw(t, "rows")
		b := Book{Sheets: []Sheet{{Name: "log", Columns: []Column{{Heading: "a"}, {Heading: "b"}}, Rows: rows}}}
		var buf bytes.Buffer
		if err := Write(&buf, b); err != nil {
			t.Fatal(err)
		}
		tables, err := Read("log.xlsx", buf.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		got := map[int][]Cell{}
		for _, r := range tables[0].Rows[1:] {
			got[r.Number-2] = r.Cells
		}
		for i, want := range rows {
			for len(want) > 0 && want[len(want)-1] == (Cell{}) {
				want = want[:len(want)-1]
			}
			if d := cmp.Diff(append([]Cell{}, want...), append([]Cell{}, got[i]...)); d != "" {
				t.Fatalf("row %d: %s", i, d)
			}
		}
	})
}
