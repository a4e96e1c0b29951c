package bag

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxPath is PATH_MAX of Linux: no longer path can be unpacked there.
const maxPath = 4096

// Only these characters of a path are percent-encoded (RFC 8493, 2.1.3).
var encodePath = strings.NewReplacer("\n", "%0A", "\r", "%0D", "%", "%25")

// FormatManifest returns the bytes of manifest-sha256.txt (payload) or
// tagmanifest-sha256.txt, sorted by the bytes of the path. The error is an entry
// that [ParseManifest] would refuse, by its place in entries.
func FormatManifest(entries []Entry, payload bool) ([]byte, error) {
	if len(entries) == 0 {
		return nil, fmt.Errorf("a manifest of no files")
	}
	for i, e := range entries {
		if msg := checkPath(e.Path, payload); msg != "" {
			return nil, fmt.Errorf("entry %d of the manifest: %s", i+1, msg)
		}
	}
	sorted := slices.Clone(entries)
	sortEntries(sorted)
	var b bytes.Buffer
	for i, e := range sorted {
		if i > 0 && e.Path == sorted[i-1].Path {
			return nil, fmt.Errorf("the manifest would list the same file twice")
		}
		fmt.Fprintf(&b, "%x  %s\n", e.SHA256, encodePath.Replace(e.Path))
	}
	if b.Len() > MaxBytes {
		return nil, fmt.Errorf("the manifest would have more than %d bytes", MaxBytes)
	}
	return b.Bytes(), nil
}

// ParseManifest reads a manifest (payload) or tag manifest and returns its
// entries sorted by path. The error is a *SyntaxError.
//
// Refused are a file listed twice, even with the same checksum; payload paths
// outside data/ and tag paths inside; paths that are absolute, that hold "." or
// ".." or empty names, a backslash, a drive letter, a leading "~" or a control
// character; a percent sign that does not encode CR, LF or itself; and the "*"
// or leading backslash of checksum tools (RFC 8493, 2.1.3, 5.1, 6.1.3).
func ParseManifest(data []byte, payload bool) ([]Entry, error) {
	sums, err := parseSums(data, payload, sha256.Size)
	if err != nil {
		return nil, err
	}
	entries := make([]Entry, len(sums))
	for i, s := range sums {
		entries[i] = Entry{s.path, [32]byte(s.sum)}
	}
	sortEntries(entries)
	return entries, nil
}

func sortEntries(entries []Entry) {
	slices.SortFunc(entries, func(a, b Entry) int { return cmp.Compare(a.Path, b.Path) })
}

type pathSum struct {
	path string
	sum  []byte
}

// parseSums reads a manifest of any checksum algorithm, size bytes a sum.
func parseSums(data []byte, payload bool, size int) ([]pathSum, error) {
	lines, err := splitLines(data)
	if err != nil {
		return nil, err
	}
	sums := make([]pathSum, 0, len(lines))
	seen := make(map[string]int, len(lines))
	for i, line := range lines {
		s, msg := parseLine(line, payload, size)
		if msg == "" && seen[s.path] > 0 {
			msg = fmt.Sprintf("lists the same file as line %d", seen[s.path])
		}
		if msg != "" {
			return nil, &SyntaxError{i + 1, msg}
		}
		seen[s.path] = i + 1
		sums = append(sums, s)
	}
	return sums, nil
}

func parseLine(line string, payload bool, size int) (s pathSum, problem string) {
	i := strings.IndexAny(line, " \t")
	if i < 0 {
		return s, "is not a checksum, a space and a path"
	}
	sum, err := hex.DecodeString(line[:i])
	if err != nil || len(sum) != size {
		return s, fmt.Sprintf("the checksum is not %d hexadecimal digits", 2*size)
	}
	path, msg := decodePath(strings.TrimLeft(line[i:], " \t"))
	if msg == "" {
		msg = checkPath(path, payload)
	}
	return pathSum{path, sum}, msg
}

// decodePath undoes the percent-encoding.
func decodePath(s string) (path, problem string) {
	var b strings.Builder
	for {
		before, after, found := strings.Cut(s, "%")
		b.WriteString(before)
		if !found {
			return b.String(), ""
		}
		code := ""
		if len(after) >= 2 {
			code = strings.ToUpper(after[:2])
		}
		switch code {
		case "0A":
			b.WriteByte('\n')
		case "0D":
			b.WriteByte('\r')
		case "25":
			b.WriteByte('%')
		default:
			return "", "a percent sign in the path is followed by something else than 0A, 0D or 25"
		}
		s = after[2:]
	}
}

// checkPath says what is wrong with a decoded path, "" for nothing.
func checkPath(path string, payload bool) string {
	inData := strings.HasPrefix(path, "data/")
	switch {
	case path == "":
		return "no path"
	case len(path) > maxPath:
		return fmt.Sprintf("the path is longer than %d bytes", maxPath)
	case !utf8.ValidString(path):
		return "the path is not UTF-8"
	case strings.HasPrefix(path, "*"), strings.HasPrefix(path, `\`):
		return "the line has the mark of a checksum tool before the path, which RFC 8493 does not allow"
	case strings.HasPrefix(path, "/"):
		return "the path is absolute"
	case strings.HasPrefix(path, "~"):
		return `the path begins with "~", which some systems take for a home folder`
	case strings.HasPrefix(path, " "), strings.HasPrefix(path, "\t"):
		return "the path begins with a blank"
	case strings.Contains(path, `\`):
		return "the path holds a backslash"
	case strings.ContainsFunc(path, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\r' }):
		return "the path holds a control character"
	}
	for name := range strings.SplitSeq(path, "/") {
		switch {
		case name == "":
			return `the path holds "//" or ends with "/"`
		case name == "." || name == "..":
			return `the path holds "." or ".." as a folder`
		case len(name) > 1 && name[1] == ':' && isLetter(name[0]):
			return "the path holds a drive letter"
		}
	}
	switch {
	case payload && !inData:
		return "the path is outside data/"
	case !payload && (inData || path == "data"):
		return "the path is inside data/, which a tag manifest does not list"
	}
	return ""
}

func isLetter(c byte) bool { return 'a' <= c|0x20 && c|0x20 <= 'z' }
