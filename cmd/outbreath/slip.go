package main

import (
	"fmt"
	"html/template"
	"strings"
	"time"
	"unicode/utf8"

	"outbreath/deid"
	"outbreath/pack"
	"outbreath/pack/symbol"
)

var slipPage = template.Must(template.New("slip.html.tmpl").
	Funcs(template.FuncMap{"count": count, "letters": letters, "head": head, "position": position}).
	ParseFS(pages, "html/slip.html.tmpl"))

// A slip is the paper that goes into the box. It shows no subject data, but does show the
// session pseudonyms that the laboratory uses.
type slip struct {
	Shipment, Study, Site, Sealed string
	Sessions, Recordings, Tubes   int
	Inside, Strangers             int    // tubes in the box; how many of them have no record
	First                         int    // tubes to analyse first
	Storage                       string // "30 refrigerated, 6 ambient"
	Contact                       string
	Code                          *drawing
	Groups                        []string // the archive's digest in groups, as two lines
	Pages                         []slipSheet
}

// A slipSheet is one sheet of paper.
type slipSheet struct {
	Number, Of int
	Rows       []slipRow
	Last       bool // has the boxes to sign
}

// A slipRow is one tube on the slip.
type slipRow struct {
	Number                              int
	Barcode, Session, Position, Storage string
	First                               bool
	Absent, Stranger                    bool     // as the packer stated: not in the box; without a record
	Code                                *drawing // nil: Barcode cannot be drawn as Code 128
	Wide                                bool     // Code has a line of its own
}

// position draws the tube's position in the sampler, of at most 32 letters.
func position(text string) lettering {
	if utf8.RuneCountInString(text) <= 5 {
		return letters(text, 5, 1.8)
	}
	return letters(text, 10, 1)
}

// A drawing is a symbol with its printed size.
type drawing struct {
	*symbol.Symbol
	WidthMM, HeightMM string
}

// What fits on paper. A4 and Letter share an area of 190 mm by 259 mm (width by height)
// within margins of 10 mm. Every height on the page is fixed in mm, and text that must be
// readable to the last character is drawn by [letters], so that the page is the same
// whichever fonts a computer has. Modules are whole dots of printers with 300 and 600 dots
// per inch.
const (
	rowsLast   = 16 // rows on a sheet that has the boxes to sign
	rowsFull   = 20 // rows on any other sheet
	cellMM     = 64.0
	lineMM     = 178.0
	broadMM    = 4 * 25.4 / 300 // module of a bar code that is short enough
	narrowMM   = 3 * 25.4 / 300 // module of any other bar code
	qrMM       = 9 * 25.4 / 300
	letterMM   = 1.9 // width of a letter of a barcode
	cellLine   = 14  // letters in a line of a barcode's cell, which holds two lines
	wideLine   = 48  // letters in a line of a row of its own
	headLine   = 120.0
	headLetter = 5.3
)

// A lettering is a text in lines in which every letter has the same width in any font.
// Sizes are in mm.
type lettering struct {
	Lines               []letterLine
	Width, Height, Size string
}

type letterLine struct{ Text, Length, Base string }

// letters breaks text into lines of at most perLine letters, each of them wide mm wide. In
// usual fixed-width fonts a letter is 0.6 of the font size wide; the browser stretches or
// squeezes any other font (SVG 2, textLength and lengthAdjust).
func letters(text string, perLine int, wide float64) lettering {
	const lineHeight = 2.2 // in widths of a letter
	mm := func(n float64) string { return fmt.Sprintf("%.2f", n) }
	all := []rune(text)
	l := lettering{Width: mm(float64(min(len(all), perLine)) * wide), Size: mm(wide / 0.6)}
	for len(all) > 0 {
		n := min(len(all), perLine)
		base := (float64(len(l.Lines)) + 0.75) * lineHeight * wide
		l.Lines = append(l.Lines, letterLine{string(all[:n]), mm(float64(n) * wide), mm(base)})
		all = all[n:]
	}
	l.Height = mm(float64(len(l.Lines)) * lineHeight * wide)
	return l
}

// head draws the shipment's number, in smaller letters if it is long.
func head(number string) lettering {
	n := max(1, utf8.RuneCountInString(number))
	return letters(number, n, min(headLetter, headLine/float64(n)))
}

