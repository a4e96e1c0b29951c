package schema

import (
	"encoding/json"
	"strconv"
	"strings"
)

// Kind is the JSON type of a [Node].
type Kind uint8

const (
	Null Kind = iota
	Bool
	Number
	String
	Object
	Array
)

// A Node is one JSON value with its position in the text.
type Node struct {
	Kind         Kind
	Text         string   // String: the value; Number: the literal as written; Bool: "true" or "false"
	Members      []Member // Object: in the order written, names unique
	Items        []*Node  // Array
	Line, Column int      // from 1, where the value begins; column in characters
}

// A Member is one name and value of an object.
type Member struct {
	Name  string
	Value *Node
}

// Member returns the value of the member called name, or nil.
func (n *Node) Member(name string) *Node {
	if n == nil {
		return nil
	}
	for i := range n.Members {
		if n.Members[i].Name == name {
			return n.Members[i].Value
		}
	}
	return nil
}

// At returns the value at an RFC 6901 pointer ("" is n itself), or nil.
func (n *Node) At(pointer string) *Node {
	if pointer == "" {
		return n
	}
	if pointer[0] != '/' {
		return nil
	}
	for token := range strings.SplitSeq(pointer[1:], "/") {
		if n == nil {
			return nil
		}
		switch n.Kind {
		case Object:
			name, ok := unescapeToken(token)
			if !ok {
				return nil
			}
			n = n.Member(name)
		case Array:
			i, err := strconv.Atoi(token)
			if err != nil || strconv.Itoa(i) != token || i < 0 || i >= len(n.Items) {
				return nil
			}
			n = n.Items[i]
		default:
			return nil
		}
	}
	return n
}

// Value returns n in the form that the schema library expects: map[string]any, []any, string,
// json.Number, bool or nil.
func (n *Node) Value() any {
	switch n.Kind {
	case Object:
		m := make(map[string]any, len(n.Members))
		for _, member := range n.Members {
			m[member.Name] = member.Value.Value()
		}
		return m
	case Array:
		a := make([]any, len(n.Items))
		for i, item := range n.Items {
			a[i] = item.Value()
		}
		return a
	case String:
		return n.Text
	case Number:
		return json.Number(n.Text)
	case Bool:
		return n.Text == "true"
	}
	return nil
}

// A Place is the location of a value in a record.
type Place struct {
	Path  string // in the form of a plan, "/tubes/*/barcode"
	Index []int  // the value of each "*"; valid until the function that received it returns
}

// Pointer returns the place as an RFC 6901 pointer, "/tubes/0/barcode". It is exact for a record
// that fits a plan, because no field name of a plan holds a "*".
func (p Place) Pointer() string {
	pointer := p.Path
	for _, i := range p.Index {
		pointer = strings.Replace(pointer, "*", strconv.Itoa(i), 1)
	}
	return pointer
}

// Walk calls f for n and for every value below it, in the order of the text. It visits nothing
// below a value for which f returns false.
func (n *Node) Walk(f func(at Place, n *Node) bool) { n.walk(Place{}, f) }

func (n *Node) walk(at Place, f func(Place, *Node) bool) {
	if !f(at, n) {
		return
	}
	for _, m := range n.Members {
		m.Value.walk(Place{at.Path + "/" + EscapeToken(m.Name), at.Index}, f)
	}
	if len(n.Items) > 0 {
		below := Place{at.Path + "/*", append(at.Index, 0)}
		for i, item := range n.Items {
			below.Index[len(at.Index)] = i
			item.walk(below, f)
		}
	}
}

// count returns the number of values in n, itself included.
func (n *Node) count() int {
	total := 1
	for _, m := range n.Members {
		total += m.Value.count()
	}
	for _, item := range n.Items {
		total += item.count()
	}
	return total
}

// text returns the value of a string, or "" for any other node, nil included.
func (n *Node) text() string {
	if n == nil || n.Kind != String {
		return ""
	}
	return n.Text
}

// EscapeToken returns a member name as one token of an RFC 6901 pointer.
func EscapeToken(name string) string {
	return strings.ReplaceAll(strings.ReplaceAll(name, "~", "~0"), "/", "~1")
}

// unescapeToken is the inverse of EscapeToken. It refuses a "~" before anything but 0 and 1 (RFC
// 6901, section 3).
func unescapeToken(token string) (string, bool) {
	if !strings.Contains(token, "~") {
		return token, true
	}
	var b strings.Builder
	for i := 0; i < len(token); i++ {
		if token[i] != '~' {
			b.WriteByte(token[i])
			continue
		}
		i++
		switch {
		case i < len(token) && token[i] == '0':
			b.WriteByte('~')
		case i < len(token) && token[i] == '1':
			b.WriteByte('/')
		default:
			return "", false
		}
	}
	return b.String(), true
}
