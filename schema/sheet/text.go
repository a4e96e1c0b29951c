package sheet

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// readText reads a text table: decodes it, finds its separator, and splits it.
func readText(data []byte) (*Table, *Refusal) {
	if len(data) > MaxText {
		return nil, refuse("is a text of more than 16 MiB, which no log is: " +
			"check that this is the log and not a recording")
	}
	text, notes, r := decode(data)
	if r != nil {
		return nil, r
	}
	if r := page(text); r != nil {
		return nil, r
	}
	text, first := oneLineBreak(text), 0
	comma, rest, named := namedSeparator(text)
	if named {
		text, first = rest, 1
	} else {
		comma = separator(text)
	}
	if r := tooLarge(text, comma, first); r != nil {
		return nil, r
	}
	t := &Table{Text: true, Notes: append(notes, separatorNames[comma])}
	if r := t.split(text, comma, first); r != nil {
		return nil, r
	}
	if len(t.Rows) == 0 {
		return nil, refuse("holds no value: check that the log was saved, and export it again")
	}
	return t, nil
}

// page refuses markup: some programs export a web page or XML under the name of
// a table.
func page(text string) *Refusal {
	head := strings.ToLower(strings.TrimSpace(text[:min(len(text), 1024)]))
	for _, s := range []string{"<!doctype", "<html", "<head", "<meta", "<style", "<body", "<table", "<div", "<?xml",
		"mime-version:"} {
		if strings.HasPrefix(head, s) {
			return refuse("is a web page or XML and no table, whatever its name ends in: " + saveAs)
		}
	}
	return nil
}

// oneLineBreak makes every line break a line feed, in quoted values as well.
func oneLineBreak(text string) string {
	if !strings.Contains(text, "\r") {
		return text
	}
	return strings.ReplaceAll(strings.ReplaceAll(text, "\r\n", "\n"), "\r", "\n")
}

var separatorNames = map[rune]string{',': "commas", ';': "semicolons", '\t': "tabs"}

// namedSeparator reads a first line such as "sep=;" and returns what follows it.
func namedSeparator(text string) (comma rune, rest string, ok bool) {
	line, rest, _ := strings.Cut(text, "\n")
	line = strings.ToLower(strings.Trim(line, `" `))
	for r := range separatorNames {
		if line == "sep="+string(r) {
			return r, rest, true
		}
	}
	return 0, text, false
}

// separator finds what parts the values: of tabs, semicolons and commas the
// first that occurs in the first line with any of them and parts at least half
// of the lines into the same number of values. The order is that of how rarely
// they occur inside values: a decimal comma must not outvote the semicolon.
func separator(text string) rune {
	lines := sample(text, 200)
	for _, comma := range "\t;," {
		counts, heading, most := map[int]int{}, -1, 0
		for _, l := range lines {
			n := l[comma]
			if heading < 0 && l['\t']+l[';']+l[','] > 0 {
				heading = n
			}
			if n > 0 {
				counts[n]++
				most = max(most, counts[n])
			}
		}
		if heading > 0 && 2*most >= len(lines) {
			return comma
		}
	}
	return loosest(lines)
}

// loosest returns the separator found in the most lines, a comma if none is.
func loosest(lines []map[rune]int) rune {
	best, most := ',', 0
	for _, comma := range "\t;," {
		n := 0
		for _, l := range lines {
			if l[comma] > 0 {
				n++
			}
		}
		if n > most {
			best, most = comma, n
		}
	}
	return best
}

// sample counts the separators outside of quotation marks, a map for each of the
// first lines that are not blank, at most n.
func sample(text string, n int) []map[rune]int {
	var lines []map[rune]int
	line, quoted, blank := map[rune]int{}, false, true
	for _, c := range text {
		switch {
		case c == '"':
			quoted = !quoted
			blank = false
		case c == '\n' && !quoted:
			if !blank {
				lines = append(lines, line)
				line, blank = map[rune]int{}, true
			}
			if len(lines) == n {
				return lines
			}
		case !quoted && separatorNames[c] != "":
			line[c]++
			blank = false
		default:
			blank = false
		}
	}
	if !blank {
		lines = append(lines, line)
	}
	return lines
}

