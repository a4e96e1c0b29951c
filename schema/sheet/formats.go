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
	fonts    []bool         // whether they cross out
	struck   map[int]bool   // styles whose font crosses out
	known    map[int]format
	show     shower
}

// A format says how numbers are shown. The zero format is General.
type format struct {
	id      int
	code    string // "" where only a region has one
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
	xfFonts := []int{} // of each style
	r = p.root(func(e xml.StartElement) *Refusal {
		return p.children(func(in xml.StartElement) *Refusal {
			switch {
			case e.Name.Local == "fonts" && in.Name.Local == "font":
				struck := false
				if r := p.children(func(e xml.StartElement) *Refusal {
					struck = struck || crossesOut(e)
					return nil
				}); r != nil {
					return r
				}
				f.fonts = append(f.fonts, struck)
			case e.Name.Local == "numFmts" && in.Name.Local == "numFmt":
				if id, err := strconv.Atoi(attr(in, "numFmtId")); err == nil {
					f.codes[id] = attr(in, "formatCode")
				}
			case e.Name.Local == "cellXfs" && in.Name.Local == "xf":
				id, _ := strconv.Atoi(attr(in, "numFmtId")) // absent: General
				f.styles = append(f.styles, id)
				font, _ := strconv.Atoi(attr(in, "fontId"))
				xfFonts = append(xfFonts, font)
			}
			// the second is the programs' own bound
			if len(f.codes) > maxFormats || len(f.styles) > 65_536 || len(f.fonts) > 65_536 {
				return refuse(damaged)
			}
			return nil
		})
	})
	f.struck = map[int]bool{}
	for style, font := range xfFonts {
		if font >= 0 && font < len(f.fonts) && f.fonts[font] {
			f.struck[style] = true
		}
	}
	return r
}

// crossesOut reports whether an element of a font's properties is one that crosses out.
//
// Source: ECMA-376 Part 1, 18.4.10 (strike): without val it is true.
func crossesOut(e xml.StartElement) bool {
	val := attr(e, "val")
	return e.Name.Local == "strike" && (val == "" || isTrue(val))
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

// builtIn are the formats that have no code in the file, as far as they are the
// same everywhere.
//
// Source: ECMA-376 Part 1, 18.8.30 (numFmt). The programs show 14 and 22 as the
// region has it; 27 to 36 and 50 to 58 are dates and times of East Asia.
var builtIn = map[int]string{
	1: "0", 2: "0.00", 3: "#,##0", 4: "#,##0.00", 9: "0%", 10: "0.00%", 11: "0.00E+00", 12: "# ?/?", 13: "# ??/??",
	14: "mm-dd-yy", 15: "d-mmm-yy", 16: "d-mmm", 17: "mmm-yy", 18: "h:mm AM/PM", 19: "h:mm:ss AM/PM", 20: "h:mm",
	21: "h:mm:ss", 22: "m/d/yy h:mm", 37: "#,##0 ;(#,##0)", 38: "#,##0 ;(#,##0)", 39: "#,##0.00;(#,##0.00)",
	40: "#,##0.00;(#,##0.00)", 45: "mm:ss", 46: "[h]:mm:ss", 47: "mmss.0", 48: "##0.0E+0",
}

// parseFormat tells what a format shows; code is "" for a built-in one.
func parseFormat(id int, code string) format {
	f := format{id: id, code: code}
	if code == "" {
		f.code = builtIn[id]
		switch {
		case id == 14, id == 22:
			f.region = true
		case id >= 32 && id <= 35, id == 55, id == 56:
			f.clock, f.region = true, true
		case id >= 27 && id <= 36, id >= 50 && id <= 58:
			f.date, f.region = true, true
		}
	}
	f.parse()
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
