package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"unicode"
	"unicode/utf8"
)

// writeJSON writes one JSON document and a line feed; indent is "" for one line. Every
// document that the program prints goes through here: control characters, those of
// U+0080 to U+009F too, and characters that turn the direction of writing or are not
// seen are escaped, so that a document that is shown cannot steer a terminal.
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

// escaped writes such characters, which stand in strings only, as \uXXXX (RFC 8259, 7).
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
