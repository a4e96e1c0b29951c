package rederive

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// Purposes of derived keys that are no kinds of pseudonym.
const (
	forShift = "shift"
	forLabel = "key-id"
)

var errID = errors.New("it has no canonical form")

// canonical returns the form in which identifiers are compared: NFKC, case-folded, and
// of that the categories L, M and N.
//
// Source: the project's format description; Unicode 15.0.
func canonical(id string) (string, error) {
	if !utf8.ValidString(id) {
		return "", errID
	}
	for _, r := range id {
		if unicode.In(r, unicode.Co, unicode.Cc, unicode.Cf) {
			continue
		}
		if !unicode.In(r, unicode.L, unicode.M, unicode.N, unicode.P, unicode.S, unicode.Z) {
			return "", errID // unassigned, or half of a surrogate pair
		}
	}
	// What is removed may have kept apart what NFKC composes: until nothing changes.
	for range 16 {
		next := strings.Map(func(r rune) rune {
			switch { // CaseFolding.txt folds small Cherokee letters to capital ones
			case 0xab70 <= r && r <= 0xabbf:
				r = r - 0xab70 + 0x13a0
			case 0x13f8 <= r && r <= 0x13fd:
				r -= 8
			}
			if unicode.IsLetter(r) || unicode.IsMark(r) || unicode.IsNumber(r) {
				return r
			}
			return -1
		}, cases.Fold().String(norm.NFKC.String(id)))
		if next == id && id != "" {
			return id, nil
		}
		if id = next; id == "" {
			return "", errID
		}
	}
	return "", errID
}

// A keyring is one generation of the pseudonym key in one study.
type keyring struct {
	key     []byte
	study   string
	derived map[string][]byte
}

func newKeyring(key [32]byte, study string) *keyring {
	return &keyring{key[:], study, map[string][]byte{}}
}

// mac returns the keyed hash of a canonical identifier for a purpose.
//
// Source: RFC 5869 (HKDF), RFC 2104 (HMAC), both with SHA-256.
func (k *keyring) mac(purpose, id string) []byte {
	key, ok := k.derived[purpose]
	if !ok {
		var err error
		if key, err = hkdf.Key(sha256.New, k.key, nil, "outbreath/1/"+purpose+"/"+k.study, 32); err != nil {
			panic("rederive: HKDF of 32 bytes failed") // only lengths can
		}
		k.derived[purpose] = key
	}
	h := hmac.New(sha256.New, key)
	h.Write([]byte(id))
	return h.Sum(nil)
}

// label returns the name of the generation, "XXXX-XXXX".
func (k *keyring) label() string {
	k.mac(forLabel, "")
	return fours(base32of(k.derived[forLabel][:5]))
}

// pseudonym returns the pseudonym of an identifier in its canonical form.
func (k *keyring) pseudonym(purpose, id string) string { return spelled(k.mac(purpose, id)) }

// spelled writes the first 80 bits of a hash as a pseudonym.
func spelled(hash []byte) string {
	body := base32of(hash[:10])
	return fours(body) + "-" + string(checkCharacter(body))
}

// shift returns the days by which a subject's dates move back: 1 to 364.
func (k *keyring) shift(subject string) int {
	return 1 + int(binary.BigEndian.Uint64(k.mac(forShift, subject))%364)
}

const (
	digits32 = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"     // Crockford, as published (from memory)
	digits36 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ" // ISO/IEC 7064
)

// base32of writes whole groups of five bytes as eight digits each.
func base32of(b []byte) string {
	var s strings.Builder
	var bits uint64
	have := 0
	for _, c := range b {
		bits, have = bits<<8|uint64(c), have+8
		for have >= 5 {
			have -= 5
			s.WriteByte(digits32[bits>>have&31])
		}
	}
	return s.String()
}

// fours parts s into groups of four.
func fours(s string) string {
	var groups []string
	for len(s) > 4 {
		groups, s = append(groups, s[:4]), s[4:]
	}
	return strings.Join(append(groups, s), "-")
}

// checkCharacter returns the check character of ISO/IEC 7064, MOD 37,36, the hybrid
// system: for each character, add it modulo 36, double modulo 37.
func checkCharacter(s string) byte {
	p := 36
	for i := range len(s) {
		p += strings.IndexByte(digits36, s[i])
		if p %= 36; p == 0 {
			p = 36
		}
		p = p * 2 % 37
	}
	return digits36[(37-p)%36]
}
