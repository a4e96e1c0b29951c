package sessionlog

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"pgregory.net/rapid"

	"outbreath/schema/sheet"
)

var boxed = []string{"T-01", "T-02", "T-03", "0012"}

func workbookOf(t testing.TB, sheets ...sheet.Sheet) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := sheet.Write(&b, sheet.Book{Sheets: sheets}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// boxSheet is a sheet with places beside barcodes.
func boxSheet(name, heading string, cells ...sheet.Cell) sheet.Sheet {
	s := sheet.Sheet{Name: name, Columns: []sheet.Column{{Heading: "Shelf"}, {Heading: heading}}}
	for _, c := range cells {
		s.Rows = append(s.Rows, []sheet.Cell{{Kind: sheet.Text, Text: "s1"}, c})
	}
	return s
}

func textCells(values ...string) []sheet.Cell {
	var cells []sheet.Cell
	for _, v := range values {
		cells = append(cells, sheet.Cell{Kind: sheet.Text, Text: v})
	}
	return cells
}

func readBox(t testing.TB, data []byte, column string, recorded []string) (*BoxList, error) {
	t.Helper()
	tables, err := sheet.Read("box", data)
	if err != nil {
		t.Fatal(err)
	}
	return ReadBox(tables, column, recorded)
}

// TestBoxGuises: one box in many spellings is one list.
func TestBoxGuises(t *testing.T) {
	lines := "Shelf;Tube no.\n1;T-01\n1;T-02\n2;T-03\n2;0012\n"
	wide := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(strings.ReplaceAll(lines, ";", "\t"))) {
		wide = append(wide, byte(u), byte(u>>8))
	}
	own := boxSheet("Box 48", "Barcode", textCells(boxed...)...)
	for name, data := range map[string][]byte{
		"semicolons":   []byte(lines),
		"commas":       []byte(strings.ReplaceAll(lines, ";", ",")),
		"tabs, UTF-16": wide,
		"mark, CRLF":   []byte("\ufeff" + strings.ReplaceAll(lines, "\n", "\r\n")),
		"Windows-1252": []byte("Pl\xe4tze;R\xf6hrchennummer\n1;T-01\n1;T-02\n2;T-03\n2;0012\n"),
		"named":        []byte("sep=;\n" + lines),
		"quoted":       []byte("\"Bar Code\"\n\"T-01\"\n\"T-02\"\n\"T-03\"\n\"0012\"\n"),
		"title":        []byte("Box of week 48;\n;\n" + lines + ";\n"),
		"blanks":       []byte(strings.ReplaceAll(lines, "T-02", "  T-02 ")),
		"workbook":     workbookOf(t, own),
		"two sheets":   workbookOf(t, boxSheet("Notes", "Remark", textCells("x1")...), own),
	} {
		for _, recorded := range [][]string{nil, boxed} {
			if !IsTable(data, recorded) {
				t.Errorf("%s: taken for a plain list", name)
			}
			list, err := readBox(t, data, "", recorded)
			if err != nil || !slices.Equal(list.Barcodes, boxed) || len(list.Left) > 0 {
				t.Errorf("%s: %+v, %v", name, list, err)
			}
		}
	}
}

// TestBoxOffice: the box as LibreOffice saves it, as a workbook and as a text table.
func TestBoxOffice(t *testing.T) {
	program, err := exec.LookPath("soffice")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("soffice is missing")
		}
		t.Skip("soffice is missing")
	}
	dir, settings := t.TempDir(), t.TempDir()
	ours := filepath.Join(dir, "box.xlsx")
	data := workbookOf(t, boxSheet("Box", "Barcode", textCells(boxed...)...))
	if err := os.WriteFile(ours, data, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, filter := range []string{"xlsx:Calc MS Excel 2007 XML", "csv:Text - txt - csv (StarCalc):59,34,76,1"} {
		out := t.TempDir()
		said, err := exec.Command(program, "-env:UserInstallation=file://"+settings, "--headless", "--convert-to",
			filter, "--outdir", out, ours).CombinedOutput()
		files, _ := filepath.Glob(filepath.Join(out, "*"))
		if err != nil || len(files) != 1 {
			t.Fatalf("soffice: %v\n%s", err, said)
		}
		data, err := os.ReadFile(files[0])
		if err != nil {
			t.Fatal(err)
		}
		if list, err := readBox(t, data, "", nil); err != nil || !slices.Equal(list.Barcodes, boxed) {
			t.Errorf("%s: %+v, %v", filter[:4], list, err)
		}
	}
}

func TestPlainLists(t *testing.T) {
	for name, data := range map[string]string{
		"barcodes": "T-01\nT-02\n", "returns": "\ufeffT-01\r\n\r\n  T-02\t\nT 3\n", "one": "T;1\nT-2\nT-3\n",
		"empty": "",
		"blank": "\n\n", "recorded": "A;1\nA;2\nA;3\n", "old": "T-01\rT-02\r",
	} {
		if IsTable([]byte(data), []string{"A;1", "A;2"}) {
			t.Errorf("%s: taken for a table", name)
		}
	}
}

