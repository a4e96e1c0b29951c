package sessionlog

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"outbreath/schema/sheet"
)

// TestOfficeSaves: the plain log, typed into our own workbook, then opened and saved by
// LibreOffice as a workbook and as a text table, gives the records of the plain log.
func TestOfficeSaves(t *testing.T) {
	program, err := exec.LookPath("soffice")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("soffice is missing")
		}
		t.Skip("soffice is missing")
	}
	log := [2][][]string{grid(t, plainLog[0]), grid(t, plainLog[1])}
	in := inputs(t)
	want := bytesOf(in.Plan, Read(textTables(t, log, ",", utf8Bytes), in, nil))
	dir, settings := t.TempDir(), t.TempDir()
	var buf bytes.Buffer
	if err := sheet.Write(&buf, typedIntoOurs(t, log)); err != nil {
		t.Fatal(err)
	}
	ours := filepath.Join(dir, LogFile)
	if err := os.WriteFile(ours, buf.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, filter := range []string{
		"xlsx:Calc MS Excel 2007 XML",
		// A file a sheet, values as shown, parted by semicolons.
		"csv:Text - txt - csv (StarCalc):59,34,76,1,,0,false,true,false,false,false,-1",
	} {
		t.Run(filter[:4], func(t *testing.T) {
			out := t.TempDir()
			said, err := exec.Command(program, "-env:UserInstallation=file://"+settings, "--headless",
				"--convert-to", filter,
				"--outdir", out, ours).CombinedOutput()
			files, _ := filepath.Glob(filepath.Join(out, "*"))
			if err != nil || len(files) == 0 {
				t.Fatalf("soffice: %v\n%s", err, said)
			}
			var tables []sheet.Table
			for _, name := range files {
				if filepath.Base(name) == "session-log-"+ExplainedSheet+".csv" {
					continue
				}
				data, err := os.ReadFile(name)
				if err != nil {
					t.Fatal(err)
				}
				read, err := sheet.Read(name, data)
				if err != nil {
					t.Fatal(err)
				}
				tables = append(tables, read...)
			}
			r := Read(tables, in, nil)
			quiet(t, r)
			if got := bytesOf(in.Plan, r); got != want {
				t.Errorf("other records\n%s\n%s", got, understood(r))
			}
		})
	}
}

// typedIntoOurs puts the plain log into the workbook that we write.
func typedIntoOurs(t *testing.T, log [2][][]string) sheet.Book {
	t.Helper()
	h := newHeads(shifted(t))
	book := Workbook(shifted(t), study)
	for i, name := range []string{SessionsSheet, "tubes"} {
		for s := range book.Sheets {
			if book.Sheets[s].Name != name {
				continue
			}
			for _, values := range log[i][1:] {
				row := make([]sheet.Cell, len(book.Sheets[s].Columns))
				for j, heading := range log[i][0] {
					m := h.meanings(name, heading)
					if len(m) != 1 {
						t.Fatalf("%s: %v", heading, m)
					}
					for k, c := range book.Sheets[s].Columns {
						if c.Heading == m[0].column.Heading && values[j] != "" {
							row[k] = sheet.Cell{Kind: sheet.Text, Text: values[j]}
							if c.Format == sheet.AsNumber {
								row[k].Kind = sheet.Number
							}
						}
					}
				}
				book.Sheets[s].Rows = append(book.Sheets[s].Rows, row)
			}
		}
	}
	return book
}
