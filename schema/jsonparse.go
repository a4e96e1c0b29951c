package schema

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// Bounds of a JSON text. A session record has some hundred values; the bounds keep a hostile or
// broken file from exhausting the memory.
const (
	maxJSONBytes      = 16 << 20
	maxJSONDepth      = 64
	maxJSONValues     = 1 << 18
	maxNumberBytes    = 64
	maxExponentDigits = 3
	maxExponent       = 308 // a double cannot hold greater ones (RFC 8259, section 6)
)

// A SyntaxError says where a text is not strict JSON, as [ParseJSON] defines it.
type SyntaxError struct {
	Line, Column int
	Message      string // in plain words, without any value of the text
}

func (e *SyntaxError) Error() string { return e.Message }

// ParseJSON reads one strict JSON text (RFC 8259): valid UTF-8, no byte-order
// mark, no equal names in one object, nothing after the value, no escape that
// is half of a surrogate pair. Bounds: 16 MiB, 64 levels, 262,144 values,
// numbers of at most 64 bytes that a double can hold, exponents from -308 to 308.
// The error is a *[SyntaxError].
func ParseJSON(data []byte) (*Node, error) {
	if len(data) > maxJSONBytes {
		return nil, &SyntaxError{1, 1, "the file is larger than 16 MiB, which no record needs: remove what does " +
			"not belong in it"}
	}
	p := &jsonParser{data: data, line: 1, column: 1}
	n, err := p.text()
	if err != nil {
		return nil, err
	}
	return n, nil
}

// A jsonParser reads data from pos on. line and column belong to the offset placed, which only
// moves forward, so that lines are counted only once.
type jsonParser struct {
	data         []byte
	pos          int
	placed       int
	line, column int
	values       int
	lines        []int  // lines of the member names of all open objects
	nodes        []Node // allocated and not yet used
}

// text reads the whole text: valid UTF-8, and exactly one value.
func (p *jsonParser) text() (*Node, *SyntaxError) {
	if strings.HasPrefix(string(p.data[:min(3, len(p.data))]), "\ufeff") {
		return nil, p.fail(0, "the file begins with a byte-order mark: save it as UTF-8 without one")
	}
	for i := 0; i < len(p.data); {
		if p.data[i] < utf8.RuneSelf {
			i++
			continue
		}
		r, size := utf8.DecodeRune(p.data[i:])
		if r == utf8.RuneError && size == 1 {
			return nil, p.fail(i, "the text is not UTF-8 here: save the file as UTF-8")
		}
		i += size
	}
	p.space()
	if p.pos == len(p.data) {
		return nil, p.fail(p.pos, "the file holds no value: it is empty or was not saved to the end")
	}
	n, err := p.value(1)
	if err != nil {
		return nil, err
	}
	p.space()
	if p.pos < len(p.data) {
		return nil, p.fail(p.pos, "there is more text after the end of the value: remove it, or look for a bracket "+
			"closed too early")
	}
	return n, nil
}

// place returns line and column of offset, which must not be before an offset of an earlier
// call.
func (p *jsonParser) place(offset int) (line, column int) {
	for p.placed < offset {
		c := p.data[p.placed]
		switch {
		case c == '\n':
			p.line++
			p.column = 1
			p.placed++
		case c < utf8.RuneSelf:
			p.column++
			p.placed++
		default:
			_, size := utf8.DecodeRune(p.data[p.placed:])
			p.column++
			p.placed += size
		}
	}
	return p.line, p.column
}

func (p *jsonParser) fail(offset int, message string) *SyntaxError {
	line, column := p.place(offset)
	return &SyntaxError{line, column, message}
}

// peek returns the next byte, or 0 at the end: NUL is never valid JSON, neither outside a string
// nor inside one.
func (p *jsonParser) peek() byte {
	if p.pos < len(p.data) {
		return p.data[p.pos]
	}
	return 0
}

func (p *jsonParser) space() {
	for p.pos < len(p.data) {
		switch p.data[p.pos] {
		case ' ', '\t', '\n', '\r':
			p.pos++
		default:
			return
		}
	}
}

