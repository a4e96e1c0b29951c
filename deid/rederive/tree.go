package rederive

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Bounds of a JSON text that is read here.
const (
	maxJSON   = 16 << 20
	maxDepth  = 64
	maxValues = 1 << 18
)

// The kinds of a node.
const (
	null   = 'n'
	truth  = 'b'
	number = '#'
	text   = 's'
	object = '{'
	array  = '['
)

// A node is one value of a JSON text, with the members of an object in their order.
type node struct {
	kind  byte
	text  string   // of a string: its value; of a number, true or false: as written
	names []string // of an object's members
	items []*node  // members or entries

	open *opening // of a free text whose final form the findings leave open; nil otherwise
}

// An opening is a free text of the source with what was found in it.
type opening struct {
	source   string
	findings []Finding
	shift    int
}

var errJSON = errors.New("it is not a JSON text that can be read here")

// parse reads one JSON text: UTF-8, no equal names in an object, nothing after the value.
func parse(data []byte) (*node, error) {
	if len(data) > maxJSON || !utf8.Valid(data) {
		return nil, errJSON
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	left := maxValues
	n, err := parseValue(d, maxDepth, &left)
	if err != nil {
		return nil, errJSON
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errJSON
	}
	return n, nil
}

func parseValue(d *json.Decoder, depth int, left *int) (*node, error) {
	token, err := d.Token()
	if err != nil {
		return nil, err
	}
	if *left--; *left < 0 || depth == 0 {
		return nil, errJSON
	}
	switch v := token.(type) {
	case nil:
		return &node{kind: null, text: "null"}, nil
	case bool:
		return &node{kind: truth, text: strconv.FormatBool(v)}, nil
	case json.Number:
		return &node{kind: number, text: v.String()}, nil
	case string:
		return &node{kind: text, text: v}, nil
	case json.Delim:
		n := &node{kind: byte(v)}
		seen := map[string]bool{}
		for d.More() {
			if v == '{' {
				token, err := d.Token()
				if err != nil {
					return nil, err
				}
				name, _ := token.(string)
				if seen[name] {
					return nil, errJSON
				}
				seen[name] = true
				n.names = append(n.names, name)
			}
			item, err := parseValue(d, depth-1, left)
			if err != nil {
				return nil, err
			}
			n.items = append(n.items, item)
		}
		_, err := d.Token()
		return n, err
	}
	return nil, errJSON
}

// member returns the member called name; nil for none.
func (n *node) member(name string) *node {
	if n == nil || n.kind != object {
		return nil
	}
	for i, m := range n.names {
		if m == name {
			return n.items[i]
		}
	}
	return nil
}

// at returns the value at a pointer without escapes, such as "/tubes/0/barcode".
func (n *node) at(pointer string) *node {
	for token := range strings.SplitSeq(strings.TrimPrefix(pointer, "/"), "/") {
		if n != nil && n.kind == array {
			i, err := strconv.Atoi(token)
			if err != nil || i < 0 || i >= len(n.items) {
				return nil
			}
			n = n.items[i]
		} else {
			n = n.member(token)
		}
	}
	return n
}

// str returns the value of a string; "" for anything else.
func (n *node) str() string {
	if n == nil || n.kind != text {
		return ""
	}
	return n.text
}

// put adds a member.
func (n *node) put(name string, v *node) {
	n.names, n.items = append(n.names, name), append(n.items, v)
}

// leaves returns how many values of n are neither objects nor lists.
func (n *node) leaves() int64 {
	if n.kind != object && n.kind != array {
		return 1
	}
	var sum int64
	for _, item := range n.items {
		sum += item.leaves()
	}
	return sum
}

func str(s string) *node             { return &node{kind: text, text: s} }
func num(s string) *node             { return &node{kind: number, text: s} }
func whole[T int | int64](n T) *node { return num(strconv.FormatInt(int64(n), 10)) }

// write returns n as the shipment writes JSON: two blanks a level, members in their
// order, a line feed at the end.
func (n *node) write() []byte {
	var b bytes.Buffer
	n.writeTo(&b, "\n")
	b.WriteByte('\n')
	return b.Bytes()
}

func (n *node) writeTo(b *bytes.Buffer, line string) {
	switch n.kind {
	case text:
		writeText(b, n.text)
	case object, array:
		b.WriteByte(n.kind)
		for i, item := range n.items {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(line + "  ")
			if n.kind == object {
				writeText(b, n.names[i])
				b.WriteString(": ")
			}
			item.writeTo(b, line+"  ")
		}
		if len(n.items) > 0 {
			b.WriteString(line)
		}
		b.WriteByte(n.kind + 2) // '}' and ']' follow '{' and '[' two later
	default:
		b.WriteString(n.text)
	}
}

func writeText(b *bytes.Buffer, s string) {
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\r':
			b.WriteString(`\r`)
		case r == '\t':
			b.WriteString(`\t`)
		case r == '"', r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < ' ', 0x7f <= r && r <= 0x9f, r == '\u2028', r == '\u2029':
			fmt.Fprintf(b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
}
