package bag

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	versionLine  = "BagIt-Version: 1.0"
	encodingLine = "Tag-File-Character-Encoding: UTF-8"
	oxumLabel    = "Payload-Oxum"
)

var versionRE = regexp.MustCompile(`^BagIt-Version: ([0-9]{1,4}\.[0-9]{1,4})$`)

// A VersionError is a bag of another BagIt version than 1.0.
type VersionError struct{ Version string }

func (e *VersionError) Error() string {
	return fmt.Sprintf("the bag has BagIt version %s; only version 1.0 is read here", e.Version)
}

// FormatBagit returns the bytes of bagit.txt. Source: RFC 8493, 2.1.1.
func FormatBagit() []byte { return []byte(versionLine + "\n" + encodingLine + "\n") }

// ParseBagit checks the bytes of a bagit.txt: exactly its two lines. The last
// may lack its end, as in bags of the Library of Congress conformance suite. The
// error is a *VersionError for another BagIt version, else a *SyntaxError.
func ParseBagit(data []byte) error {
	if n := len(data); n > 0 && n < 1024 && data[n-1] != '\n' && data[n-1] != '\r' {
		data = append(data[:n:n], '\n')
	}
	lines, err := splitLines(data)
	if err != nil {
		return err
	}
	m := versionRE.FindStringSubmatch(lines[0])
	switch {
	case m == nil:
		return &SyntaxError{1, `is not "BagIt-Version: ", then two numbers with a point between them`}
	case m[1] != "1.0":
		return &VersionError{m[1]}
	case len(lines) < 2 || lines[1] != encodingLine:
		return &SyntaxError{2, fmt.Sprintf("is not %q", encodingLine)}
	case len(lines) > 2:
		return &SyntaxError{3, "a bagit.txt has exactly two lines"}
	}
	return nil
}

// A Field is one line of bag-info.txt. Value holds no line end and no other
// control character; the order of fields is kept.
type Field struct{ Label, Value string }

func (f Field) check() string {
	switch {
	case f.Label == "" || strings.TrimSpace(f.Label) != f.Label || strings.Contains(f.Label, ":"):
		return `does not begin with a label and ": "`
	case !plain(f.Label) || !plain(f.Value):
		return "a label or value holds a control character or is not UTF-8"
	case strings.EqualFold(f.Label, oxumLabel):
		if _, _, err := parseOxum(f.Value); err != nil {
			return err.Error()
		}
	}
	return ""
}

func plain(s string) bool { return utf8.ValidString(s) && strings.IndexFunc(s, unicode.IsControl) < 0 }

// FormatInfo returns the bytes of bag-info.txt, fields in the order given, one
// line each. The error is a field that a reader of the standard would not give back.
func FormatInfo(fields []Field) ([]byte, error) {
	if len(fields) == 0 {
		return nil, errors.New("a bag-info.txt of no fields")
	}
	var b bytes.Buffer
	for i, f := range fields {
		if msg := f.check(); msg != "" {
			return nil, fmt.Errorf("field %d of bag-info.txt: %s", i+1, msg)
		}
		fmt.Fprintf(&b, "%s: %s\n", f.Label, f.Value)
	}
	if err := oneOxum(fields); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func oneOxum(fields []Field) error {
	n := 0
	for _, f := range fields {
		if strings.EqualFold(f.Label, oxumLabel) {
			n++
		}
	}
	if n > 1 {
		return &SyntaxError{Msg: oxumLabel + " occurs more than once"}
	}
	return nil
}

// Oxum returns the value of Payload-Oxum for a payload of that many bytes in
// that many files: "279164409832.1198". It shows at a glance that a payload is
// not whole; it does not show that it is (RFC 8493, 2.2.2).
func Oxum(bytes, files int64) string {
	return strconv.FormatInt(bytes, 10) + "." + strconv.FormatInt(files, 10)
}

// parseOxum is the inverse of Oxum.
func parseOxum(s string) (bytes, files int64, err error) {
	b, f, _ := strings.Cut(s, ".")
	bytes, errB := strconv.ParseInt(b, 10, 64)
	files, errF := strconv.ParseInt(f, 10, 64)
	if errB != nil || errF != nil || bytes < 0 || files < 0 || Oxum(bytes, files) != s {
		return 0, 0, fmt.Errorf("%s is not two whole numbers with a point between them", oxumLabel)
	}
	return bytes, files, nil
}