func (p *jsonParser) value(depth int) (*Node, *SyntaxError) {
	if depth > maxJSONDepth {
		return nil, p.fail(p.pos, "more than 64 brackets are open here: a record is not nested that deep")
	}
	if p.values++; p.values > maxJSONValues {
		return nil, p.fail(p.pos, "the file holds more than 262,144 values, which no record needs")
	}
	n := p.node()
	n.Line, n.Column = p.place(p.pos)
	switch c := p.peek(); {
	case c == '{':
		return n, p.object(n, depth)
	case c == '[':
		return n, p.array(n, depth)
	case c == '"':
		text, err := p.str()
		n.Kind, n.Text = String, text
		return n, err
	case c == '-' || '0' <= c && c <= '9':
		text, err := p.number()
		n.Kind, n.Text = Number, text
		return n, err
	}
	for _, w := range literals {
		if strings.HasPrefix(string(p.data[p.pos:min(p.pos+len(w.word), len(p.data))]), w.word) {
			p.pos += len(w.word)
			n.Kind, n.Text = w.kind, w.text
			return n, nil
		}
	}
	if p.pos == len(p.data) {
		return nil, p.ended()
	}
	return nil, p.fail(p.pos, `a value must begin here: a text in quotation marks, a number, true, false, null, `+
		`"{" or "["`)
}

// node returns a new node. Nodes are allocated several at a time, because a record is kept or
// released as a whole.
func (p *jsonParser) node() *Node {
	if len(p.nodes) == 0 {
		p.nodes = make([]Node, min(max(8, (len(p.data)-p.pos)/32), 64))
	}
	n := &p.nodes[0]
	p.nodes = p.nodes[1:]
	return n
}

var literals = []struct {
	word string
	kind Kind
	text string
}{{"true", Bool, "true"}, {"false", Bool, "false"}, {"null", Null, ""}}

func (p *jsonParser) ended() *SyntaxError {
	return p.fail(len(p.data), "the file ends in the middle of a value: it was not saved or copied to the end")
}

func (p *jsonParser) object(n *Node, depth int) *SyntaxError {
	n.Kind = Object
	p.pos++ // {
	p.space()
	if p.peek() == '}' {
		p.pos++
		return nil
	}
	n.Members = make([]Member, 0, 8) // most have no more
	begun := len(p.lines)
	defer func() { p.lines = p.lines[:begun] }()
	var places map[string]int // by name, once there are many
	for {
		if p.pos == len(p.data) {
			return p.ended()
		}
		if p.peek() != '"' {
			return p.fail(p.pos, `a field name in quotation marks is expected here; is there a comma too many `+
				`before it?`)
		}
		line, column := p.place(p.pos)
		name, err := p.str()
		if err != nil {
			return err
		}
		if first := p.first(name, n.Members, begun, places); first > 0 {
			return &SyntaxError{line, column, fmt.Sprintf("this field name occurs twice in one object (first in "+
				"line %d): remove one of the two", first)}
		}
		p.lines = append(p.lines, line)
		if len(n.Members) == manyNames {
			places = make(map[string]int, 2*manyNames)
			for i, m := range n.Members {
				places[m.Name] = p.lines[begun+i]
			}
		}
		if places != nil {
			places[name] = line
		}
		p.space()
		if p.pos == len(p.data) {
			return p.ended()
		}
		if p.peek() != ':' {
			return p.fail(p.pos, "a colon is expected here, between the field name and its value")
		}
		p.pos++
		p.space()
		v, err := p.value(depth + 1)
		if err != nil {
			return err
		}
		n.Members = append(n.Members, Member{name, v})
		p.space()
		switch {
		case p.pos == len(p.data):
			return p.ended()
		case p.peek() == '}':
			p.pos++
			return nil
		case p.peek() != ',':
			return p.fail(p.pos, `a comma or "}" is expected here; is the comma before the next field missing?`)
		}
		p.pos++
		p.space()
	}
}

// manyNames is how many members an object has when a map replaces the linear search for equal
// names.
const manyNames = 32

// first returns the line of an earlier member of that name in the same object, or 0. The lines of
// the object's members begin at p.lines[begun].
func (p *jsonParser) first(name string, members []Member, begun int, places map[string]int) int {
	if places != nil {
		return places[name]
	}
	for i := range members {
		if members[i].Name == name {
			return p.lines[begun+i]
		}
	}
	return 0
}

func (p *jsonParser) array(n *Node, depth int) *SyntaxError {
	n.Kind = Array
	p.pos++ // [
	p.space()
	if p.peek() == ']' {
		p.pos++
		return nil
	}
	for {
		v, err := p.value(depth + 1)
		if err != nil {
			return err
		}
		n.Items = append(n.Items, v)
		p.space()
		switch {
		case p.pos == len(p.data):
			return p.ended()
		case p.peek() == ']':
			p.pos++
			return nil
		case p.peek() != ',':
			return p.fail(p.pos, `a comma or "]" is expected here; is the comma before the next entry missing?`)
		}
		p.pos++
		p.space()
	}
}

