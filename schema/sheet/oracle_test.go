package sheet

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// python returns an interpreter that has openpyxl, or skips the test.
func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import openpyxl").Run() == nil {
			return name
		}
	}
	missing(t, "python3 with openpyxl")
	return ""
}

// missing skips a test, or fails it where every program must be there.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(what + " is missing")
	}
	t.Skip(what + " is missing")
}

// runPython runs a script with arguments and returns what it printed.
func runPython(t *testing.T, script string, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(python(t), append([]string{"-c", script}, args...)...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, stderr.String())
	}
	return out
}

// An office is LibreOffice with settings of its own.
type office struct{ program, settings string }

func newOffice(t *testing.T) office {
	t.Helper()
	program, err := exec.LookPath("soffice")
	if err != nil {
		missing(t, "soffice")
	}
	return office{program, t.TempDir()}
}

// convert converts a file and returns the new one's name.
func (o office) convert(t *testing.T, from, filter string) string {
	t.Helper()
	dir := t.TempDir()
	out, err := exec.Command(o.program, "-env:UserInstallation=file://"+o.settings, "--headless",
		"--convert-to", filter, "--outdir", dir, from).CombinedOutput()
	files, _ := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(files) != 1 {
		t.Fatalf("soffice: %v, %d files\n%s", err, len(files), out)
	}
	return files[0]
}

