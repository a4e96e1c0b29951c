package sheet

import "github.com/xuri/excelize/v2"

// A shower formats numbers as a spreadsheet program does: it writes them into a
// cell of a scratch workbook, because the library formats cells alone.
type shower struct {
	file   *excelize.File
	styles map[int]int // of the scratch workbook, by the format's id
	shown  map[showKey]string
	done   int
}

type showKey struct {
	id     int
	digits string
}

// maxShown is the number of values that are formatted; for more, what is shown
// is not known. It bounds time: a value takes some microseconds.
const maxShown = 20_000

// number returns digits in the format f, "" if that is not known. The library
// counts hours beyond 24 from 1900 where days count from 1904.
func (s *shower) number(digits string, f format, from1904 bool) string {
	if f.code == "" || f.region || f.elapsed && from1904 || len(f.code) > maxCode {
		return ""
	}
	key := showKey{f.id, digits}
	if shown, ok := s.shown[key]; ok {
		return shown
	}
	if s.done++; s.done > maxShown {
		return ""
	}
	shown := s.format(digits, f, from1904)
	if s.shown == nil {
		s.shown = map[showKey]string{}
	}
	s.shown[key] = shown
	return shown
}

func (s *shower) format(digits string, f format, from1904 bool) (shown string) {
	defer func() { // a format is outside input, and the library is not made for hostile ones
		if recover() != nil {
			shown, s.file = "", nil
		}
	}()
	if s.file == nil {
		s.file, s.styles = excelize.NewFile(), map[int]int{}
		if err := s.file.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &from1904}); err != nil {
			return ""
		}
	}
	style, ok := s.styles[f.id]
	if !ok {
		var err error
		if style, err = s.file.NewStyle(&excelize.Style{CustomNumFmt: &f.code}); err != nil {
			return ""
		}
		s.styles[f.id] = style
	}
	const sheet, cell = "Sheet1", "A1"
	if s.file.SetCellDefault(sheet, cell, digits) != nil || s.file.SetCellStyle(sheet, cell, cell, style) != nil {
		return ""
	}
	shown, err := s.file.GetCellValue(sheet, cell)
	if err != nil || hasControl(shown) || len(shown) > 4*maxCode {
		return ""
	}
	return shown
}