// number reads a number (RFC 8259, section 6: -? int frac? exp?). It refuses long numbers and
// large exponents, because exact arithmetic on them takes seconds.
func (p *jsonParser) number() (string, *SyntaxError) {
	start := p.pos
	if p.peek() == '-' {
		p.pos++
	}
	whole := p.digits()
	if whole == 0 || whole > 1 && p.data[p.pos-whole] == '0' {
		return "", p.fail(start, "this number is not valid JSON: there must be no leading zero, no sign but a minus, and "+
			"a digit before the point")
	}
	if p.peek() == '.' {
		p.pos++
		if p.digits() == 0 {
			return "", p.fail(start, "a digit must follow the decimal point of this number")
		}
	}
	if c := p.peek(); c == 'e' || c == 'E' {
		p.pos++
		if c := p.peek(); c == '+' || c == '-' {
			p.pos++
		}
		switch n := p.digits(); {
		case n == 0:
			return "", p.fail(start, "a digit must follow the exponent sign of this number")
		case n > maxExponentDigits:
			return "", p.fail(start, "this number has an exponent of more than three digits: write it plainly")
		default:
			exponent, _ := strconv.Atoi(string(p.data[p.pos-n : p.pos]))
			if _, err := strconv.ParseFloat(string(p.data[start:p.pos]), 64); err != nil || exponent > maxExponent {
				return "", p.fail(start, "this number is too large or too small to compute with: write it plainly")
			}
		}
	}
	if p.pos-start > maxNumberBytes {
		return "", p.fail(start, "this number is longer than 64 characters: write it with fewer digits")
	}
	return string(p.data[start:p.pos]), nil
}

// digits skips decimal digits and returns how many there were.
func (p *jsonParser) digits() int {
	start := p.pos
	for c := p.peek(); '0' <= c && c <= '9'; c = p.peek() {
		p.pos++
	}
	return p.pos - start
}

// str reads a string and resolves its escapes. A string without escapes is a plain copy of the
// text.
func (p *jsonParser) str() (string, *SyntaxError) {
	open := p.pos
	p.pos++ // "
	start := p.pos
	var b []byte // nil until the first escape
	for {
		if p.pos == len(p.data) {
			return "", p.fail(open, "the text that begins here has no closing quotation mark")
		}
		switch c := p.data[p.pos]; {
		case c == '"':
			text := p.data[start:p.pos]
			p.pos++
			if b == nil {
				return string(text), nil
			}
			return string(append(b, text...)), nil
		case c < 0x20:
			return "", p.fail(p.pos, `a line break, tab or other control character is inside a text: write \n `+
				`or \t, or close the quotation mark before it`)
		case c == '\\':
			b = append(b, p.data[start:p.pos]...)
			r, err := p.escape()
			if err != nil {
				return "", err
			}
			b = utf8.AppendRune(b, r)
			start = p.pos
		default:
			p.pos++
		}
	}
}

// escape reads one escape, or the two \u escapes of a surrogate pair.
func (p *jsonParser) escape() (rune, *SyntaxError) {
	start := p.pos
	p.pos++ // \
	c := p.peek()
	p.pos++
	switch c {
	case '"', '\\', '/':
		return rune(c), nil
	case 'b':
		return '\b', nil
	case 'f':
		return '\f', nil
	case 'n':
		return '\n', nil
	case 'r':
		return '\r', nil
	case 't':
		return '\t', nil
	case 'u':
		r, ok := p.hex4()
		if !ok {
			return 0, p.fail(start, `four hexadecimal digits must follow \u`)
		}
		if !utf16.IsSurrogate(r) {
			return r, nil
		}
		if p.pos+1 < len(p.data) && p.data[p.pos] == '\\' && p.data[p.pos+1] == 'u' {
			p.pos += 2
			if low, ok := p.hex4(); ok {
				if r = utf16.DecodeRune(r, low); r != utf8.RuneError {
					return r, nil
				}
			}
		}
		return 0, p.fail(start, `this \u escape is half of a character: both halves must be together`)
	}
	return 0, p.fail(start, `a backslash must be followed by ", \, /, b, f, n, r, t or u; write a backslash itself `+
		`as \\`)
}

// hex4 reads four hexadecimal digits.
func (p *jsonParser) hex4() (rune, bool) {
	if p.pos+4 > len(p.data) {
		return 0, false
	}
	var r rune
	for range 4 {
		c := p.data[p.pos]
		switch {
		case '0' <= c && c <= '9':
			c -= '0'
		case 'a' <= c && c <= 'f':
			c -= 'a' - 10
		case 'A' <= c && c <= 'F':
			c -= 'A' - 10
		default:
			return 0, false
		}
		r = r<<4 | rune(c)
		p.pos++
	}
	return r, true
}
