package sessionlog

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"outbreath/schema"
	"outbreath/schema/sheet"
)

func shifted(t testing.TB) *schema.Plan {
	t.Helper()
	p, err := schema.LoadPlan("shifted")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

var study = &schema.Study{Study: "LARK-2", Site: "WEIR"}

func inputs(t testing.TB) Inputs {
	t.Helper()
	return Inputs{Plan: shifted(t), Study: study, Zone: "Europe/Berlin",
		Today: time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)}
}

// csvLog reads text tables; names are those of the files.
func csvLog(t testing.TB, files ...[2]string) []sheet.Table {
	t.Helper()
	var tables []sheet.Table
	for _, f := range files {
		read, err := sheet.Read(f[0], []byte(f[1]))
		if err != nil {
			t.Fatal(err)
		}
		tables = append(tables, read...)
	}
	return tables
}

// bytesOf is all records of a reading as they would be written.
func bytesOf(p *schema.Plan, r *Reading) string {
	var b strings.Builder
	for _, rec := range r.Records {
		b.Write(p.Outline().Record(rec.Values).Encode())
	}
	return b.String()
}

// told is all that a reading asks and objects to, for failures of tests.
func told(r *Reading) string {
	var b strings.Builder
	for _, d := range r.Doubts {
		fmt.Fprintf(&b, "doubt %s [%s] at %s: %s %v\n", d.ID, d.Option, d.Where, d.Question, d.Choices)
	}
	for _, p := range r.Problems {
		fmt.Fprintf(&b, "problem at %s (%s): %s\n", p.Where, p.Field, p.Message)
	}
	return b.String()
}

func understood(r *Reading) string {
	var b strings.Builder
	for _, u := range r.Understood {
		fmt.Fprintf(&b, "%s %q -> %s: %s\n", u.Where, u.Heading, u.Field, u.How)
	}
	return b.String()
}

func quiet(t testing.TB, r *Reading) {
	t.Helper()
	if s := told(r); s != "" {
		t.Errorf("%s\n%s", s, understood(r))
	}
}

// workbook returns the tables of a written and read workbook.
func workbook(t testing.TB, b sheet.Book) []sheet.Table {
	t.Helper()
	var buf bytes.Buffer
	if err := sheet.Write(&buf, b); err != nil {
		t.Fatal(err)
	}
	tables, err := sheet.Read(LogFile, buf.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	return tables
}
