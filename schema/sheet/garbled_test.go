package sheet

import (
	"bytes"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
)

// TestGarbled: letters that went through a wrong encoding are refused with their line, and
// those that look odd and are right are read.
func TestGarbled(t *testing.T) {
	twice := func(s string) string { // as UTF-8 that was read as Windows-1252
		out, err := charmap.Windows1252.NewDecoder().String(s)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	coded := func(m *charmap.Charmap, s string) string {
		out, err := m.NewEncoder().String(s)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	for name, c := range map[string]struct{ value, refused string }{
		"twice, u umlaut":            {twice("Kröpel"), "read in another"},
		"twice, sharp s":             {twice("Groß"), "read in another"},
		"twice, degrees":             {twice("22 °C"), "read in another"},
		"twice, a dash":              {twice("8 – 9"), "read in another"},
		"twice, an s with a caron":   {twice("Vašek"), "read in another"},
		"twice, Spanish":             {twice("Muñoz"), "read in another"},
		"lost letter":                {"M\uFFFDller", "letter was lost"},
		"Mac, u umlaut":              {coded(charmap.Macintosh, "Drümmel"), "several encodings"},
		"Mac, o umlaut":              {coded(charmap.Macintosh, "Jörvina"), "several encodings"},
		"Mac, e acute":               {coded(charmap.Macintosh, "Renée"), "several encodings"},
		"Mac, i acute":               {coded(charmap.Macintosh, "García"), "several encodings"},
		"Mac, n tilde":               {coded(charmap.Macintosh, "Muñoz"), "several encodings"},
		"Mac, sharp s":               {coded(charmap.Macintosh, "Großer"), "several encodings"},
		"Mac, degrees":               {coded(charmap.Macintosh, "room (°C)"), "several encodings"},
		"Central Europe":             {coded(charmap.Windows1250, "Vašek Dvořák"), "several encodings"},
		"Windows-1252, umlauts":      {coded(charmap.Windows1252, "Jörvina Müllenthal, Groß"), ""},
		"Windows-1252, French":       {coded(charmap.Windows1252, "Renée François, l’été"), ""},
		"Windows-1252, Spanish":      {coded(charmap.Windows1252, "¿Muñoz? ¡Sí!"), ""},
		"Windows-1252, apostrophe":   {coded(charmap.Windows1252, "O’Brien doesn’t – “quoted”…"), ""},
		"Windows-1252, degrees":      {coded(charmap.Windows1252, "22 °C"), ""},
		"Windows-1252, two surnames": {coded(charmap.Windows1252, "Müller–Meier"), ""},
		"capitals and a mark":        {"„MENÜ“ TRÄ“ É’", ""},
		"French marks":               {"« café » l’à-côté", ""},
		"Greek and Polish":           {"Παπά Łódź Ångström Århus", ""},
	} {
		_, err := Read("log.csv", []byte("name;n\nplain;1\n"+c.value+";2\n"))
		if (err != nil) != (c.refused != "") {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if err != nil && (!strings.Contains(err.Error(), c.refused) || !strings.Contains(err.Error(), "line 3: ")) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, value := range []string{twice("Müllenthal"), "M\uFFFDller"} {
		var b bytes.Buffer
		if err := Write(&b, Book{Sheets: []Sheet{{Name: "roster", Columns: []Column{{Heading: "a"}},
			Rows: [][]Cell{{{Kind: Text, Text: value}}}}}}); err != nil {
			t.Fatal(err)
		}
		_, err := Read("log.xlsx", b.Bytes())
		if err == nil || !strings.Contains(err.Error(), "sheet roster, cell A2") {
			t.Errorf("workbook: %v", err)
		}
	}
}

// TestStruck: crossed out by the font of the cell, or by that of a part of its text.
func TestStruck(t *testing.T) {
	f := excelize.NewFile()
	strike, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Strike: true}})
	if err != nil {
		t.Fatal(err)
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		t.Fatal(err)
	}
	set := func(cell string, v any, style int) {
		if err := f.SetCellValue("Sheet1", cell, v); err != nil {
			t.Fatal(err)
		}
		if err := f.SetCellStyle("Sheet1", cell, cell, style); err != nil {
			t.Fatal(err)
		}
	}
	set("A1", "heading", bold)
	set("B1", "other", bold)
	set("A2", "gone", strike)
	set("B2", 5, strike)
	set("A3", "stays", 0)
	set("B3", 7, strike)
	if err := f.SetCellRichText("Sheet1", "A4", []excelize.RichTextRun{{Text: "was "},
		{Text: "old", Font: &excelize.Font{Strike: true}}}); err != nil {
		t.Fatal(err)
	}
	set("D5", nil, strike)
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	tables, err := Read("log.xlsx", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for i := range tables[0].Rows {
		row := &tables[0].Rows[i]
		for col, c := range row.Cells {
			if c.Struck {
				got = append(got, tables[0].Ref(i, col))
			}
		}
		if row.Struck() {
			got = append(got, "whole row")
		}
	}
	const want = "sheet Sheet1, cell A2|sheet Sheet1, cell B2|whole row|sheet Sheet1, cell B3|sheet Sheet1, cell A4|whole row"
	if s := strings.Join(got, "|"); s != want {
		t.Errorf("%s", s)
	}
}
