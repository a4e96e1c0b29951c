package sheet

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
)

const (
	nsMain  = `xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"`
	nsRels  = `xmlns="http://schemas.openxmlformats.org/package/2006/relationships"`
	relType = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/"
)

// A rawBook is a workbook by its parts, to write what no program writes.
type rawBook map[string]any // string, or func(io.Writer)

// raw returns the parts of a workbook with one sheet called log, whose part has
// body within its root.
func raw(body any) rawBook {
	sheet := body
	if s, ok := body.(string); ok {
		sheet = `<?xml version="1.0"?><worksheet ` + nsMain + `>` + s + `</worksheet>`
	}
	return rawBook{
		"_rels/.rels": `<Relationships ` + nsRels + `><Relationship Id="a" Type="` + relType +
			`officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/workbook.xml": `<workbook ` + nsMain + ` xmlns:r="` + strings.TrimSuffix(relType, "/") +
			`"><sheets><sheet name="log" sheetId="1" r:id="s1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels": `<Relationships ` + nsRels + `><Relationship Id="s1" Type="` + relType +
			`worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="s2" Type="` + relType +
			`sharedStrings" Target="/xl/sharedStrings.xml"/><Relationship Id="s3" Type="` + relType +
			`styles" Target="styles.xml"/></Relationships>`,
		"xl/worksheets/sheet1.xml": sheet,
		"xl/sharedStrings.xml":     `<sst ` + nsMain + `><si><t>shared</t></si></sst>`,
		"xl/styles.xml": `<styleSheet ` + nsMain + `><numFmts><numFmt numFmtId="164" formatCode="0000"/>` +
			`<numFmt numFmtId="165" formatCode="dd/mm/yyyy"/><numFmt numFmtId="166" formatCode="[h]:mm"/></numFmts>` +
			`<cellXfs><xf numFmtId="0"/><xf numFmtId="14"/><xf numFmtId="164"/><xf numFmtId="165"/>` +
			`<xf numFmtId="166"/><xf numFmtId="20"/><xf numFmtId="22"/></cellXfs></styleSheet>`,
	}
}

func (b rawBook) with(name string, content any) rawBook {
	b[name] = content
	return b
}

// replace replaces a text that must be in a part.
func (b rawBook) replace(name, old, with string) rawBook {
	s := b[name].(string)
	if !strings.Contains(s, old) {
		panic("nothing to replace in " + name)
	}
	return b.with(name, strings.Replace(s, old, with, 1))
}

// bytes packs the parts.
func (b rawBook) bytes(t testing.TB) []byte {
	t.Helper()
	var names []string
	for n := range b {
		names = append(names, n)
	}
	slices.Sort(names)
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) {
		return flate.NewWriter(w, flate.BestSpeed)
	})
	for _, n := range names {
		w, err := z.Create(n)
		if err != nil {
			t.Fatal(err)
		}
		switch c := b[n].(type) {
		case string:
			io.WriteString(w, c)
		case func(io.Writer):
			c(w)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// repeat writes s n times, with the number in place of %d.
func repeat(before, s string, n int, after string) func(io.Writer) {
	return func(w io.Writer) {
		var buf bytes.Buffer
		buf.WriteString(before)
		for i := range n {
			if strings.Contains(s, "%d") {
				fmt.Fprintf(&buf, s, i+1)
			} else {
				buf.WriteString(s)
			}
			if buf.Len() > 1<<20 {
				w.Write(buf.Bytes())
				buf.Reset()
			}
		}
		buf.WriteString(after)
		w.Write(buf.Bytes())
	}
}
