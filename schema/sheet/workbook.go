package sheet

import (
	"encoding/xml"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
)

// A workbook is what the cells of its sheets refer to.
type workbook struct {
	archive *archive
	sheets  []sheetEntry
	strings []string     // shared; a cell has an index
	struck  map[int]bool // shared strings that are crossed out, or a part of them
	formats formats
	cells   int // read so far, in all sheets
	length  int // bytes of their texts
	notes   []string
}

// A sheetEntry is a line of the workbook's list of sheets.
type sheetEntry struct {
	name, part string
	hidden     bool
}

// readWorkbook reads the workbook in a ZIP archive. It leaves to the library
// only what cannot be bounded badly, the showing of numbers: excelize unpacks
// every part, writes large ones to temporary files, fills a row up to its last
// cell, and ends a sheet without an error where its XML is damaged.
func readWorkbook(data []byte) ([]Table, *Refusal) {
	a, r := openArchive(data)
	if r != nil {
		return nil, r
	}
	main, r := a.mainPart()
	if r != nil {
		return nil, r
	}
	w := &workbook{archive: a}
	if r := w.readMain(main); r != nil {
		return nil, r
	}
	var tables []Table
	for _, s := range w.sheets {
		t, r := w.readSheet(s)
		if r != nil {
			if r.Where == "" {
				r.Where = "sheet " + s.name
			}
			return nil, r
		}
		if len(t.Rows) > 0 {
			t.Notes = slices.Clip(w.notes) // shared: whoever appends gets a copy
			tables = append(tables, *t)
		}
	}
	return tables, nil
}

// mainPart finds the workbook in the archive, or says what the archive is.
func (a *archive) mainPart() (string, *Refusal) {
	if f := a.files["mimetype"]; f != nil { // OpenDocument 1.3 Part 2, 3.3
		if m, err := f.Open(); err == nil {
			defer m.Close()
			head, _ := io.ReadAll(io.LimitReader(m, 100))
			if strings.HasPrefix(string(head), "application/vnd.oasis.opendocument.") {
				return "", refuse("is an OpenDocument file (.ods), whatever its name ends in: " + saveAs)
			}
		}
	}
	if !a.has("_rels/.rels") {
		return "", refuse("is a ZIP archive without a workbook in it: unpack it and name the log in it, or " + saveAs)
	}
	rels, r := a.relations("")
	if r != nil {
		return "", r
	}
	for _, rel := range rels {
		switch {
		case rel.kind != "officeDocument":
		case strings.HasSuffix(rel.target, ".bin"):
			return "", refuse("is a binary workbook (.xlsb), whatever its name ends in: " + saveAs)
		case !strings.HasPrefix(rel.target, "xl/"):
			return "", refuse("is a document or a presentation and no table: use the workbook of the log")
		default:
			return rel.target, nil
		}
	}
	return "", refuse(damaged)
}

// A relation says what another part is to one.
type relation struct {
	id       string
	kind     string // last element of the type's URI, the same in both dialects of ECMA-376
	target   string // name of the part
	external bool   // outside of the archive
}

// relations reads what belongs to a part, "" for the archive as a whole.
func (a *archive) relations(of string) ([]relation, *Refusal) {
	dir, base := path.Split(of)
	p, r := a.open(dir + "_rels/" + base + ".rels")
	if r != nil {
		return nil, r
	}
	defer p.close()
	var rels []relation
	r = p.root(func(e xml.StartElement) *Refusal {
		target := attr(e, "Target")
		if !strings.HasPrefix(target, "/") {
			target = dir + target
		}
		rels = append(rels, relation{
			id:       attr(e, "Id"),
			kind:     path.Base(attr(e, "Type")),
			target:   strings.TrimPrefix(path.Clean("/"+target), "/"),
			external: attr(e, "TargetMode") == "External",
		})
		if len(rels) > maxParts {
			return refuse(damaged)
		}
		return nil
	})
	return rels, r
}