// tooLarge refuses a table beyond the bounds before anything is made of it. It
// takes every quotation mark for the beginning or end of a quoted value; where
// that is wrong, split refuses the text at that mark. first is the number of
// lines before text.
func tooLarge(text string, comma rune, first int) *Refusal {
	sep := byte(comma)
	line, rows, cells, columns, length, quoted := 1+first, 0, 0, 1, 0, false
	begun := line
	at := func(message string) *Refusal { return &Refusal{Where: fmt.Sprintf("line %d", begun), Message: message} }
	for i := 0; i < len(text); i++ {
		length++
		switch c := text[i]; {
		case c == '"':
			quoted = !quoted
		case c == sep && !quoted:
			columns++
			length = 0
		case c == '\n' && !quoted:
			rows, cells, columns, length, begun = rows+1, cells+columns, 1, 0, line+1
		}
		if text[i] == '\n' {
			line++
		}
		switch {
		case columns > MaxColumns:
			return at("has more than 500 values: check that this is the log, and remove what is no column of it")
		case rows >= MaxRows && i+1 < len(text), cells > MaxCells:
			return at(tooMany)
		case length > 4*MaxCell && quoted:
			return at("begins a value that does not end: look for a quotation mark without its partner")
		case length > 4*MaxCell:
			return at("holds a value of more than 32,767 characters: check that this is the log")
		}
	}
	return nil
}

const tooMany = "has more rows or values than are read (20,000 rows, 250,000 values): " +
	"check that this is the log and not a recording, and split a log of several years"

// split parses text into t.Rows. first is the number of lines before text.
func (t *Table) split(text string, comma rune, first int) *Refusal {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.FieldsPerRecord, r.ReuseRecord = comma, -1, true
	for {
		values, err := r.Read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return misquoted(err, first)
		}
		line, _ := r.FieldPos(0)
		if isBlank(values) {
			continue
		}
		row := Row{Number: line + first, Cells: make([]Cell, len(values))}
		for i, v := range values {
			if v != "" {
				row.Cells[i] = Cell{Kind: Text, Text: v}
			}
		}
		t.Rows = append(t.Rows, row)
	}
}

func isBlank(values []string) bool {
	for _, v := range values {
		if strings.TrimSpace(v) != "" {
			return false
		}
	}
	return true
}

func misquoted(err error, first int) *Refusal {
	var p *csv.ParseError
	if !errors.As(err, &p) {
		return refuse("cannot be split into values: export it again")
	}
	where := fmt.Sprintf("line %d", p.StartLine+first)
	if p.Line > p.StartLine {
		where = fmt.Sprintf("lines %d to %d", p.StartLine+first, p.Line+first)
	}
	return &Refusal{Where: where, Message: `a quotation mark (") is not where one may be, or has no partner: ` +
		"remove it, or write it twice within a value in quotation marks"}
}

// decode turns bytes into text. The notes name an encoding that is not UTF-8.
func decode(data []byte) (text string, notes []string, r *Refusal) {
	text, note, r := decodeAny(data)
	if r != nil {
		return "", nil, r
	}
	line := 1
	for _, c := range text {
		switch {
		case c == '\n':
			line++
		case c == 0:
			return "", nil, atLine(line, "holds a zero byte, which no text does: "+
				"the file is damaged, or is no table; export it again")
		case c == utf8.RuneError:
			return "", nil, atLine(line, "holds "+lostLetter+"retype it, and save the table as CSV UTF-8")
		case isControl(c):
			return "", nil, atLine(line, "holds a control character, which no table does: "+
				"retype the value that it is in, and export the table again")
		}
	}
	if r := garbled(text); r != nil {
		return "", nil, r
	}
	if note != "" {
		notes = []string{note}
	}
	return text, notes, nil
}