func readFile(t *testing.T, name string) []Table {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := Read(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return tables
}

// made is a workbook as openpyxl writes it, with what people do to one.
const made = `
import sys, datetime as d, openpyxl
from openpyxl.styles import numbers
w = openpyxl.Workbook()
if sys.argv[2] == "1904":
    w.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
s = w.active
s.title = "sessions"
for i, (value, code) in enumerate([
    ("0007", None), (7, "0000"), (12.5, None), (47400000000, "0.00E+00"), (True, None), ("=1+1", None), ("#N/A", None),
    (d.date(1961, 2, 3), "dd.mm.yyyy"), (d.datetime(2026, 3, 14, 9, 10), "m/d/yy h:mm"), (d.time(9, 10), "h:mm AM/PM"),
    (d.datetime(2026, 3, 14, 23, 59, 59), 'yyyy-mm-dd"T"hh:mm:ss'), (d.timedelta(minutes=90), "[h]:mm"),
    ("two\nlines \u00fc \U0001F600", None), (" edge ", None), (d.date(2026, 12, 31), '[$-407]d. mmmm yyyy'),
    (1.5, '"month "0.0'), (0.5, "0%"), (d.datetime(2026, 3, 14), "d-mmm-yy")], 1):
    c = s.cell(i, 2, value)
    if code: c.number_format = code
s.merge_cells("D2:E3"); s["D2"] = "merged"
s.row_dimensions[3].hidden = True
s.column_dimensions["B"].hidden = True
h = w.create_sheet("old"); h.sheet_state = "hidden"; h["A1"] = 1
w.create_sheet("empty")
w.save(sys.argv[1])
`

// TestOpenpyxlWrites reads workbooks that openpyxl wrote, with both counts of days.
func TestOpenpyxlWrites(t *testing.T) {
	for _, epoch := range []string{"1900", "1904"} {
		name := filepath.Join(t.TempDir(), "log.xlsx")
		runPython(t, made, name, epoch)
		tables := readFile(t, name)
		if len(tables) != 2 || tables[0].Hidden || !tables[1].Hidden || tables[1].Name != "old" {
			t.Fatalf("%d tables", len(tables))
		}
		table := tables[0]
		want := []Cell{
			{Kind: Text, Text: "0007"},
			{Kind: Number, Text: "7", Shown: "0007"},
			{Kind: Number, Text: "12.5"},
			{Kind: Number, Text: "47400000000", Shown: "4.74E+10"},
			{Kind: Bool, Text: "TRUE"},
			{Kind: Fault, Formula: true},
			{Kind: Fault, Text: "#N/A"},
			{Kind: Time, Text: "1961-02-03", Shown: "03.02.1961"},
			{Kind: Time, Text: "2026-03-14T09:10:00"},
			{Kind: Time, Text: "09:10:00", Shown: "9:10 AM"},
			{Kind: Time, Text: "2026-03-14T23:59:59"},
			{Kind: Time, Text: "01:30:00", Shown: "1:30"},
			{Kind: Text, Text: "two\nlines ü 😀"},
			{Kind: Text, Text: " edge "},
			{Kind: Time, Text: "2026-12-31", Shown: "31. Dezember 2026"},
			{Kind: Number, Text: "1.5", Shown: "month 1.5"},
			{Kind: Number, Text: "0.5", Shown: "50%"},
			{Kind: Time, Text: "2026-03-14", Shown: "14-Mar-26"},
		}
		if epoch == "1904" {
			want[11].Shown = ""
		}
		var got []Cell
		for _, r := range table.Rows {
			if r.Hidden != (r.Number == 3) {
				t.Errorf("row %d: hidden is %v", r.Number, r.Hidden)
			}
			got = append(got, r.Cells[1])
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", epoch, d)
		}
		if d := cmp.Diff([]int{1}, table.HiddenColumns); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff([]string{"D2:E3"}, table.Merged); d != "" {
			t.Error(d)
		}
		if noted := len(table.Notes) == 1 && table.Notes[0] == "dates count from 1904"; noted != (epoch == "1904") {
			t.Errorf("%s: notes %q", epoch, table.Notes)
		}
	}
}

// looked is what openpyxl finds in a workbook: values, and what helps to fill it in.
const looked = `
import sys, json, openpyxl
w = openpyxl.load_workbook(sys.argv[1])
s = w["sessions"]
print(json.dumps({
    "sheets": [(x.title, x.sheet_state) for x in w],
    "values": [[v.isoformat() if hasattr(v, "isoformat") else v for v in r] for r in s.iter_rows(values_only=True, max_row=4)],
    "frozen": s.freeze_panes,
    "formats": [s.cell(900, c).number_format if s.cell(900, c).has_style else
        w._cell_styles and s.column_dimensions[openpyxl.utils.get_column_letter(c)].number_format for c in (1, 2)],
    "comment": s["A1"].comment.text,
    "checks": sorted([str(v.sqref), v.type, v.formula1, v.formula2, v.operator, v.errorStyle]
        for v in s.data_validations.dataValidation if v.type),
    "choices": [c.value for c in w["lists"]["A"]],
    "people": [w.properties.creator, w.properties.lastModifiedBy],
}))
`

func TestOpenpyxlReads(t *testing.T) {
	name := filepath.Join(t.TempDir(), "log.xlsx")
	if err := os.WriteFile(name, write(t, sampleBook()), 0o600); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Sheets, Values, Checks [][]any
		Frozen, Comment        string
		Formats                []string
		Choices, People        []any
	}
	if err := json.Unmarshal(runPython(t, looked, name), &got); err != nil {
		t.Fatal(err)
	}
	for what, d := range map[string]string{
		"sheets": cmp.Diff([][]any{{"sessions", "visible"}, {"tubes", "visible"}, {"explained", "visible"},
			{"lists", "hidden"}}, got.Sheets),
		"values": cmp.Diff([][]any{
			{"session_id", "height, cm", "sex", "site", "note", "started_at"},
			{"0007", 181.5, "female", nil, " two\nlines, _x0041_ <&> \"ü\" 😀 ", "2026-03-14T09:10:00"},
			{"=1+1", 47400000000., nil, nil, true, "1961-02-03T00:00:00"},
			{"4.74E+10", -0.25, nil, nil, nil, "23:59:59"},
		}, got.Values),
		"frozen":  cmp.Diff("A2", got.Frozen),
		"formats": cmp.Diff([]string{"@", "General"}, got.Formats),
		"comment": cmp.Diff("one line a session", got.Comment),
		"checks": cmp.Diff([][]any{
			{"B2:B20000", "decimal", "40", "250", "between", "warning"},
			{"C2:C20000", "list", `"female,male,unknown"`, nil, nil, "warning"},
			{"D2:D20000", "list", "lists!$A$1:$A$60", nil, nil, "warning"},
			{"E2:E20000", "textLength", "0", "200", "between", "warning"},
		}, got.Checks),
		"choices": cmp.Diff(60, len(got.Choices)),
		"people":  cmp.Diff([]any{"outbreath", nil}, got.People),
	} {
		if d != "" {
			t.Errorf("%s: %s", what, d)
		}
	}
}

