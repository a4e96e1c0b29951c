package sessionlog

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"outbreath/schema/costtest"
	"outbreath/schema/sheet"
)

// TestLargeLog: the largest tables cost seconds of one processor at most, whatever is in
// them. Half a million cells is the bound of package sheet.
func TestLargeLog(t *testing.T) {
	fields := []string{"session id", "operator", "subject id", "birth date", "sex", "date", "start", "end", "outcome"}
	var wide []string
	for i := range 99 {
		wide = append(wide, fmt.Sprintf("volume %d", i+1), fmt.Sprintf("barcode %d", i+1),
			fmt.Sprintf("uncapped %d", i+1))
	}
	for _, c := range []struct {
		name string
		head []string
		rows int
		cell func(row, col int) string
	}{
		{"long", fields, sheet.MaxRows - 1, func(row, col int) string {
			return []string{fmt.Sprint("V", row), "op", fmt.Sprint("W", row), "1970-01-31", "f", "02/03/2026",
				"09:00", "09:10",
				"complete"}[col]
		}},
		{"wide", append(fields[:9:9], wide...), 500, func(row, col int) string { return "1,234" }},
		{"unknown", strings.Fields(strings.Repeat("zzz ", 490)), 1000, func(row, col int) string {
			return "tube " +
				"volume A"
		}},
		{"no headings", strings.Fields(strings.Repeat("tube barcode 1 ", 160)), 1000, func(row, col int) string {
			return fmt.Sprintf("a b %d c d %d", row, col)
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows := [][]string{c.head}
			for i := range c.rows {
				row := make([]string, len(c.head))
				for j := range row {
					row[j] = c.cell(i, j)
				}
				rows = append(rows, row)
			}
			tables := oneTable(rows)
			in := inputs(t)
			var r *Reading
			took := costtest.Of(func() { r = Read(tables, in, nil) })
			t.Logf("%d cells: %v, %d doubts, %d problems", len(c.head)*c.rows, took.Round(time.Millisecond),
				len(r.Doubts),
				len(r.Problems))
			if took > 10*time.Second {
				t.Errorf("took %v", took)
			}
		})
	}
}
