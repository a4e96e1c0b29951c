package sheet

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// Write writes a workbook. Equal books give equal bytes. The error is one of w,
// or says which sheet has a value that no workbook can hold; nothing has been
// written then.
func Write(w io.Writer, b Book) error {
	f := excelize.NewFile()
	defer f.Close()
	out := &writer{file: f}
	if err := out.book(b); err != nil {
		return fmt.Errorf("sheet: workbook: %w", err)
	}
	_, err := f.WriteTo(w)
	return err
}

// A writer writes one workbook. Its styles are those of the library's table.
type writer struct {
	file                  *excelize.File
	text, number, heading int
	date, clock, both     int
	wrapped, title        int
	lists                 [][]string // columns of the sheet of lists
}

func (w *writer) book(b Book) error {
	if err := w.styles(); err != nil {
		return err
	}
	for i, s := range b.Sheets {
		if err := w.newSheet(i, s.Name); err != nil {
			return err
		}
		if err := w.sheet(s); err != nil {
			return fmt.Errorf("sheet %s: %w", s.Name, err)
		}
	}
	for i, p := range b.Pages {
		if err := w.newSheet(len(b.Sheets)+i, p.Name); err != nil {
			return err
		}
		if err := w.page(p); err != nil {
			return fmt.Errorf("sheet %s: %w", p.Name, err)
		}
	}
	if err := w.writeLists(); err != nil {
		return err
	}
	w.file.SetActiveSheet(0)
	return w.file.SetDocProps(&excelize.DocProperties{ // the library's own name and no person's otherwise
		Created: "2000-01-01T00:00:00Z", Modified: "2000-01-01T00:00:00Z", Creator: "outbreath",
	})
}

func (w *writer) styles() error {
	const textFormat, iso, isoClock, isoBoth = "@", "yyyy-mm-dd", "hh:mm:ss", `yyyy-mm-dd"T"hh:mm:ss`
	custom := func(code string) *excelize.Style { return &excelize.Style{CustomNumFmt: &code} }
	wrap := &excelize.Alignment{WrapText: true, Vertical: "top"}
	for _, s := range []struct {
		to    *int
		style *excelize.Style
	}{
		{&w.text, &excelize.Style{NumFmt: 49}}, // 49 is "@", text
		{&w.number, &excelize.Style{}},
		{&w.heading, &excelize.Style{NumFmt: 49, Alignment: wrap, Font: &excelize.Font{Bold: true},
			Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"E4E4E4"}}}},
		{&w.date, custom(iso)},
		{&w.clock, custom(isoClock)},
		{&w.both, custom(isoBoth)},
		{&w.wrapped, &excelize.Style{NumFmt: 49, Alignment: wrap}},
		{&w.title, &excelize.Style{NumFmt: 49, Alignment: wrap, Font: &excelize.Font{Bold: true}}},
	} {
		id, err := w.file.NewStyle(s.style)
		if err != nil {
			return err
		}
		*s.to = id
	}
	return nil
}

// newSheet makes sheet number i; a new file of the library has one.
func (w *writer) newSheet(i int, name string) error {
	if i == 0 {
		return w.file.SetSheetName("Sheet1", name)
	}
	if n, err := w.file.GetSheetIndex(name); err != nil || n >= 0 {
		return fmt.Errorf("two sheets are called %s", name)
	}
	_, err := w.file.NewSheet(name)
	return err
}

func (w *writer) sheet(s Sheet) error {
	for i, c := range s.Columns {
		if err := w.column(s.Name, i, c); err != nil {
			return fmt.Errorf("column %s: %w", Letters(i), err)
		}
	}
	for i, row := range s.Rows {
		for j, c := range row {
			ref := fmt.Sprintf("%s%d", Letters(j), i+2)
			if err := w.cell(s.Name, ref, c); err != nil {
				return fmt.Errorf("cell %s: %w", ref, err)
			}
		}
	}
	if err := w.file.SetRowStyle(s.Name, 1, 1, w.heading); err != nil {
		return err
	}
	return w.file.SetPanes(s.Name, &excelize.Panes{
		Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft",
	})
}

func (w *writer) column(sheet string, i int, c Column) error {
	col, head := Letters(i), Letters(i)+"1"
	style := w.text
	if c.Format == AsNumber {
		style = w.number
	}
	if err := w.file.SetColStyle(sheet, col, style); err != nil {
		return err
	}
	width := c.Width
	if width == 0 {
		width = float64(utf8.RuneCountInString(c.Heading) + 2)
	}
	if err := w.file.SetColWidth(sheet, col, col, min(width, 80)); err != nil {
		return err
	}
	if err := w.str(sheet, head, c.Heading, w.heading); err != nil {
		return err
	}
	if c.Comment != "" {
		if err := w.file.AddComment(sheet, excelize.Comment{Cell: head, Author: "outbreath", Text: c.Comment,
			Width: 320, Height: uint(60 + 20*(utf8.RuneCountInString(c.Comment)/40))}); err != nil {
			return err
		}
	}
	return w.check(sheet, col, c)
}

// check adds the drop-down list, the bounds and the explanation of a column.
func (w *writer) check(sheet, col string, c Column) error {
	if c.Comment == "" && c.Choices == nil && c.Check == nil {
		return nil
	}
	dv := excelize.NewDataValidation(true)
	dv.SetSqref(fmt.Sprintf("%s2:%s%d", col, col, MaxRows))
	if c.Comment != "" {
		dv.SetInput(cut(c.Heading, 32), cut(c.Comment, 255))
	}
	message := "this value is not one that is expected here"
	switch {
	case c.Choices != nil:
		message = "this value is not in the list"
		if err := w.choices(dv, c.Choices); err != nil {
			return err
		}
	case c.Check != nil:
		if c.Check.Message != "" {
			message = c.Check.Message
		}
		if err := c.Check.set(dv); err != nil {
			return err
		}
	}
	if dv.Type != "" {
		dv.SetError(excelize.DataValidationErrorStyleWarning, cut(c.Heading, 32), cut(message, 255))
	}
	return w.file.AddDataValidation(sheet, dv)
}

