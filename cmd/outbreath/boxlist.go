package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"outbreath/pack"
	"outbreath/pack/site"
	"outbreath/schema/sessionlog"
	"outbreath/schema/sheet"
)

// tubesForms says in the help of --tubes what its file may be.
const tubesForms = "one per line, or a table (XLSX, CSV); name its column with FILE#HEADING"

// maxBox bounds a file of barcodes, in bytes.
const maxBox = 16 << 20

// siteTubes reads the barcodes of a box at the site, where the records help to find them. The
// log that the records were made from is no list of a box: it would always agree.
func siteTubes(u *ui, root *os.Root, name string, box *site.Box) ([]string, error) {
	path, _ := boxFile(name)
	filled, err := sessionlog.ReadFilled(root)
	if err != nil {
		return nil, err
	}
	if len(filled.Logs) > 0 {
		data, err := readBounded(path, maxBox)
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(data)
		if slices.Contains(filled.Logs, hex.EncodeToString(sum[:])) {
			return nil, usagef("scan the tubes in the box, with --scan or into a file of their own", "%s is the log "+
				"that the records were made from: compared with it, they would always agree", quoted(path))
		}
	}
	recorded := []string{}
	for _, t := range box.Tubes {
		recorded = append(recorded, t.Barcode)
	}
	return scannedTubes(u, name, recorded)
}

// scannedTubes reads a file of barcodes: a list or a table. An empty file means an empty box,
// in which every tube is missing. recorded are the barcodes of the records, as far as they are
// at hand.
func scannedTubes(u *ui, name string, recorded []string) ([]string, error) {
	path, column := boxFile(name)
	data, err := readBounded(path, maxBox)
	if err != nil {
		return nil, err
	}
	if column != "" || sessionlog.IsTable(data, recorded) {
		return tabledTubes(u, path, column, data, recorded)
	}
	box, err := pack.ParseTubes(data)
	if errors.Is(err, pack.ErrNoBarcode) {
		u.say("remark: %s: %s", quoted(path), pack.ErrNoBarcode)
		return []string{}, nil
	}
	if err != nil {
		return nil, usagef("scan the box again, one barcode per line", "%s: %s", quoted(path), err)
	}
	return box, nil
}

// tabledTubes reads the column of barcodes of a table, and says which it is.
func tabledTubes(u *ui, path, column string, data []byte, recorded []string) ([]string, error) {
	tables, err := sheet.Read(filepath.Base(path), data)
	if err != nil {
		return nil, err
	}
	list, err := sessionlog.ReadBox(tables, column, recorded)
	var refused *sessionlog.BoxError
	if errors.As(err, &refused) {
		do := "correct each cell named, save, and run the command again"
		if refused.Column && len(tables) > 0 {
			do = "name the column by its heading, --tubes '" + path + "#HEADING', or by its number, '" + path + "#2'"
			if !tables[0].Text {
				do = "name the column by its heading, --tubes '" + path + "#HEADING', by the sheet too, '" + path +
					"#SHEET#HEADING', or by its letter, '" + path + "#C'"
			}
		}
		return nil, usagef(do, "%s: %s", quoted(path), strings.ReplaceAll(refused.Error(), "\n", "\n  "))
	}
	if err != nil {
		return nil, err
	}
	u.say("%s: read %s from %s", quoted(path), count(len(list.Barcodes), "barcode"), list.From)
	for _, left := range list.Left {
		u.say("remark: %s: %s", quoted(path), left)
	}
	return list.Barcodes, nil
}

// boxFile parts FILE from #COLUMN.
func boxFile(name string) (path, column string) {
	return sessionlog.SplitBox(name, func(file string) bool {
		_, err := lstat(file)
		return err == nil
	})
}