// readMain reads the list of sheets and what all sheets share.
func (w *workbook) readMain(main string) *Refusal {
	rels, r := w.archive.relations(main)
	if r != nil {
		return r
	}
	sheets := map[string]relation{}
	var stylesPart, stringsPart string
	for _, rel := range rels {
		switch rel.kind {
		case "worksheet":
			if rel.external {
				return refuse(linked)
			}
			sheets[rel.id] = rel
		case "externalLink":
			return refuse(linked)
		case "styles":
			stylesPart = rel.target
		case "sharedStrings":
			stringsPart = rel.target
		case "vbaProject":
			w.notes = append(w.notes, "has macros, which were not run")
		}
	}
	if r := w.readList(main, sheets); r != nil {
		return r
	}
	if stylesPart != "" {
		if r := w.readStyles(stylesPart); r != nil {
			return r
		}
	}
	if stringsPart != "" {
		return w.readStrings(stringsPart)
	}
	return nil
}

const linked = "takes values from another file, and these may be old: copy the rows, paste them " +
	"as values only into a new workbook, and save that"

// readList reads workbook.xml. Sheets that are charts or macros are left out.
func (w *workbook) readList(main string, rels map[string]relation) *Refusal {
	p, r := w.archive.open(main)
	if r != nil {
		return r
	}
	defer p.close()
	return p.root(func(e xml.StartElement) *Refusal {
		switch e.Name.Local {
		case "workbookPr":
			if isTrue(attr(e, "date1904")) {
				w.formats.from1904 = true
				w.notes = append(w.notes, "dates count from 1904")
			}
		case "sheets":
			return p.children(func(e xml.StartElement) *Refusal {
				rel, ok := rels[attr(e, "id")]
				if !ok {
					return nil
				}
				s := sheetEntry{name: attr(e, "name"), part: rel.target}
				s.hidden = attr(e, "state") == "hidden" || attr(e, "state") == "veryHidden"
				if utf16Length(s.name) > 255 || hasControl(s.name) {
					return refuse(damaged)
				}
				w.sheets = append(w.sheets, s)
				if len(w.sheets) > MaxSheets {
					return refuse(fmt.Sprintf("has more than %d sheets: "+
						"copy the sheets of the log into a new workbook", MaxSheets))
				}
				return nil
			})
		}
		return nil
	})
}

// readStrings reads the shared strings.
func (w *workbook) readStrings(name string) *Refusal {
	p, r := w.archive.open(name)
	if r != nil {
		return r
	}
	defer p.close()
	return p.root(func(e xml.StartElement) *Refusal {
		if e.Name.Local != "si" {
			return nil
		}
		s, struck, r := p.richText()
		if r != nil {
			return r
		}
		if struck {
			if w.struck == nil {
				w.struck = map[int]bool{}
			}
			w.struck[len(w.strings)] = true
		}
		if w.strings = append(w.strings, s); len(w.strings) > MaxCells {
			return refuse(tooMany)
		}
		return nil
	})
}

// richText reads the text of the current element (CT_Rst): one text, or runs of
// them, without phonetic hints. struck says that one of the runs is crossed out.
func (p *part) richText() (text string, struck bool, r *Refusal) {
	var all strings.Builder
	add := func() *Refusal {
		s, r := p.text()
		if all.WriteString(s); all.Len() > 8*MaxCell { // escaped, a character may have seven bytes
			return refuse(tooLong)
		}
		return r
	}
	r = p.children(func(e xml.StartElement) *Refusal {
		switch e.Name.Local {
		case "t":
			return add()
		case "r":
			return p.children(func(e xml.StartElement) *Refusal {
				switch e.Name.Local {
				case "t":
					return add()
				case "rPr":
					return p.children(func(e xml.StartElement) *Refusal {
						struck = struck || crossesOut(e)
						return nil
					})
				}
				return nil
			})
		}
		return nil
	})
	return unescape(all.String()), struck, r
}
