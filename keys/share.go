package keys

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"fmt"
	"io"
	"slices"

	"github.com/cloudflare/circl/group"
	"github.com/cloudflare/circl/secretsharing"
)

// shareGroup is the group of the scheme. Its scalars, modulo the order of NIST P-384, can
// hold every key of 32 bytes.
var shareGroup = group.P384

const (
	scalarBytes = 48
	pointBytes  = 49 // compressed

	// MaxShares bounds how many shares one set has.
	MaxShares = 32
)

// A Share is one custodian's part of a pseudonym key, by Shamir's scheme, with Feldman's
// commitments, against which anybody can check a share. Fewer shares than Threshold reveal
// nothing about the key. A Share prints as its name, without its value.
//
// Sources: Shamir, How to share a secret (1979); Feldman, A practical scheme for
// non-interactive verifiable secret sharing (1987).
type Share struct {
	Set       string // "XXXX-XXXX": drawn at random, the same in all shares of one split
	Index     int    // 1 to Total
	Threshold int    // how many are needed to join
	Total     int

	body func() []byte // the binary form, without its checksum
}

// Format prints which share it is.
func (s Share) Format(f fmt.State, _ rune) { io.WriteString(f, s.Name()) }

// MarshalText returns the name too, for encoders that would look inside. The error is nil.
func (s Share) MarshalText() ([]byte, error) { return []byte(s.Name()), nil }

// Name returns the name of the share, such as "share-XXXX-XXXX-2-of-5-need-3".
func (s Share) Name() string {
	return fmt.Sprintf("share-%s-%d-of-%d-need-%d", s.Set, s.Index, s.Total, s.Threshold)
}

// Split makes total shares of k, of which any threshold join to it: 2 to total, which is
// at most [MaxShares]. The error is an *[Error], [BadSplit] for other numbers.
func Split(k *PseudonymKey, total, threshold int) ([]*Share, error) {
	if threshold < 2 || threshold > total || total > MaxShares {
		return nil, fault(BadSplit, "",
			"these shares cannot be made: at least 2 must be needed to join, no more than there are, and there can "+
				"be at most %d", MaxShares)
	}
	var wide [scalarBytes]byte
	b := k.bytes()
	copy(wide[scalarBytes-len(b):], b[:])
	secret := shareGroup.NewScalar()
	err := secret.UnmarshalBinary(wide[:])
	clear(wide[:])
	clear(b[:])
	if err != nil {
		return nil, fault(FailedSplit, "", "the pseudonym key cannot be split")
	}
	ss := secretsharing.New(rand.Reader, uint(threshold-1), secret)
	var commitments []byte
	for _, c := range ss.CommitSecret() {
		p, err := c.MarshalBinaryCompress()
		if err != nil {
			return nil, fault(FailedSplit, "", "the pseudonym key cannot be split")
		}
		commitments = append(commitments, p...)
	}
	var set [5]byte
	rand.Read(set[:])
	var out []*Share
	for i, part := range ss.Share(uint(total)) {
		value, err := part.Value.MarshalBinary()
		if err != nil {
			return nil, fault(FailedSplit, "", "the pseudonym key cannot be split")
		}
		body := slices.Concat([]byte{shareVersion}, set[:], []byte{byte(i + 1), byte(threshold), byte(total)}, value,
			commitments)
		s, ok := parseShare(withSum(body))
		if !ok {
			return nil, fault(FailedSplit, "", "a new share does not fit its own check")
		}
		out = append(out, s)
	}
	return out, nil
}

// The binary form: version, 5 bytes of the set, index, threshold, total, the
// value, a commitment for each coefficient, and the first 8 bytes of the SHA-256
// of all that.
const (
	shareVersion = 1
	shareHead    = 9
	shareSum     = 8
)

// withSum returns body with its checksum.
func withSum(body []byte) []byte {
	sum := sha256.Sum256(body)
	return append(bytes.Clone(body), sum[:shareSum]...)
}

// parseShare reads the binary form. ok is false if any bit of it was changed, or if the value
// does not fit the commitments.
func parseShare(data []byte) (s *Share, ok bool) {
	if len(data) < shareHead+scalarBytes+shareSum || data[0] != shareVersion {
		return nil, false
	}
	body := bytes.Clone(data[:len(data)-shareSum])
	s = &Share{Set: setName(body[1:6]), Index: int(body[6]), Threshold: int(body[7]), Total: int(body[8]),
		body: func() []byte { return body }}
	if !bytes.Equal(withSum(body), data) || s.Threshold < 2 || s.Threshold > s.Total || s.Total > MaxShares ||
		s.Index < 1 || s.Index > s.Total ||
		len(body) != shareHead+scalarBytes+s.Threshold*pointBytes {
		return nil, false
	}
	part, ok1 := s.part()
	commitments, ok2 := s.commitments()
	return s, ok1 && ok2 && secretsharing.Verify(uint(s.Threshold-1), part, commitments)
}

// part returns the value of the share; ok is false if it is not in its canonical encoding.
func (s *Share) part() (secretsharing.Share, bool) {
	value := shareGroup.NewScalar()
	raw := s.body()[shareHead : shareHead+scalarBytes]
	if value.UnmarshalBinary(raw) != nil {
		return secretsharing.Share{}, false
	}
	again, err := value.MarshalBinary()
	return secretsharing.Share{ID: shareGroup.NewScalar().SetUint64(uint64(s.Index)), Value: value}, err == nil &&
		bytes.Equal(raw, again)
}

// commitments returns the commitments to the coefficients of the split.
func (s *Share) commitments() (out secretsharing.SecretCommitment, ok bool) {
	for point := range slices.Chunk(s.body()[shareHead+scalarBytes:], pointBytes) {
		e := shareGroup.NewElement()
		if e.UnmarshalBinary(point) != nil {
			return nil, false
		}
		out = append(out, e)
	}
	return out, true
}

// common returns what all shares of one split have in common.
func (s *Share) common() string {
	b := s.body()
	return string(b[1:6]) + string(b[7:9]) + string(b[shareHead+scalarBytes:])
}

func setName(b []byte) string {
	text := shareLetters.EncodeToString(b)
	return text[:4] + "-" + text[4:]
}

// shareLetters is Crockford's base 32: no I, L, O or U.
var shareLetters = base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)