// newSlip makes the slip of a shipment that has just been written. stated are the tubes in
// which box and records differ.
func newSlip(c *deid.Cleared, s *pack.Sealed, sealed time.Time, stated []deid.Discrepancy) (*slip, error) {
	code := pack.SlipCode{Shipment: s.Shipment, SHA256: s.Archive}
	square, err := symbol.QR(code.Format())
	if err != nil {
		return nil, err
	}
	p := &slip{
		Shipment: s.Shipment, Study: c.Study().Study, Site: c.Study().Site, Contact: c.Study().Contact,
		Sealed:   sealed.Format(time.DateOnly),
		Sessions: s.Sessions, Recordings: s.Recordings, Tubes: s.Tubes, Code: draw(square, qrMM, qrMM),
	}
	groups := code.Groups()
	p.Groups = []string{strings.Join(groups[:8], " "), strings.Join(groups[8:], " ")}
	p.fill(c.Tubes(), stated)
	return p, nil
}

// fill lays out the tubes of the records, then those without a record.
func (p *slip) fill(tubes []deid.ClearedTube, stated []deid.Discrepancy) {
	var rows []slipRow
	kept, absent := map[string]int{}, map[string]bool{}
	for _, d := range stated {
		absent[d.Barcode] = d.Kind == deid.TubeMissing
	}
	for i, t := range tubes {
		row := slipRow{Number: i + 1, Barcode: t.Barcode, Session: t.Session, Position: t.Position, Storage: t.Storage,
			First: t.First}
		if row.Absent = absent[t.Barcode]; row.Absent {
			row.First, row.Storage = false, ""
			row.Wide = utf8.RuneCountInString(row.Barcode) > 2*cellLine
			rows = append(rows, row)
			continue
		}
		p.Inside++
		row.draw()
		if row.First {
			p.First++
		}
		if t.Storage != "" {
			kept[t.Storage]++
		}
		rows = append(rows, row)
	}
	for _, d := range stated {
		if d.Kind == deid.TubeUnexpected {
			row := slipRow{Number: len(rows) + 1, Barcode: d.Barcode, Stranger: true}
			row.draw()
			rows = append(rows, row)
			p.Inside++
			p.Strangers++
		}
	}
	var storage []string
	for _, k := range sortedKeys(kept) {
		storage = append(storage, fmt.Sprintf("%d %s", kept[k], k))
	}
	p.Storage = strings.Join(storage, ", ")
	p.Pages = sheets(rows)
}

// draw chooses the size of the bar code: in its cell with broad modules, with narrow ones, or
// on a line of its own. Code remains nil if the barcode cannot be drawn as Code 128.
func (r *slipRow) draw() {
	code, err := symbol.Code128(r.Barcode)
	r.Wide = utf8.RuneCountInString(r.Barcode) > 2*cellLine
	switch {
	case err != nil:
	case !r.Wide && float64(code.Width)*broadMM <= cellMM:
		r.Code = draw(code, broadMM, 7)
	case !r.Wide && float64(code.Width)*narrowMM <= cellMM:
		r.Code = draw(code, narrowMM, 7)
	case float64(code.Width)*narrowMM <= lineMM:
		r.Code, r.Wide = draw(code, narrowMM, 7), true
	}
}

// draw gives a symbol its printed size: each module is module mm wide and tall mm high.
func draw(s *symbol.Symbol, module, tall float64) *drawing {
	return &drawing{s, fmt.Sprintf("%.3f", float64(s.Width)*module), fmt.Sprintf("%.3f", float64(s.Height)*tall)}
}

// sheets distributes the rows over sheets of paper. The last sheet has the boxes to sign
// and, unless the box is empty, at least one row.
func sheets(rows []slipRow) []slipSheet {
	var all []slipSheet
	for {
		free, n := rowsFull, 0
		whole := 0
		for _, r := range rows {
			whole += r.height()
		}
		last := whole <= rowsLast
		for n < len(rows) && free >= rows[n].height() && (last || n < len(rows)-1) {
			free -= rows[n].height()
			n++
		}
		all = append(all, slipSheet{Number: len(all) + 1, Rows: rows[:n], Last: last})
		if rows = rows[n:]; last {
			break
		}
	}
	for i := range all {
		all[i].Of = len(all)
	}
	return all
}

// height returns how many rows of the usual height r needs. Each holds two lines of
// letters.
func (r *slipRow) height() int {
	if r.Wide && r.Code != nil {
		return r.TextRows() + 1
	}
	return r.TextRows()
}

// TextRows returns how many rows the letters of the barcode take, with the remark above them
// if there is one.
func (r *slipRow) TextRows() int {
	if !r.Wide {
		return 1
	}
	lines := (utf8.RuneCountInString(r.Barcode) + wideLine - 1) / wideLine
	if r.Absent || r.Code == nil {
		lines++
	}
	return (lines + 1) / 2
}

// Absent returns how many recorded tubes are not in the box.
func (p *slip) Absent() int { return p.Tubes - (p.Inside - p.Strangers) }