// choices sets a drop-down list: in the check itself where it fits, otherwise in
// a column of the hidden sheet of lists.
func (w *writer) choices(dv *excelize.DataValidation, choices []string) error {
	all := strings.Join(choices, ",")
	if utf16Length(all) <= 255 && strings.Count(all, ",") == len(choices)-1 && !strings.HasPrefix(all, "=") {
		return dv.SetDropList(choices)
	}
	col := Letters(len(w.lists))
	w.lists = append(w.lists, choices)
	dv.SetSqrefDropList(fmt.Sprintf("%s!$%s$1:$%s$%d", ListsName, col, col, len(choices)))
	return nil
}

// writeLists adds the hidden sheet of lists if there is one, last of all.
func (w *writer) writeLists() error {
	if len(w.lists) == 0 {
		return nil
	}
	if err := w.newSheet(w.file.SheetCount, ListsName); err != nil {
		return err
	}
	for i, list := range w.lists {
		for j, c := range list {
			if err := w.str(ListsName, fmt.Sprintf("%s%d", Letters(i), j+1), c, w.text); err != nil {
				return err
			}
		}
	}
	return w.file.SetSheetVisible(ListsName, false)
}

// set sets the bounds of a check.
func (c *Check) set(dv *excelize.DataValidation) error {
	kind, lower, upper := excelize.DataValidationTypeDecimal, any(nil), any(nil)
	switch {
	case c.Min != nil || c.Max != nil:
		if c.Min != nil {
			lower = *c.Min
		}
		if c.Max != nil {
			upper = *c.Max
		}
	case c.MinLen > 0 || c.MaxLen > 0:
		kind, lower = excelize.DataValidationTypeTextLength, c.MinLen
		if c.MaxLen > 0 {
			upper = c.MaxLen
		}
	default:
		return nil
	}
	switch {
	case upper == nil:
		return dv.SetRange(lower, "", kind, excelize.DataValidationOperatorGreaterThanOrEqual)
	case lower == nil:
		return dv.SetRange(upper, "", kind, excelize.DataValidationOperatorLessThanOrEqual)
	}
	return dv.SetRange(lower, upper, kind, excelize.DataValidationOperatorBetween)
}

// cut shortens s to n UTF-16 units.
func cut(s string, n int) string {
	if utf16Length(s) <= n {
		return s
	}
	for utf16Length(s) > n-1 {
		_, size := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-size]
	}
	return s + "…"
}

// str writes a text. It is refused where the library would shorten or the
// format could not hold it.
func (w *writer) str(sheet, ref, s string, style int) error {
	if utf16Length(s) > MaxCell || !utf8.ValidString(s) || hasControl(s) || strings.Contains(s, "\r") {
		return fmt.Errorf("a text that no cell can hold")
	}
	if err := w.file.SetCellStr(sheet, ref, escape(s)); err != nil {
		return err
	}
	return w.file.SetCellStyle(sheet, ref, ref, style)
}

func (w *writer) cell(sheet, ref string, c Cell) error {
	switch c.Kind {
	case Empty:
		return nil
	case Text:
		return w.str(sheet, ref, c.Text, w.text)
	case Bool:
		return w.file.SetCellBool(sheet, ref, c.Text == "TRUE")
	case Number:
		if !digits.MatchString(c.Text) {
			return fmt.Errorf("a number that has no digits")
		}
		if err := w.file.SetCellDefault(sheet, ref, c.Text); err != nil {
			return err
		}
		return w.file.SetCellStyle(sheet, ref, ref, w.number)
	case Time:
		return w.time(sheet, ref, c.Text)
	}
	return fmt.Errorf("a value of a kind that cannot be written")
}

// time writes a date, a time of day or both as a serial number.
func (w *writer) time(sheet, ref, text string) error {
	base := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	for _, form := range []struct {
		layout string
		style  int
	}{{"2006-01-02T15:04:05", w.both}, {"2006-01-02", w.date}, {"15:04:05", w.clock}} {
		t, err := time.Parse(form.layout, text)
		if err != nil {
			continue
		}
		since := t.Unix() - base.Unix() // a time.Duration ends after 292 years
		switch {
		case form.style == w.clock:
			since = t.Unix() - time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
		case t.Before(time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC)):
			return fmt.Errorf("a date before March 1900, from which programs count days alike")
		}
		if err := w.file.SetCellValue(sheet, ref, float64(since)/86_400); err != nil {
			return err
		}
		return w.file.SetCellStyle(sheet, ref, ref, form.style)
	}
	return fmt.Errorf("a time that has none of the forms of Cell.Text")
}

func (w *writer) page(p Page) error {
	for i, width := range p.Widths {
		if err := w.file.SetColWidth(p.Name, Letters(i), Letters(i), width); err != nil {
			return err
		}
	}
	for i, line := range p.Lines {
		style := w.wrapped
		if line.Heading {
			style = w.title
		}
		for j, text := range line.Texts {
			if err := w.str(p.Name, fmt.Sprintf("%s%d", Letters(j), i+1), text, style); err != nil {
				return fmt.Errorf("line %d: %w", i+1, err)
			}
		}
	}
	return nil
}
