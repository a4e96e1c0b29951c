package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"unicode"
	"unicode/utf8"
)

// writeJSON writes one JSON document and a line feed; indent is "" for a single line. Every
// document that the program prints is written here. Control characters, U+0080 to U+009F
// included, and invisible format characters, such as those that change the direction of
// writing, are escaped: a document on the screen must not control a terminal.
func writeJSON(w io.Writer, doc any, indent string) error {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", indent)
	if err := enc.Encode(doc); err != nil {
		return err
	}
	_, err := w.Write(escaped(b.Bytes()))
	return err
}

// escaped writes such characters as \uXXXX (RFC 8259, section 7). In valid JSON they occur
// only within strings.
func escaped(doc []byte) []byte {
	out := make([]byte, 0, len(doc))
	for len(doc) > 0 {
		r, n := utf8.DecodeRune(doc)
		switch {
		case r < 0x7f || !unicode.IsControl(r) && !unicode.Is(unicode.Cf, r):
			out = append(out, doc[:n]...)
		case r > 0xffff: // a pair of surrogates
			r -= 0x10000
			out = fmt.Appendf(out, `\u%04x\u%04x`, 0xd800+r>>10, 0xdc00+r&0x3ff)
		default:
			out = fmt.Appendf(out, `\u%04x`, r)
		}
		doc = doc[n:]
	}
	return out
}