// TestBoxColumn: which column is read, or why none is.
func TestBoxColumn(t *testing.T) {
	tubes := textCells(boxed...)
	two := workbookOf(t, boxSheet("Box 1", "Tube #", tubes[:2]...), boxSheet("Box 2", "Tube #", tubes[2:]...))
	for _, c := range []struct {
		name, data, column string
		recorded           []string
		from, wrong        string
	}{
		{"sheet and heading", string(two), "box 2#Tube #", nil, `sheet Box 2, column B "Tube #"`, ""},
		{"sheet", string(two), "Box 1", nil, `sheet Box 1, column B "Tube #"`, ""},
		{"sheet and letter", string(two), "Box 1#b", nil, `sheet Box 1, column B "Tube #"`, ""},
		{"two sheets", string(two), "", boxed, "", `sheet Box 1, column B "Tube #"; sheet Box 2, column B "Tube #"`},
		{"heading in both", string(two), "Tube #", boxed, "", "more than one column"},
		{"no such", string(two), "Box 3#Tube", boxed, "", `is called "Box 3#Tube"; headings: `},
		{"by values", "Thing,Other\nT-01,x\nT-02,y\n", "", boxed, `value 1 of each line "Thing"`, ""},
		{"damaged alike", "Thing,Other\n12,x\nT-02,y\n", "", boxed, "", "zeros in front"},
		{"too few", "Thing,Other\nT-01,x\nZ,9\n", "", boxed, "", "none holds half of the recorded ones"},
		{"not known", "Thing,Other\nT-01,x\n", "", nil, "",
			`no column is headed as barcodes; headings: "Thing", "Other"`},
		{"names are not shown", "Anna,Huber\nOtto,Maier\n", "", nil, "", "headings: none was found"},
		{"an unexpected one above", "9,X-99\n1,T-01\n2,T-02\n", "", boxed, "value 2 of each line", ""},
		{"number, not value", "1,T-01\n2,T-02\n", "2", nil, "value 2 of each line", ""},
	} {
		list, err := readBox(t, []byte(c.data), c.column, c.recorded)
		switch {
		case c.wrong == "" && (err != nil || list.From != c.from):
			t.Errorf("%s: %+v, %v", c.name, list, err)
		case c.wrong != "" && (err == nil || !strings.Contains(err.Error(), c.wrong)):
			t.Errorf("%s: %+v, %v", c.name, list, err)
		case c.name == "an unexpected one above" && len(list.Barcodes) != 3:
			t.Errorf("%s: %v", c.name, list.Barcodes)
		}
	}
}

// TestBoxCells: a barcode that a spreadsheet has changed is named by its cell, in a workbook
// as written there, and is in no list.
func TestBoxCells(t *testing.T) {
	number := func(s string) sheet.Cell { return sheet.Cell{Kind: sheet.Number, Text: s} }
	for _, c := range []struct {
		cell  sheet.Cell
		wrong string // "" for none
	}{
		{number("12"), "zeros in front"},
		{number("13"), ""},
		{number("77"), "two tubes of the records"},
		{number("4.74E+10"), "first digits"},
		{number("47400000000.5"), "first digits"},
		{number("1234567890123456"), "first digits"},
		{number("-3"), "first digits"},
		{sheet.Cell{Kind: sheet.Time, Text: "2026-03-02"}, "a date or time"},
		{sheet.Cell{Kind: sheet.Bool, Text: "TRUE"}, "TRUE or FALSE"},
		{textCells("4.74E+10")[0], "first digits"},
		{textCells("12E05")[0], ""},
		{textCells("13.0")[0], "decimal point"},
		{textCells("0012")[0], ""},
		{textCells("12")[0], "zeros in front"},
		{textCells("“T-01”")[0], "quotation mark"},
		{textCells("'T-01")[0], "quotation mark"},
		{textCells("T-01\u00a0")[0], "blank"},
		{textCells("T-\u200b01")[0], "cannot be seen"},
		{textCells("T‑01")[0], "quotation mark"}, // another hyphen
		{textCells("Ｔ-01")[0], "quotation mark"}, // full width
		{textCells("T -01")[0], "blank"},
		{textCells("T-01\nT-02")[0], "more than one line"},
		{textCells("barcode")[0], "a heading among the barcodes"},
		{textCells("#REF!")[0], "an error instead"},
		{textCells("#####")[0], "an error instead"},
		{textCells(strings.Repeat("T", 201))[0], "not one barcode"},
	} {
		recorded := append([]string{"77", "077"}, boxed...)
		cells := append(textCells("T-03"), c.cell)
		list, err := readBox(t, workbookOf(t, boxSheet("Box", "Barcode", cells...)), "", recorded)
		if c.wrong == "" {
			if err != nil || !slices.Equal(list.Barcodes, []string{"T-03", c.cell.Text}) {
				t.Errorf("%q: %+v, %v", c.cell.Text, list, err)
			}
			continue
		}
		var e *BoxError
		if !errors.As(err, &e) || len(e.Problems) != 1 || e.Problems[0].Where != "sheet Box, cell B3" ||
			!strings.Contains(e.Problems[0].Message, c.wrong) || strings.Contains(err.Error(), "T-01") ||
			c.cell.Kind == sheet.Number && strings.Contains(err.Error(), c.cell.Text) {
			t.Errorf("%q: %+v, %v", c.cell.Text, list, err)
		}
	}
}

