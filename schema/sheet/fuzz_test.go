package sheet

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf8"
)

// sound fails unless a result of Read keeps the package's promises.
func sound(t *testing.T, tables []Table, err error) {
	t.Helper()
	if r := new(Refusal); err != nil {
		if !errors.As(err, &r) || r.Message == "" || tables != nil || hasControl(r.Error()) {
			t.Fatalf("refused with %q and %d tables", err, len(tables))
		}
		return
	}
	cells := 0
	for _, table := range tables {
		last := 0
		if len(table.Rows) == 0 || len(table.Rows) > MaxRows {
			t.Fatalf("%d rows", len(table.Rows))
		}
		for _, r := range table.Rows {
			if r.Number <= last || len(r.Cells) == 0 || len(r.Cells) > MaxColumns {
				t.Fatalf("row %d after %d, %d cells", r.Number, last, len(r.Cells))
			}
			last = r.Number
			cells += len(r.Cells)
			for _, c := range r.Cells {
				soundCell(t, c)
			}
		}
	}
	if cells > MaxCells*MaxColumns {
		t.Fatalf("%d cells", cells)
	}
}

func soundCell(t *testing.T, c Cell) {
	t.Helper()
	for _, s := range []string{c.Text, c.Shown} {
		if !utf8.ValidString(s) || hasControl(s) || strings.Contains(s, "\r") || utf16Length(s) > MaxCell {
			t.Fatalf("%q in a cell", s)
		}
	}
	switch {
	case c.Kind == Empty && c.Text != "", c.Kind == Text && c.Text == "",
		c.Kind == Number && !digits.MatchString(c.Text), c.Kind == Bool && c.Text != "TRUE" && c.Text != "FALSE",
		c.Kind == Time && !strings.ContainsAny(c.Text, "-:"), c.Kind > Fault:
		t.Fatalf("kind %d, text %q", c.Kind, c.Text)
	}
}

// FuzzReadWorkbook fuzzes the parts of a workbook, because nearly every change
// to packed ones ends at a checksum.
func FuzzReadWorkbook(f *testing.F) {
	b := raw(`<cols><col min="1" max="2" hidden="1"/></cols><sheetData><row r="2"><c r="A2" t="s"><v>0</v></c>` +
		`<c r="B2" s="3"><f>A1</f><v>46095.25</v></c><c r="C2" t="inlineStr"><is><r><t>a_x000D_</t></r></is></c>` +
		`<c s="2"><v>7</v></c></row></sheetData><mergeCells><mergeCell ref="A2:B3"/></mergeCells>`)
	const sheet, styles, strs = "xl/worksheets/sheet1.xml", "xl/styles.xml", "xl/sharedStrings.xml"
	const book = "xl/workbook.xml"
	f.Add(b[sheet].(string), b[styles].(string), b[strs].(string), b[book].(string))
	f.Add(b[sheet].(string), `<styleSheet><numFmts><numFmt numFmtId="200" formatCode="[Red][&gt;1]#,##0.0_);[h]:mm;@"/>`+
		`</numFmts><cellXfs><xf/><xf/><xf numFmtId="200"/><xf numFmtId="46"/></cellXfs></styleSheet>`, "<sst/>",
		strings.Replace(b[book].(string), "<sheets>", `<workbookPr date1904="1"/><sheets>`, 1))
	f.Fuzz(func(t *testing.T, s, st, ss, wb string) {
		data := raw("").with(sheet, s).with(styles, st).with(strs, ss).with(book, wb).bytes(t)
		tables, err := Read("log.xlsx", data)
		sound(t, tables, err)
	})
}

// FuzzReadFile fuzzes whole files: archives, foreign formats.
func FuzzReadFile(f *testing.F) {
	f.Add("log.xlsx", raw(`<sheetData><row><c><v>1</v></c></row></sheetData>`).bytes(f))
	f.Add("~$log.xlsx", []byte("x"))
	f.Add("log.xls", []byte("\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"))
	f.Add("log.ods", rawBook{"mimetype": "application/vnd.oasis.opendocument.spreadsheet"}.bytes(f))
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		tables, err := Read(name, data)
		if r := new(Refusal); errors.As(err, &r) {
			r.File = "log" // as given
		}
		sound(t, tables, err)
	})
}

func FuzzReadText(f *testing.F) {
	for _, s := range []string{
		"a,b\n1,2\n", "a;b\r\n1,5;2\r\n", "a\tb\r1\t2", "sep=;\na;b\n", "\uFEFFa,\"b\"\"\n\",c\n",
		"\xFF\xFEa\x00\n\x00",
		"\xFE\xFF\x00a", "a\x00;\x00b\x00", "na\xEFve;\x80\n", "\xEF\xBB\xBF\xFF", "<html>", `"a`, "a\"b,c", "\x00",
		"MIME-Version: 1.0", "a,b\n\n\n,,,\n1", "%PDF-1.4", "{\\rtf1", "\xC3\xA9;\xE9",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if isArchive(data) {
			return
		}
		tables, err := Read("log.csv", data)
		sound(t, tables, err)
		for _, table := range tables {
			if !table.Text || len(tables) != 1 || table.Rows[len(table.Rows)-1].Number > len(data) {
				t.Fatalf("%d tables, %+v", len(tables), table)
			}
		}
	})
}
