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