// TestBoxHidden: hidden rows, columns and sheets are never read in silence.
func TestBoxHidden(t *testing.T) {
	read := func() []sheet.Table {
		tables, err := sheet.Read("box", workbookOf(t, boxSheet("Box", "Barcode", textCells(boxed...)...)))
		if err != nil {
			t.Fatal(err)
		}
		return tables
	}
	for want, hide := range map[string]func(*sheet.Table){
		"sheet Box, rows 3, 4: hidden, perhaps by a filter": func(t *sheet.Table) {
			t.Rows[2].Hidden, t.Rows[3].Hidden = true, true
		},
		`sheet Box, column B "Barcode" (hidden): the barcodes`: func(t *sheet.Table) { t.Hidden = true },
		`column B "Barcode" (hidden): the barcodes are in`:     func(t *sheet.Table) { t.HiddenColumns = []int{1} },
	} {
		tables := read()
		hide(&tables[0])
		if list, err := ReadBox(tables, "", boxed); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %+v, %v", want, list, err)
		}
	}
	tables := read()
	tables[0].Rows[2].Hidden = true
	tables[0].Rows[2].Cells = tables[0].Rows[2].Cells[:1]
	if list, err := ReadBox(tables, "", nil); err != nil || len(list.Barcodes) != 3 || len(list.Left) != 1 ||
		list.Left[0] != "sheet Box, row 3: no barcode there" {
		t.Errorf("%+v, %v", list, err)
	}
}

func TestSplitBox(t *testing.T) {
	there := func(f string) bool { return slices.Contains([]string{"a.csv", "b#1.csv", "d/c.csv"}, f) }
	for name, want := range map[string][2]string{
		"a.csv": {"a.csv", ""}, "a.csv#Tube": {"a.csv", "Tube"}, "a.csv#Box#Tube #": {"a.csv", "Box#Tube #"},
		"b#1.csv": {"b#1.csv", ""}, "b#1.csv#x": {"b#1.csv", "x"}, "d/c.csv#T": {"d/c.csv", "T"}, "no": {"no", ""},
		"no.csv#x": {"no.csv", "x"}, "d#1/no.csv": {"d#1/no.csv", ""}, "#": {"#", ""},
	} {
		if file, column := SplitBox(name, there); file != want[0] || column != want[1] {
			t.Errorf("%s: %q, %q", name, file, column)
		}
	}
}

// TestBoxLaw: any barcodes that the built-in plans take, written as text into a workbook, are
// read as they are; or one of them is named by its cell.
func TestBoxLaw(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		codes := rapid.SliceOfN(rapid.StringMatching(`[A-Za-z0-9][!#-+\--~]{0,20}`), 1, 8).Draw(r, "codes")
		data := workbookOf(t, boxSheet("Box", "Barcode", textCells(codes...)...))
		list, err := readBox(t, data, "", codes)
		if err != nil || !slices.Equal(list.Barcodes, codes) {
			r.Fatalf("recorded: %+v, %v", list, err)
		}
		list, err = readBox(t, data, "", nil)
		if err == nil && !slices.Equal(list.Barcodes, codes) && len(list.Left) == 0 {
			r.Fatalf("not recorded: %+v", list)
		}
	})
}

// FuzzReadBox reads any bytes as a box: nothing panics, readings are equal, and what is read
// is in the file as it is.
func FuzzReadBox(f *testing.F) {
	f.Add([]byte("Shelf;Barcode\n1;T-01\n2;4,7E+10\n"), "")
	f.Add([]byte("a,b\nT-01,x\nT-02,\n"), "1")
	f.Add([]byte("x\n#\n0012\n12\n"), "#")
	f.Fuzz(func(t *testing.T, data []byte, column string) {
		IsTable(data, boxed)
		SplitBox(column, func(string) bool { return false })
		if len(data) > 4096 {
			return
		}
		tables, err := sheet.Read("box", data)
		if err != nil {
			return
		}
		list, err := ReadBox(tables, column, boxed)
		again, err2 := ReadBox(tables, column, boxed)
		if (err == nil) != (err2 == nil) || err != nil && err.Error() != err2.Error() {
			t.Fatalf("%v, then %v", err, err2)
		}
		if err != nil {
			return
		}
		if !slices.Equal(list.Barcodes, again.Barcodes) {
			t.Errorf("two readings differ")
		}
		for _, b := range list.Barcodes {
			if b == "" || b != clean(b) && !slices.Contains(boxed, b) {
				t.Errorf("%q is read", b)
			}
		}
	})
}