// TestOfficeRoundTrip lets LibreOffice open the workbook and save it again, as
// OpenDocument and from there as a workbook.
func TestOfficeRoundTrip(t *testing.T) {
	office, b := newOffice(t), sampleBook()
	name := filepath.Join(t.TempDir(), "log.xlsx")
	if err := os.WriteFile(name, write(t, b), 0o600); err != nil {
		t.Fatal(err)
	}
	ods := office.convert(t, name, "ods")
	data, err := os.ReadFile(ods)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Read("log.xlsx", data); err == nil || !strings.Contains(err.Error(), "OpenDocument") {
		t.Errorf("an .ods called .xlsx: %v", err)
	}
	tables := readFile(t, office.convert(t, ods, "xlsx"))
	if tables[0].Name != "sessions" || !tables[len(tables)-1].Hidden {
		t.Errorf("sheets: %s first", tables[0].Name)
	}
	for i, row := range b.Sheets[0].Rows {
		got := tables[0].Rows[i+1].Cells
		for j, c := range row {
			if j >= len(got) {
				got = append(got, Cell{})
			}
			got[j].Formula = false // LibreOffice writes TRUE as a formula
			if d := cmp.Diff(c, got[j]); d != "" {
				t.Errorf("%s: %s", tables[0].Ref(i+1, j), d)
			}
		}
	}
}

// TestOfficeText reads what LibreOffice exports. The numbers in a filter are the
// separator, the quotation mark (34), the encoding (1 Windows-1252, 76 UTF-8,
// 65535 UTF-16), and, last, the sheet.
//
// Source: help.libreoffice.org, "Filter Options for CSV Export", from memory.
func TestOfficeText(t *testing.T) {
	office := newOffice(t)
	name := filepath.Join(t.TempDir(), "log.xlsx")
	if err := os.WriteFile(name, write(t, sampleBook()), 0o600); err != nil {
		t.Fatal(err)
	}
	for filter, notes := range map[string][]string{
		"44,34,76":   {"commas"},
		"9,34,65535": {"UTF-16", "tabs"},
		"59,34,1":    {"Windows-1252", "semicolons"},
	} {
		filter = "csv:Text - txt - csv (StarCalc):" + filter + ",1,,0,false,true,false,false,false,1"
		table := readFile(t, office.convert(t, name, filter))[0]
		if d := cmp.Diff(notes, table.Notes); d != "" {
			t.Errorf("%s: %s", filter, d)
		}
		note := " two\nlines, _x0041_ <&> \"ü\" 😀 "
		if notes[0] == "Windows-1252" {
			note = strings.Replace(note, "😀", "?", 1) // which that encoding has not
		}
		want := [][]string{
			{"session_id", "height, cm", "sex", "site", "note", "started_at"},
			{"0007", "181.5", "female", "", note, "2026-03-14T09:10:00"},
			{"=1+1", "47400000000", "", "", "1", "1961-02-03"}, // 1 is TRUE in a cell for texts
			{"4.74E+10", "-0.25", "", "", "", "11:59:59 PM"},   // in an English region
		}
		got := values(&table)
		if d := cmp.Diff(want, got[:min(len(got), len(want))]); d != "" {
			t.Errorf("%s: %s", filter, d)
		}
	}
}

// TestForeignFiles reads files of other formats that LibreOffice wrote, under
// the name of a workbook.
func TestForeignFiles(t *testing.T) {
	office := newOffice(t)
	name := filepath.Join(t.TempDir(), "log.xlsx")
	if err := os.WriteFile(name, write(t, sampleBook()), 0o600); err != nil {
		t.Fatal(err)
	}
	for filter, want := range map[string]string{
		"xls":  "is a workbook in the old format (.xls)",
		"ods":  "is an OpenDocument file (.ods)",
		"html": "is a web page or XML",
	} {
		data, err := os.ReadFile(office.convert(t, name, filter))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Read("log.xlsx", data); err == nil || !strings.HasPrefix(err.Error(), "log.xlsx: "+want) {
			t.Errorf("%s: %v", filter, err)
		}
	}
}
