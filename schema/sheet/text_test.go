package sheet

import (
	"github.com/google/go-cmp/cmp"
	"strings"
	"testing"
)

// values returns the texts of a table's cells.
func values(t *Table) [][]string {
	var rows [][]string
	for _, r := range t.Rows {
		var row []string
		for _, c := range r.Cells {
			row = append(row, c.Text)
		}
		rows = append(rows, row)
	}
	return rows
}

func TestTextGuises(t *testing.T) {
	const plain = "session_id,tube,note\nWS-1,0070001,\"said \"\"ü\"\", then\nleft\"\nWS-2,12,–\n"
	want := [][]string{{"session_id", "tube", "note"}, {"WS-1", "0070001", "said \"ü\", then\nleft"},
		{"WS-2", "12", "–"}}
	semi := strings.NewReplacer("id,tube,", "id;tube;", "1,0070001,", "1;0070001;", "2,12,", "2;12;").Replace(plain)
	tab := strings.ReplaceAll(semi, ";", "\t")
	utf16le := func(s string) string {
		var b strings.Builder
		for _, c := range s { // none beyond the basic plane here
			b.WriteByte(byte(c))
			b.WriteByte(byte(c >> 8))
		}
		return b.String()
	}
	utf16be := func(s string) string {
		b := []byte(utf16le(s))
		for i := 0; i < len(b); i += 2 {
			b[i], b[i+1] = b[i+1], b[i]
		}
		return string(b)
	}
	win := strings.NewReplacer("ü", "\xFC", "–", "\x96")
	crlf := strings.NewReplacer("\n", "\r\n")
	cr := strings.NewReplacer("\n", "\r")
	for name, c := range map[string]struct {
		data  string
		notes []string
	}{
		"commas":             {plain, []string{"commas"}},
		"semicolons":         {semi, []string{"semicolons"}},
		"tabs":               {tab, []string{"tabs"}},
		"byte order mark":    {"\uFEFF" + plain, []string{"commas"}},
		"UTF-16 LE, mark":    {"\xFF\xFE" + utf16le(tab), []string{"UTF-16", "tabs"}},
		"UTF-16 BE, mark":    {"\xFE\xFF" + utf16be(semi), []string{"UTF-16", "semicolons"}},
		"UTF-16 LE":          {utf16le(tab), []string{"UTF-16", "tabs"}},
		"UTF-16 BE":          {utf16be(tab), []string{"UTF-16", "tabs"}},
		"Windows-1252":       {win.Replace(semi), []string{"Windows-1252", "semicolons"}},
		"CRLF":               {crlf.Replace(plain), []string{"commas"}},
		"CR":                 {cr.Replace(plain), []string{"commas"}},
		"CR, UTF-16 LE":      {utf16le(cr.Replace(plain)), []string{"UTF-16", "commas"}},
		"sep":                {"sep=;\r\n" + crlf.Replace(semi), []string{"semicolons"}},
		"sep, quoted, mark":  {"\uFEFF\"sep=,\"\n" + plain, []string{"commas"}},
		"no last line break": {strings.TrimSuffix(plain, "\n"), []string{"commas"}},
	} {
		tables, err := Read("log.csv", []byte(c.data))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if d := cmp.Diff(want, values(&tables[0])); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		if d := cmp.Diff(c.notes, tables[0].Notes); d != "" {
			t.Errorf("%s, notes: %s", name, d)
		}
	}
}

