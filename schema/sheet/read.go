package sheet

import (
	"bytes"
	"path/filepath"
	"strings"
)

// Read returns the tables of a file: the sheets of a workbook, in its order,
// hidden ones included, or a text table alone. data is the file, whole; file is
// its name, used in messages, to recognise lock files, and for a note where name
// and content disagree. Sheets and rows without any value are left out, so there
// may be no table at all in a workbook. The error is a *Refusal.
func Read(file string, data []byte) ([]Table, error) {
	tables, err := read(file, data)
	if err != nil {
		err.File = file
		return nil, err
	}
	for i := range tables {
		tables[i].File = file
	}
	return tables, nil
}

func read(file string, data []byte) ([]Table, *Refusal) {
	if r := lockFile(file); r != nil {
		return nil, r
	}
	if len(data) == 0 {
		return nil, refuse("is empty (0 bytes): copy the file again, or save the log again")
	}
	if len(data) > MaxFile {
		return nil, refuse("has more than 64 MiB, which no log has: " +
			"check that this is the log, and copy its rows alone into a new workbook")
	}
	if r := foreign(data); r != nil {
		return nil, r
	}
	if isArchive(data) {
		tables, r := readWorkbook(data)
		if r == nil && !namedWorkbook(file) {
			for i := range tables {
				tables[i].Notes = append(tables[i].Notes, "a workbook, though the name is that of another file")
			}
		}
		return tables, r
	}
	t, r := readText(data)
	if r != nil {
		return nil, r
	}
	if namedWorkbook(file) {
		t.Notes = append(t.Notes, "a text table, though the name is that of a workbook")
	}
	return []Table{*t}, nil
}

// lockFile refuses the small files that spreadsheet programs leave beside an
// open workbook. They hold the name of whoever opened it, and no table.
func lockFile(file string) *Refusal {
	base := filepath.Base(strings.ReplaceAll(file, `\`, "/"))
	if strings.HasPrefix(base, "~$") || strings.HasPrefix(base, ".~lock.") {
		return refuse("is not the log but the mark that a program makes while the log is open: " +
			"save and close the log there, then name the file without this beginning")
	}
	return nil
}

// isArchive reports whether data begins as a ZIP archive: with a file's header,
// or, where it has no file, with the end of its directory (APPNOTE 4.3.7, 4.3.16).
func isArchive(data []byte) bool {
	return bytes.HasPrefix(data, []byte("PK\x03\x04")) || bytes.HasPrefix(data, []byte("PK\x05\x06"))
}

func namedWorkbook(file string) bool {
	switch strings.ToLower(filepath.Ext(file)) {
	case ".xlsx", ".xlsm", ".xltx", ".xltm":
		return true
	}
	return false
}

const saveAs = `open it in a spreadsheet program and save it as "Excel workbook (.xlsx)" or as CSV`

// foreign recognises formats that are no text and no workbook that Read reads.
func foreign(data []byte) *Refusal {
	begins := func(s string) bool { return bytes.HasPrefix(data, []byte(s)) }
	switch {
	case begins("\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"): // MS-CFB 2.2, the header's signature
		return compound(data)
	case begins("%PDF"), begins(`{\rtf`):
		return refuse("is a document for reading or printing and no table: " +
			"use the file it was made from, as an .xlsx workbook or as CSV")
	case begins("\x89PNG"), begins("\xFF\xD8\xFF"), begins("GIF8"):
		return refuse("is a picture: use the workbook itself, or type its values into session-log.xlsx")
	case begins("\x1F\x8B"), begins("7z\xBC\xAF"), begins("Rar!"), begins("\x28\xB5\x2F\xFD"):
		return refuse("is compressed: unpack it and name the file in it")
	}
	return nil
}

// compound refuses a compound file: the workbooks of before 2007, and a newer
// one under a password, whose name in the directory is EncryptedPackage (MS-OFFCRYPTO 2.3).
func compound(data []byte) *Refusal {
	var name []byte
	for _, c := range []byte("EncryptedPackage") {
		name = append(name, c, 0)
	}
	if bytes.Contains(data, name) {
		return refuse("is protected by a password: open it in the spreadsheet program, " +
			"remove the password to open it, save it under another name and name that file")
	}
	return refuse("is a workbook in the old format (.xls), whatever its name ends in: " + saveAs)
}

func refuse(message string) *Refusal { return &Refusal{Message: message} }