func decodeAny(data []byte) (text, note string, r *Refusal) {
	begins := func(s string) bool { return strings.HasPrefix(string(data[:min(4, len(data))]), s) }
	switch {
	case begins("\xEF\xBB\xBF"):
		data = data[3:]
	case begins("\xFF\xFE\x00\x00"), begins("\x00\x00\xFE\xFF"):
		return "", "", refuse("is a text in UTF-32: save it as CSV UTF-8")
	case begins("\xFF\xFE"):
		return decodeUTF16(data[2:], 0)
	case begins("\xFE\xFF"):
		return decodeUTF16(data[2:], 1)
	}
	if high, ok := looksUTF16(data); ok {
		return decodeUTF16(data, high)
	}
	if utf8.Valid(data) {
		return string(data), "", nil
	}
	return decodeWindows1252(data)
}

// looksUTF16 reports whether data without a byte order mark is UTF-16: zero
// bytes in one half of the units alone, at least one in 20, and a line break or
// separator or nothing but Latin among what they give. high is the offset
// in a unit of the byte that is not the high one.
func looksUTF16(data []byte) (high int, ok bool) {
	var zero [2]int
	head := data[:min(len(data), 8192)]
	for i, b := range head {
		if b == 0 {
			zero[i%2]++
		}
	}
	if len(data)%2 != 0 || (zero[0] == 0) == (zero[1] == 0) || 20*(zero[0]+zero[1]) < len(head)/2 {
		return 0, false
	}
	if zero[0] > 0 {
		high = 1
	}
	latin := true
	for i := 0; i+1 < len(head); i += 2 {
		low, up := head[i+high], head[i+1-high]
		if up == 0 && (low == '\n' || low == '\r' || low == '\t' || low == ';' || low == ',') {
			return high, true
		}
		latin = latin && up == 0
	}
	return high, latin
}

// decodeUTF16 decodes units whose low byte is at the offset low, 0 or 1.
func decodeUTF16(data []byte, low int) (text, note string, r *Refusal) {
	damaged := refuse("is a damaged text in UTF-16: copy or export it again")
	if len(data)%2 != 0 {
		return "", "", damaged
	}
	var b strings.Builder
	b.Grow(len(data))
	unit := func(i int) rune { return rune(data[i+low]) | rune(data[i+1-low])<<8 }
	for i := 0; i < len(data); i += 2 {
		c := unit(i)
		if utf16.IsSurrogate(c) {
			if i += 2; i >= len(data) {
				return "", "", damaged
			}
			if c = utf16.DecodeRune(c, unit(i)); c == utf8.RuneError {
				return "", "", damaged
			}
		}
		b.WriteRune(c)
	}
	return b.String(), "UTF-16", nil
}

// decodeWindows1252 decodes a text that is no UTF-8 as a whole. One that is in
// parts is refused: it was pasted together from two, and either reading would
// change names.
func decodeWindows1252(data []byte) (text, note string, r *Refusal) {
	var b strings.Builder
	b.Grow(len(data) + len(data)/8)
	line, first, mixed := 1, 0, false
	for i := 0; i < len(data); {
		c, size := utf8.DecodeRune(data[i:])
		mixed = mixed || size > 1
		if c == utf8.RuneError && size == 1 {
			if first == 0 {
				first = line
			}
			if c = charmap.Windows1252.DecodeByte(data[i]); c == utf8.RuneError || isControl(c) {
				return "", "", atLine(line, "holds a character of an encoding that is not known here: "+saveUTF8)
			}
		} else if c == '\n' {
			line++
		}
		b.WriteRune(c)
		i += size
	}
	if !mixed {
		if at := elsewhere(b.String()); at > 0 {
			return "", "", atLine(at, "holds letters that mean another letter in each of several encodings, so that "+
				"names can come out wrong: "+saveUTF8)
		}
	}
	if mixed {
		return "", "", atLine(first, "is in another encoding than the rest of the file: "+saveUTF8)
	}
	return b.String(), "Windows-1252", nil
}

const saveUTF8 = `open the file in a spreadsheet program, check letters such as ü and é, and save it as "CSV UTF-8"`

func atLine(line int, message string) *Refusal {
	return &Refusal{Where: fmt.Sprintf("line %d", line), Message: message}
}
