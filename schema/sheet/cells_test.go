package sheet

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// readOne reads a workbook with one sheet.
func readOne(t *testing.T, b rawBook) *Table {
	t.Helper()
	tables, err := Read("log.xlsx", b.bytes(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(tables) != 1 {
		t.Fatalf("%d tables", len(tables))
	}
	return &tables[0]
}

// TestCellKinds reads cells as ECMA-376 Part 1, 18.3.1.4 and 18.18.11 have them.
func TestCellKinds(t *testing.T) {
	const runs = `<is><r><t>a</t></r><rPh><t>x</t></rPh><r><t>b</t></r></is></c>`
	const escapes = "<is><t>a_x000D_\nb_x005F_x0041_</t></is></c>"
	for cell, want := range map[string]Cell{
		`<c t="s"><v>0</v></c>`:                    {Kind: Text, Text: "shared"},
		`<c t="inlineStr"><is><t> a </t></is></c>`: {Kind: Text, Text: " a "},
		`<c t="inlineStr">` + runs:                 {Kind: Text, Text: "ab"},
		`<c t="inlineStr">` + escapes:              {Kind: Text, Text: "a\nb_x0041_"},
		`<c t="str"><f>A1</f><v>computed</v></c>`:  {Kind: Text, Text: "computed", Formula: true},
		`<c t="str"><f>A1</f><v></v></c>`:          {Kind: Empty, Formula: true},
		`<c><f>1+1</f></c>`:                        {Kind: Fault, Formula: true},
		`<c t="str"><f>1+1</f></c>`:                {Kind: Fault, Formula: true},
		`<c><f>1+1</f><v>2</v></c>`:                {Kind: Number, Text: "2", Formula: true},
		`<c t="e"><v>#N/A</v></c>`:                 {Kind: Fault, Text: "#N/A"},
		`<c t="e"><f>1/0</f><v>#DIV/0!</v></c>`:    {Kind: Fault, Text: "#DIV/0!", Formula: true},
		`<c t="b"><v>1</v></c>`:                    {Kind: Bool, Text: "TRUE"},
		`<c t="b"><v>0</v></c>`:                    {Kind: Bool, Text: "FALSE"},
		`<c t="n"><v>1234567890123456789</v></c>`:  {Kind: Number, Text: "1234567890123456789"},
		`<c><v>0.30000000000000004</v></c>`:        {Kind: Number, Text: "0.30000000000000004"},
		`<c><v>4.74E+10</v></c>`:                   {Kind: Number, Text: "4.74E+10"},
		`<c s="2"><v>7</v></c>`:                    {Kind: Number, Text: "7", Shown: "0007"},
		`<c s="1"><v>46095</v></c>`:                {Kind: Time, Text: "2026-03-14"},
		`<c s="1"><v>46095.25</v></c>`:             {Kind: Time, Text: "2026-03-14T06:00:00"},
		`<c s="3"><v>46095</v></c>`:                {Kind: Time, Text: "2026-03-14", Shown: "14/03/2026"},
		`<c s="6"><v>46095</v></c>`:                {Kind: Time, Text: "2026-03-14T00:00:00"},
		`<c s="5"><v>0.38194444444444442</v></c>`:  {Kind: Time, Text: "09:10:00", Shown: "9:10"},
		`<c s="5"><v>46095.38194444444</v></c>`:    {Kind: Time, Text: "2026-03-14T09:10:00", Shown: "9:10"},
		`<c s="4"><v>1.0625</v></c>`:               {Kind: Number, Text: "1.0625", Shown: "25:30"},
		`<c s="1"><v>0</v></c>`:                    {Kind: Number, Text: "0"},
		`<c s="1"><v>60</v></c>`:                   {Kind: Number, Text: "60"}, // 29 February 1900
		`<c s="1"><v>59</v></c>`:                   {Kind: Time, Text: "1900-02-28"},
		`<c s="1"><v>61</v></c>`:                   {Kind: Time, Text: "1900-03-01"},
		`<c s="1"><v>1</v></c>`:                    {Kind: Time, Text: "1900-01-01"},
		`<c s="1"><v>2958465</v></c>`:              {Kind: Time, Text: "9999-12-31"},
		`<c s="1"><v>2958466</v></c>`:              {Kind: Number, Text: "2958466"},
		`<c s="1"><v>-1</v></c>`:                   {Kind: Number, Text: "-1"},
		`<c s="1"><v>46094.9999999</v></c>`:        {Kind: Time, Text: "2026-03-14"},
		`<c t="d"><v>2026-03-14</v></c>`:           {Kind: Time, Text: "2026-03-14"},
		`<c t="d"><v>2026-03-14T09:10:00</v></c>`:  {Kind: Time, Text: "2026-03-14T09:10:00"},
		`<c t="d"><v>2026-03-14T09:10:00Z</v></c>`: {Kind: Text, Text: "2026-03-14T09:10:00Z"},
		`<c t="d"><v>2026-02-30</v></c>`:           {Kind: Text, Text: "2026-02-30"},
		`<c s="99"><v>1</v></c>`:                   {Kind: Number, Text: "1"},
	} {
		table := readOne(t, raw(`<sheetData><row>`+cell+`</row></sheetData>`))
		if len(table.Rows) != 1 {
			t.Errorf("%s: %d rows", cell, len(table.Rows))
			continue
		}
		if d := cmp.Diff([]Cell{want}, table.Rows[0].Cells); d != "" {
			t.Errorf("%s: %s", cell, d)
		}
	}
}

func TestEmptyCellsAreLeftOut(t *testing.T) {
	tables, err := Read("log.xlsx", raw(`<sheetData><row r="3"><c r="B3" s="1"/><c r="C3" t="s"/></row>`+
		`<row r="1048576"><c r="XFD1048576"/></row></sheetData>`).bytes(t))
	if err != nil || len(tables) != 0 {
		t.Errorf("%d tables, %v", len(tables), err)
	}
}

func TestLayout(t *testing.T) {
	const cell = `<c t="inlineStr"><is><t>x</t></is></c>`
	table := readOne(t, raw(`<cols><col min="2" max="16384" hidden="1"/><col min="1" max="1" width="0"/></cols>`+
		`<sheetData><row r="2" hidden="1"><c r="A2"><v>1</v></c></row><row r="4" ht="0"><c r="C4"><v>2</v></c></row>`+
		`<row>`+cell+cell+`</row><row r="9">`+cell+cell+`</row></sheetData>`+
		`<mergeCells><mergeCell ref="A5:B5"/><mergeCell ref="B5:B9"/></mergeCells>`))
	want := &Table{File: "log.xlsx", Name: "log", HiddenColumns: []int{0, 1, 2}, Merged: []string{"A5:B5", "B5:B9"},
		Rows: []Row{
			{Number: 2, Hidden: true, Cells: []Cell{{Kind: Number, Text: "1"}}},
			{Number: 4, Hidden: true, Cells: []Cell{{}, {}, {Kind: Number, Text: "2"}}},
			{Number: 5, Cells: []Cell{{Kind: Text, Text: "x"}}},
			{Number: 9, Cells: []Cell{{Kind: Text, Text: "x"}}},
		}}
	if d := cmp.Diff(want, table); d != "" {
		t.Error(d)
	}
	if got, want := table.Ref(1, 2), "sheet log, cell C4"; got != want {
		t.Errorf("Ref is %q and not %q", got, want)
	}
	hidden := readOne(t, raw(`<sheetFormatPr zeroHeight="1"/><sheetData><row><c><v>1</v></c></row>`+
		`<row hidden="0"><c><v>1</v></c></row></sheetData>`))
	if !hidden.Rows[0].Hidden || hidden.Rows[1].Hidden {
		t.Error("zeroHeight hides rows that do not say otherwise")
	}
}

func TestLetters(t *testing.T) {
	for col, want := range map[int]string{0: "A", 25: "Z", 26: "AA", 701: "ZZ", 702: "AAA", 16383: "XFD"} {
		if got := Letters(col); got != want {
			t.Errorf("column %d is %s and not %s", col, got, want)
		}
		if back, row, ok := parseRef(want + "7"); back != col || row != 7 || !ok {
			t.Errorf("%s7 is column %d, row %d", want, back, row)
		}
	}
	for _, ref := range []string{"", "A", "7", "a7", "A0", "A-1", "A+1", "A1048577", "XFE1", "AAAA1", "A1B", "$A$1",
		"A 1"} {
		if _, _, ok := parseRef(ref); ok {
			t.Errorf("%q was read as a reference", ref)
		}
	}
}

func TestNotes(t *testing.T) {
	b := raw(`<sheetData><row><c s="1"><v>44633</v></c><c s="6"><v>0.5</v></c></row></sheetData>`).
		replace("xl/workbook.xml", "<sheets>", `<workbookPr date1904="true"/><sheets>`).
		replace("xl/_rels/workbook.xml.rels", "</Rel", `<Relationship Id="v" Type="http://schemas.microsoft.com/`+
			`office/2006/relationships/vbaProject" Target="vbaProject.bin"/></Rel`)
	table := readOne(t, b)
	want := []Cell{{Kind: Time, Text: "2026-03-14"}, {Kind: Time, Text: "1904-01-01T12:00:00"}}
	if d := cmp.Diff(want, table.Rows[0].Cells); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"has macros, which were not run", "dates count from 1904"}, table.Notes); d != "" {
		t.Error(d)
	}
	tables, err := Read("log.csv", raw(`<sheetData><row><c><v>1</v></c></row></sheetData>`).bytes(t))
	if err != nil || len(tables) != 1 || !strings.Contains(strings.Join(tables[0].Notes, ";"), "a workbook") {
		t.Errorf("a workbook called .csv: %v, %+v", err, tables)
	}
	tables, err = Read("log.XLSX", []byte("a,b\n1,2\n"))
	if err != nil || len(tables) != 1 || !strings.Contains(strings.Join(tables[0].Notes, ";"), "a text table") {
		t.Errorf("a text called .XLSX: %v, %+v", err, tables)
	}
}

