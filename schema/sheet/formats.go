package sheet

import (
	"encoding/xml"
	"strconv"
	"strings"

	"github.com/xuri/nfp"
)

// formats are the number formats of a workbook.
type formats struct {
	from1904 bool
	codes    map[int]string // custom formats by their id
	styles   []int          // a cell has an index into them: ids of formats
	known    map[int]format
	show     shower
}

// A format says how numbers are shown. The zero format is General.
type format struct {
	id      int
	code    string // "" for a built-in one
	date    bool   // shows year, month or day
	clock   bool   // shows hours, minutes or seconds
	elapsed bool   // shows hours beyond 24 ("[h]:mm")
	region  bool   // what it shows depends on the settings of the computer
}

const maxFormats = 10_000

// readStyles reads the number formats from styles.xml.
func (w *workbook) readStyles(name string) *Refusal {
	p, r := w.archive.open(name)
	if r != nil {
		return r
	}
	defer p.close()
	f := &w.formats
	f.codes = map[int]string{}
	return p.root(func(e xml.StartElement) *Refusal {
		return p.children(func(in xml.StartElement) *Refusal {
			switch {
			case e.Name.Local == "numFmts" && in.Name.Local == "numFmt":
				if id, err := strconv.Atoi(attr(in, "numFmtId")); err == nil {
					f.codes[id] = attr(in, "formatCode")
				}
			case e.Name.Local == "cellXfs" && in.Name.Local == "xf":
				id, _ := strconv.Atoi(attr(in, "numFmtId")) // absent: General
				f.styles = append(f.styles, id)
			}
			if len(f.codes) > maxFormats || len(f.styles) > 65_536 { // the second is the programs' own bound
				return refuse(damaged)
			}
			return nil
		})
	})
}

// of returns the format of a cell's style.
func (f *formats) of(style int) format {
	if style < 0 || style >= len(f.styles) {
		return format{}
	}
	id := f.styles[style]
	found, ok := f.known[id]
	if !ok {
		found = parseFormat(id, f.codes[id])
		if f.known == nil {
			f.known = map[int]format{}
		}
		f.known[id] = found
	}
	return found
}

// parseFormat tells what a format shows. The built-in ones are those of ECMA-376
// Part 1, 18.8.30, with the East Asian ones (27 to 36, 50 to 58), all dates.
func parseFormat(id int, code string) format {
	f := format{id: id, code: code}
	switch {
	case code != "":
		f.parse()
	case id == 14, id >= 27 && id <= 31, id == 36, id >= 50 && id <= 54, id == 57, id == 58:
		f.date, f.region = true, true
	case id >= 15 && id <= 17:
		f.date = true
	case id >= 18 && id <= 21, id == 45, id == 47:
		f.clock = true
	case id == 22:
		f.date, f.clock, f.region = true, true, true
	case id == 46:
		f.clock, f.elapsed = true, true
	case id >= 32 && id <= 35, id == 55, id == 56:
		f.clock, f.region = true, true
	}
	return f
}

// maxCode is the number of characters of a format code that is looked at; the
// programs allow 255.
const maxCode = 255

// parse reads f.code by its first section, that of positive numbers.
func (f *format) parse() {
	if len(f.code) > 4*maxCode {
		return
	}
	if strings.Contains(f.code, "[$-F800]") || strings.Contains(f.code, "[$-F400]") {
		f.region = true // the computer's long date, its time
	}
	parser := nfp.NumberFormatParser()
	sections := parser.Parse(f.code)
	if len(sections) == 0 {
		return
	}
	var parts []string
	for _, t := range sections[0].Items {
		switch t.TType {
		case nfp.TokenTypeDateTimes:
			parts = append(parts, strings.ToLower(t.TValue))
		case nfp.TokenTypeElapsedDateTimes:
			parts = append(parts, "["+strings.ToLower(t.TValue))
			f.elapsed = true
		}
	}
	for i, p := range parts {
		switch {
		case strings.ContainsAny(p[:1], "hs["), strings.Contains(p, "/"): // AM/PM, A/P and their like
			f.clock = true
		case p[0] == 'm': // minutes after hours and before seconds, else months
			before := i > 0 && strings.Contains(parts[i-1], "h")
			after := i+1 < len(parts) && strings.Contains(parts[i+1], "s")
			if len(p) <= 2 && (before || after) {
				f.clock = true
			} else {
				f.date = true
			}
		default:
			f.date = true
		}
	}
}
