package sheet

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"path"
	"strings"
)

// Bounds of a workbook's parts, which are files in a ZIP archive. They hold for
// what is unpacked, counted as it is: sizes in the archive are claims.
const (
	maxParts    = 2000         // files in the archive
	maxUnpacked = 32 << 20     // bytes unpacked of all parts that are read
	maxToken    = 1 << 20      // bytes of one tag, comment or text of an XML part
	maxDepth    = 64           // elements within each other
	maxTokens   = 8 * MaxCells // beginnings, ends and texts of elements
)

const (
	damaged = "is damaged, or was not copied to its end: copy it again, " +
		"or open it in a spreadsheet program and save it under another name"
	tooLong         = "holds a text that is longer than a cell can be: check that this is the log"
	unpacksTooLarge = "unpacks to more than any log does: check that this is the log, " +
		"and copy its rows alone into a new workbook"
)

// An archive is a workbook's file. Only parts that are opened are unpacked:
// pictures, macros and whatever else lies beside them are not.
type archive struct {
	files  map[string]*zip.File
	left   int64 // bytes that may still be unpacked
	tokens int   // that may still be read
}

func openArchive(data []byte) (*archive, *Refusal) {
	// The directory's own count is not believed, and zip.NewReader takes some
	// 300 bytes for every entry that it finds.
	if bytes.Count(data, []byte("PK\x01\x02")) > maxParts {
		return nil, refuse("has more parts than a workbook has: check that this is the log")
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, refuse(damaged)
	}
	a := &archive{files: map[string]*zip.File{}, left: maxUnpacked, tokens: maxTokens}
	for _, f := range z.File {
		name := partName(f.Name)
		if a.files[name] != nil { // one program would read the first and another the last
			return nil, refuse(damaged)
		}
		a.files[name] = f
	}
	return a, nil
}

// partName returns the form in which names of parts are compared: they are
// equal whatever their case (ECMA-376 Part 2, 6.2.2.3).
func partName(name string) string {
	return strings.ToLower(strings.TrimPrefix(path.Clean("/"+name), "/"))
}

func (a *archive) has(name string) bool { return a.files[partName(name)] != nil }

// A part is an XML part being read. The methods return nil at its end and
// a Refusal for what is not well-formed or beyond a bound.
type part struct {
	archive *archive
	body    io.ReadCloser
	buf     *bufio.Reader
	xml     *xml.Decoder
	token   int // bytes of the current token
	depth   int
	over    *Refusal
}

func (a *archive) open(name string) (*part, *Refusal) {
	f := a.files[partName(name)]
	if f == nil {
		return nil, refuse(damaged)
	}
	if f.Flags&1 != 0 { // APPNOTE 4.4.4, bit 0
		return nil, refuse("is protected by a password: remove it in the program that set it, and save again")
	}
	body, err := f.Open()
	if err != nil {
		return nil, refuse(damaged)
	}
	p := &part{archive: a, body: body, buf: bufio.NewReader(body)}
	p.xml = xml.NewDecoder(p)
	return p, nil
}

func (p *part) close() { p.body.Close() }

var errBound = errors.New("beyond a bound")

// ReadByte counts what is unpacked; the decoder reads nothing else.
func (p *part) ReadByte() (byte, error) {
	if p.archive.left <= 0 {
		p.over = refuse(unpacksTooLarge)
		return 0, errBound
	}
	if p.token >= maxToken {
		p.over = refuse(tooLong)
		return 0, errBound
	}
	p.archive.left--
	p.token++
	return p.buf.ReadByte()
}

// Read is never called, but a decoder wants an io.Reader.
func (p *part) Read([]byte) (int, error) { return 0, errBound }

// next returns the next start, end or text of the part, valid until the next
// call. A declaration, which alone can define entities, is refused: no
// workbook has one (ECMA-376 Part 2, 6.5.2: no DTD).
func (p *part) next() (xml.Token, *Refusal) {
	for {
		p.token = 0
		if p.archive.tokens--; p.archive.tokens < 0 {
			return nil, refuse(unpacksTooLarge)
		}
		t, err := p.xml.Token()
		switch {
		case p.over != nil:
			return nil, p.over
		case err == io.EOF:
			return nil, nil
		case err != nil:
			return nil, refuse(damaged)
		}
		switch t.(type) {
		case xml.StartElement:
			if p.depth++; p.depth > maxDepth {
				return nil, refuse(damaged)
			}
			return t, nil
		case xml.EndElement:
			p.depth--
			return t, nil
		case xml.CharData:
			return t, nil
		case xml.Directive:
			return nil, refuse("defines entities of XML, which no spreadsheet program does: do not use this file; " +
				"ask whoever sent it for another")
		}
	}
}

// children calls each for every element in the current one, or for the part's
// root where none has begun. What each leaves unread is skipped.
func (p *part) children(each func(xml.StartElement) *Refusal) *Refusal {
	depth := p.depth
	for {
		t, r := p.next()
		if r != nil || t == nil {
			return r
		}
		switch t := t.(type) {
		case xml.StartElement:
			if r := each(t); r != nil {
				return r
			}
			for p.depth > depth {
				if t, r := p.next(); r != nil || t == nil {
					return r
				}
			}
		case xml.EndElement:
			return nil
		}
	}
}

// root calls each for every element in the part's root.
func (p *part) root(each func(xml.StartElement) *Refusal) *Refusal {
	return p.children(func(xml.StartElement) *Refusal { return p.children(each) })
}

// text returns the text in the current element, without that of elements in it.
func (p *part) text() (string, *Refusal) {
	var b []byte
	depth := p.depth
	for {
		t, r := p.next()
		if r != nil || t == nil {
			return "", r
		}
		if c, ok := t.(xml.CharData); ok && p.depth == depth {
			b = append(b, c...)
		}
		if p.depth < depth {
			return string(b), nil
		}
	}
}

// attr returns the value of an attribute by its local name, "" if it is absent.
func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// isTrue reports whether v is a true xsd:boolean.
func isTrue(v string) bool { return v == "1" || v == "true" }
