package pack

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
)

// slipWord begins the text of a slip's code and names its version.
const slipWord = "OUTBREATH1"

// maxSlipCode bounds what is looked at, in bytes: a code has 92 at most, and
// somebody may type it in groups.
const maxSlipCode = 400

// A SlipCode is what the code on a packing slip says: which archive the paper
// and the box belong to.
type SlipCode struct {
	Shipment string
	SHA256   string // [ArchiveDigest]
}

// ArchiveDigest returns the digest that identifies an archive on paper and in
// receipts, 64 lower-case hexadecimal digits: the SHA-256 of its file, or of
// several parts the SHA-256 of their lines in SHA256SUMS, in order:
//
//	sha256sum NAME.tar.zst.age
//	sha256sum NAME.tar.zst.age.* | sha256sum
//
// So no part has to be read twice to know it.
func ArchiveDigest(parts []Part) string {
	if len(parts) == 1 {
		return parts[0].SHA256
	}
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%s  %s\n", p.SHA256, p.Name)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Format returns the text of the code: "OUTBREATH1 WEIR-0001 " and the digest
// in upper-case letters. While the site code is in upper case too, every
// character is of the alphanumeric set of QR codes (ISO/IEC 18004), which makes
// the symbol smaller.
func (c SlipCode) Format() string {
	return slipWord + " " + c.Shipment + " " + strings.ToUpper(c.SHA256)
}

// Groups returns the digest in 16 groups of four upper-case digits, for reading
// aloud.
func (c SlipCode) Groups() []string {
	var groups []string
	for s := strings.ToUpper(c.SHA256); len(s) >= 4; s = s[4:] {
		groups = append(groups, s[:4])
	}
	return groups
}

// ParseSlipCode reads the text of a slip's code as a scanner or a person types
// it: the digest in either case and in groups if need be, O for 0 and I or l
// for 1, which hexadecimal digits do not have. The error does not repeat it.
func ParseSlipCode(text string) (c SlipCode, err error) {
	if len(text) > maxSlipCode {
		return c, errors.New("is too long for the text of a slip's code")
	}
	words := strings.Fields(text)
	switch {
	case len(words) == 0 || !strings.EqualFold(words[0], slipWord):
		return c, errors.New("does not begin with " + slipWord + ": it is not a slip's code of a known version")
	case len(words) < 3:
		return c, errors.New("is not complete: shipment number and digest follow " + slipWord)
	case !shipmentNumber.MatchString(words[1]):
		return c, errors.New("has no shipment number in second place")
	}
	misread := strings.NewReplacer("-", "", "o", "0", "i", "1", "l", "1")
	digest := misread.Replace(strings.ToLower(strings.Join(words[2:], "")))
	if raw, err := hex.DecodeString(digest); err != nil || len(raw) != sha256.Size {
		return c, fmt.Errorf("has no digest of %d hexadecimal digits at its end: scan or type it again", 2*sha256.Size)
	}
	return SlipCode{words[1], digest}, nil
}

// slip checks that one of the slips that were read belongs to this archive.
func (v *verifying) slip() {
	if len(v.o.Slips) == 0 {
		return
	}
	var others []string
	again := false
	for _, s := range v.o.Slips {
		switch {
		case s.Shipment == v.verdict.Shipment && s.SHA256 == v.verdict.Archive:
			v.pass(checkSlip, "the packing slip belongs to this archive")
			return
		case s.Shipment == v.verdict.Shipment:
			again = true
		default:
			others = append(others, s.Shipment)
		}
	}
	switch {
	case again:
		v.disagree(checkSlip, "the slip names %s, but another archive than this one: the shipment was sealed "+
			"again, or the digest was misread; compare the groups printed on the slip with archive_sha256, and ask "+
			"the site which of the two counts", v.verdict.Shipment)
	default:
		v.disagree(checkSlip, "the slip is for %s, not for %s: look for the right paper, and for the box and "+
			"the stick that belong to the other one", someNames(others), v.verdict.Shipment)
	}
}
