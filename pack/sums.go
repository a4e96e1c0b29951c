package pack

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
)

// maxSums bounds SHA256SUMS, in bytes: 999 parts need about 100,000.
const maxSums = 1 << 20

// A sum is one line of SHA256SUMS.
type sum struct {
	name   string
	sha256 [sha256.Size]byte
}

// formatSums writes sums in sha256sum's text format, ordered by name: 64
// lower-case hexadecimal digits, two spaces, the name, a line feed.
func formatSums(sums []sum) []byte {
	sums = slices.Clone(sums)
	slices.SortFunc(sums, func(a, b sum) int { return cmpNames(a.name, b.name) })
	var b bytes.Buffer
	for _, s := range sums {
		fmt.Fprintf(&b, "%x  %s\n", s.sha256, s.name)
	}
	return b.Bytes()
}

// parseSums reads exactly what formatSums writes and nothing else: ordered,
// each name once, only names that a shipment may hold. The error names the
// line and no content.
func parseSums(data []byte) ([]sum, error) {
	if len(data) > maxSums {
		return nil, fmt.Errorf("is longer than %d bytes", maxSums)
	}
	if len(data) == 0 || data[len(data)-1] != '\n' {
		return nil, errors.New("does not end with a whole line")
	}
	var sums []sum
	for i, line := range bytes.Split(data[:len(data)-1], []byte("\n")) {
		s, ok := parseSum(line)
		if !ok {
			return nil, fmt.Errorf("line %d is not a checksum line of a shipment", i+1)
		}
		if i > 0 && sums[i-1].name >= s.name {
			return nil, fmt.Errorf("line %d is out of order or names a file twice", i+1)
		}
		sums = append(sums, s)
	}
	return sums, nil
}

func parseSum(line []byte) (s sum, ok bool) {
	const digits = 2 * sha256.Size
	if len(line) <= digits+2 || string(line[digits:digits+2]) != "  " {
		return s, false
	}
	if _, err := hex.Decode(s.sha256[:], line[:digits]); err != nil || bytes.ContainsAny(line[:digits], "ABCDEF") {
		return s, false
	}
	s.name = string(line[digits+2:])
	known := s.name == readmeName || s.name == labelName ||
		archiveName.MatchString(s.name) || repairForm.MatchString(s.name)
	return s, known
}
