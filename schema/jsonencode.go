package schema

import "fmt"

// Encode returns n as JSON, indented by two spaces, with members in their order and a final line
// feed. Equal nodes give equal bytes. Characters are written as themselves except quotation
// mark, backslash, control characters (C0, DEL, C1) and U+2028/2029.
func (n *Node) Encode() []byte {
	return append(n.appendTo(make([]byte, 0, 2<<10), 0), '\n')
}

func (n *Node) appendTo(b []byte, depth int) []byte {
	switch n.Kind {
	case Object:
		if len(n.Members) == 0 {
			return append(b, "{}"...)
		}
		b = append(b, '{')
		for i, m := range n.Members {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendBreak(b, depth+1)
			b = appendString(b, m.Name)
			b = append(b, ": "...)
			b = m.Value.appendTo(b, depth+1)
		}
		return append(appendBreak(b, depth), '}')
	case Array:
		if len(n.Items) == 0 {
			return append(b, "[]"...)
		}
		b = append(b, '[')
		for i, item := range n.Items {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendBreak(b, depth+1)
			b = item.appendTo(b, depth+1)
		}
		return append(appendBreak(b, depth), ']')
	case String:
		return appendString(b, n.Text)
	case Number, Bool:
		return append(b, n.Text...)
	}
	return append(b, "null"...)
}

func appendBreak(b []byte, depth int) []byte {
	b = append(b, '\n')
	for range depth {
		b = append(b, "  "...)
	}
	return b
}

// appendString appends a JSON string. It ranges over runes, so that a string that is not UTF-8
// still gives valid UTF-8.
func appendString(b []byte, s string) []byte {
	b = append(b, '"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b = append(b, '\\', byte(r))
		case r == '\n':
			b = append(b, `\n`...)
		case r == '\r':
			b = append(b, `\r`...)
		case r == '\t':
			b = append(b, `\t`...)
		case r < 0x20 || r >= 0x7f && r <= 0x9f || r == 0x2028 || r == 0x2029:
			b = fmt.Appendf(b, `\u%04x`, r)
		default:
			b = append(b, string(r)...)
		}
	}
	return append(b, '"')
}