func TestRefusedWorkbooks(t *testing.T) {
	one := func(cell string) rawBook { return raw(`<sheetData><row r="14">` + cell + `</row></sheetData>`) }
	rels, book := "xl/_rels/workbook.xml.rels", "xl/workbook.xml"
	const sheet = "xl/worksheets/sheet1.xml"
	for what, c := range map[string]struct {
		book rawBook
		want string // where and the message's beginning, as printed
	}{
		"external link": {one("").replace(rels, "</Rel", `<Relationship Id="x" Type="`+relType+
			`externalLink" Target="externalLinks/externalLink1.xml"/></Rel`), "takes values from another file"},
		"sheet elsewhere": {one("").replace(rels, `worksheet" `, `worksheet" TargetMode="External" `),
			"takes values from another file"},
		"doctype": {raw(`<sheetData/>`).with(sheet, `<!DOCTYPE a><worksheet/>`),
			"sheet log: defines entities of XML"},
		"entity":         {one(`<c t="str"><v>&a;</v></c>`), "sheet log, cell A14: is damaged"},
		"encoding":       {raw("").with(sheet, `<?xml version="1.0" encoding="UTF-7"?><worksheet/>`), "sheet log: is damaged"},
		"cut":            {raw("").with(sheet, `<worksheet><sheetData><row><c><v>1</v></c></row>`), "sheet log: is damaged"},
		"two roots":      {raw("").with(sheet, `<worksheet/><worksheet/>`), ""},
		"no sheet":       {func() rawBook { b := one(""); delete(b, sheet); return b }(), "sheet log: is damaged"},
		"other row":      {one(`<c r="A15"><v>1</v></c>`), "sheet log: is damaged"},
		"twice":          {one(`<c r="A14"><v>1</v></c><c r="A14"><v>2</v></c>`), "sheet log: is damaged"},
		"backwards":      {one(`<c r="B14"><v>1</v></c><c r="A14"><v>2</v></c>`), "sheet log: is damaged"},
		"row twice":      {raw(`<sheetData><row r="2"/><row r="2"/></sheetData>`), "sheet log: is damaged"},
		"string unknown": {one(`<c r="D14" t="s"><v>1</v></c>`), "sheet log, cell D14: is damaged"},
		"no number":      {one(`<c r="D14"><v>0x10</v></c>`), "sheet log, cell D14: is damaged"},
		"infinite":       {one(`<c r="D14"><v>Infinity</v></c>`), "sheet log, cell D14: is damaged"},
		"type unknown":   {one(`<c r="D14" t="z"><v>1</v></c>`), "sheet log, cell D14: is damaged"},
		"control": {one(`<c r="D14" t="inlineStr"><is><t>a_x001B_[2J</t></is></c>`),
			"sheet log, cell D14: holds a control character"},
		"long": {one(`<c r="D14" t="inlineStr"><is><t>` + strings.Repeat("x", MaxCell+1) + `</t></is></c>`),
			"sheet log, cell D14: holds more than 32,767 characters"},
		"wide":            {one(`<c r="SG14"><v>1</v></c>`), "sheet log, cell SG14: is beyond the 500 columns"},
		"merged nonsense": {raw(`<mergeCells><mergeCell ref="B2:A1"/></mergeCells>`), "sheet log: is damaged"},
		"binary":          {one("").replace("_rels/.rels", "workbook.xml", "workbook.bin"), "is a binary workbook"},
		"document":        {one("").replace("_rels/.rels", "xl/workbook.xml", "word/document.xml"), "is a document or"},
		"archive":         {rawBook{"log.csv": "a,b"}, "is a ZIP archive without a workbook"},
		"OpenDocument":    {rawBook{"mimetype": "application/vnd.oasis.opendocument.text"}, "is an OpenDocument file"},
		"name of sheet":   {one("").replace(book, `name="log"`, `name="&#x9B;"`), "is damaged"},
		"part twice":      {one("").with("XL/workbook.xml", "<a/>"), "is damaged"},
	} {
		_, err := Read("log.xlsx", c.book.bytes(t))
		got := ""
		if err != nil {
			got = err.Error()
		}
		if (c.want == "") != (err == nil) || err != nil && !strings.HasPrefix(got, "log.xlsx: "+c.want) {
			t.Errorf("%s: %q", what, got)
		}
		if r := new(Refusal); err != nil && !errors.As(err, &r) {
			t.Errorf("%s: no Refusal: %v", what, err)
		}
	}
}

// TestCutAnywhere shows that no part of a workbook is taken for the whole.
func TestCutAnywhere(t *testing.T) {
	whole := write(t, sampleBook())
	for n := 3; n < len(whole); n++ { // PK alone is a text
		if _, err := Read("log.xlsx", whole[:n]); err == nil {
			t.Fatalf("the first %d of %d bytes were read", n, len(whole))
		}
	}
}