func TestRefusedText(t *testing.T) {
	const good = "session_id,note\nWS-1,x\n"
	for what, c := range map[string]struct{ data, want string }{
		"nothing":        {"", "is empty (0 bytes)"},
		"blank":          {"\r\n , \r\n,,\r\n", "holds no value"},
		"zero byte":      {good + "WS-2,a\x00b\n", "line 3: holds a zero byte"},
		"control":        {good + "WS-2,\x1B[2J\n", "line 3: holds a control character"},
		"next line":      {good + "WS-2,a\u0085b\n", "line 3: holds a control character"},
		"open quote":     {good + "WS-2,\"a\nWS-3,b\n", "lines 3 to 4: a quotation mark"},
		"quote inside":   {good + "WS-2,5\" tube\n", "line 3: a quotation mark"},
		"after a quote":  {good + "WS-2,\"a\"b\n", "line 3: a quotation mark"},
		"UTF-32":         {"\xFF\xFE\x00\x00a\x00\x00\x00", "is a text in UTF-32"},
		"UTF-16 odd":     {"\xFF\xFEa\x00,", "is a damaged text in UTF-16"},
		"UTF-16 half":    {"\xFE\xFF\xD8\x00\x00a", "is a damaged text in UTF-16"},
		"two encodings":  {"a,b\nü,1\n\xFC,2\n", "line 3: is in another encoding"},
		"unknown":        {"a,b\n\x81,2\n", "line 2: holds a character of an encoding"},
		"web page":       {"\n<!DOCTYPE html><table><tr><td>a</table>", "is a web page or XML"},
		"XML":            {"<?xml version=\"1.0\"?><Workbook/>", "is a web page or XML"},
		"web archive":    {"MIME-Version: 1.0\nX: y\n", "is a web page or XML"},
		"PDF":            {"%PDF-1.7\n", "is a document for reading"},
		"picture":        {"\x89PNG\r\n\x1a\n", "is a picture"},
		"compressed":     {"\x1F\x8B\x08\x00", "is compressed"},
		"old workbook":   {"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1" + good, "is a workbook in the old format (.xls)"},
		"cut archive":    {"PK\x03\x04" + good, "is damaged"},
		"sep over CR":    {"sep=;\ra;b\rWS-1;\"x\r", "line 3: a quotation mark"},
		"a long line":    {good + strings.Repeat("x,", MaxColumns), "line 3: has more than 500 values"},
		"many lines":     {strings.Repeat("a,b\n", MaxRows+1), "line 20001: has more rows"},
		"a long value":   {good + "WS-2," + strings.Repeat("x", 4*MaxCell+2), "line 3: holds a value of more than"},
		"a longer quote": {good + "WS-2,\"" + strings.Repeat("x\n", 4*MaxCell), "line 3: begins a value that"},
	} {
		_, err := Read("log.csv", []byte(c.data))
		if err == nil || !strings.HasPrefix(err.Error(), "log.csv: "+c.want) {
			t.Errorf("%s: %v", what, err)
		}
		if err != nil && strings.Contains(err.Error(), "WS-") {
			t.Errorf("%s: the message quotes a value: %v", what, err)
		}
	}
	for _, name := range []string{"~$log.xlsx", `C:\week 48\~$log.xlsx`, "week/.~lock.log.xlsx#"} {
		_, err := Read(name, []byte(good))
		if err == nil || !strings.Contains(err.Error(), "mark that a program makes") {
			t.Errorf("%s: %v", name, err)
		}
	}
	tables, err := Read("log.csv", []byte(strings.Repeat("a,b\n", MaxRows)))
	if err != nil || len(tables[0].Rows) != MaxRows {
		t.Errorf("as many lines as are read: %v", err)
	}
}

// TestSeparator shows what parts the values of texts in which more than one
// separator occurs. The cases are our own; common practice, no source.
func TestSeparator(t *testing.T) {
	for text, want := range map[string]string{
		"id;volume;flow\nA;12,5;3,4\nB;12,5;3,4\n":             "semicolons", // decimal commas
		"id;CO2, kPa;flow, ml\nA;5,2;1,0\n":                    "semicolons", // commas in headings as well
		"id;a;b\nA;1,5\nB;1,5\nC;1,5;2\nD;1,5;2\n":             "semicolons", // ends cut off
		"id,note\nA,\"x; y\"\nB,\"x; y\"\nC,\"x; y\"\n":        "commas",
		"id,note\nA,cough; twice\nB,cough; twice\n":            "commas", // not in the headings
		"id\tnote, more; and\nA\ta,b;c\n":                      "tabs",
		"Session log, week 48\n\nid,tube,flow\nA,1,2\nB,3,4\n": "commas", // a title above
		"Session log week 48\nid;tube;flow\nA;1;2,5\n":         "semicolons",
		"id\nA\nB\n":       "commas",     // one column
		"PKU;note\nno;x\n": "semicolons", // begins as archives do, nearly
		"id;note\n":        "semicolons",
	} {
		tables, err := Read("log.csv", []byte(text))
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if got := tables[0].Notes[len(tables[0].Notes)-1]; got != want {
			t.Errorf("%q: %s and not %s", text, got, want)
		}
	}
}

func TestLinesAsInAnEditor(t *testing.T) {
	tables, err := Read("log.csv", []byte("sep=,\r\n\r\na,b\r\n\"x\r\ny\",2\r\n,,\r\nlast,3"))
	if err != nil {
		t.Fatal(err)
	}
	var got []int
	for _, r := range tables[0].Rows {
		got = append(got, r.Number)
	}
	if d := cmp.Diff([]int{3, 4, 7}, got); d != "" {
		t.Error(d)
	}
	if got := tables[0].Ref(1, 1); got != "line 4, value 2" {
		t.Errorf("Ref is %q", got)
	}
}
