package deid

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"sync"

	"outbreath/keys"
	"outbreath/schema"
)

// A Pseudonymiser makes the pseudonyms and day shifts of one study. It remembers the
// pseudonyms that it has made, and returns an error when two identifiers collide. It
// is safe for concurrent use.
type Pseudonymiser struct{ pseudonymiser }

type pseudonymiser struct {
	derive func(keys.Purpose) [32]byte

	mu   sync.Mutex // guards key and made
	key  map[keys.Purpose][32]byte
	made map[keys.Purpose]map[string]string     // pseudonym to canonical identifier
	mac  func(key [32]byte, id string) [32]byte // HMAC-SHA-256; tests replace it to force a collision
}

// A CollisionError reports that two different identifiers of one study have the same
// pseudonym. With 80 bits this practically never happens by chance.
type CollisionError struct{ Purpose keys.Purpose }

func (e *CollisionError) Error() string {
	return fmt.Sprintf("two different %s identifiers have the same pseudonym; nothing was made: ask the privacy "+
		"officer for a new pseudonym key", e.Purpose)
}

// NewPseudonymiser derives the per-purpose keys of study from key.
func NewPseudonymiser(key *keys.PseudonymKey, study string) *Pseudonymiser {
	p := &Pseudonymiser{pseudonymiser{
		key:  map[keys.Purpose][32]byte{},
		made: map[keys.Purpose]map[string]string{},
		mac:  hmacSHA256,
	}}
	p.derive = func(purpose keys.Purpose) [32]byte { return key.Derive(purpose, study) }
	for _, purpose := range []keys.Purpose{keys.Subject, keys.Session, keys.Operator, keys.ShiftDay} {
		p.key[purpose] = p.derive(purpose)
	}
	return p
}

// Subject returns the pseudonym of a subject identifier as typed at the site: 21 ASCII
// bytes, "XXXX-XXXX-XXXX-XXXX-C". Identifiers with equal [schema.Canonical] forms have
// equal pseudonyms. The error is [schema.ErrEmptyID], [schema.ErrUnassigned] or a
// *[CollisionError].
//
// Source: the project's format description, "Pseudonyms and shifts"; RFC 2104; ISO/IEC 7064 MOD 37,36.
func (p *Pseudonymiser) Subject(id string) (string, error) { return p.pseudonym(keys.Subject, id) }

// Session is like Subject, for a session identifier.
func (p *Pseudonymiser) Session(id string) (string, error) { return p.pseudonym(keys.Session, id) }

// Code is like Subject, for a code of any other kind, such as "operator" or "kit". The kind must be one that a
// plan can name.
func (p *Pseudonymiser) Code(kind, id string) (string, error) {
	return p.pseudonym(keys.Purpose(kind), id)
}

// keyFor returns the key of purpose, which it derives once.
func (p *Pseudonymiser) keyFor(purpose keys.Purpose) [32]byte {
	p.mu.Lock()
	defer p.mu.Unlock()
	key, ok := p.key[purpose]
	if !ok {
		key = p.derive(purpose)
		p.key[purpose] = key
	}
	return key
}

// pseudonym returns the first 80 bits of the keyed hash of id, in Crockford base32, with
// a check character.
func (p *Pseudonymiser) pseudonym(purpose keys.Purpose, id string) (string, error) {
	canonical, err := schema.Canonical(id)
	if err != nil {
		return "", err
	}
	mac := p.mac(p.keyFor(purpose), canonical)
	body := crockford.EncodeToString(mac[:10])
	name := group(body) + "-" + string(keys.Check3736(body))
	p.mu.Lock()
	defer p.mu.Unlock()
	if other, ok := p.made[purpose][name]; ok && other != canonical {
		return "", &CollisionError{purpose}
	}
	if p.made[purpose] == nil {
		p.made[purpose] = map[string]string{}
	}
	p.made[purpose][name] = canonical
	return name, nil
}

// ShiftDays returns the number of whole days, 1 to 364, by which the dates of a
// subject are moved back. The errors are those of [schema.Canonical].
//
// Source: the project's format description, "Pseudonyms and shifts".
func (p *Pseudonymiser) ShiftDays(subjectID string) (int, error) {
	canonical, err := schema.Canonical(subjectID)
	if err != nil {
		return 0, err
	}
	mac := p.mac(p.keyFor(keys.ShiftDay), canonical)
	return 1 + int(binary.BigEndian.Uint64(mac[:8])%364), nil
}

// ParsePseudonym parses a pseudonym as a person types it: hyphens and blanks anywhere,
// either case, and in the first 16 characters O for 0, I and L for 1. It returns the
// form that [Pseudonymiser.Subject] has. The error says what to do, without the text.
//
// Source: Crockford base32 as published (from memory); ISO/IEC 7064 MOD 37,36.
func ParsePseudonym(text string) (string, error) {
	s := strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(text))
	if len(s) != 17 {
		return "", errors.New("a pseudonym has 16 letters and digits and a check character; type it again as it is " +
			"printed")
	}
	body := strings.NewReplacer("O", "0", "I", "1", "L", "1").Replace(s[:16])
	if strings.Trim(body, crockfordAlphabet) != "" {
		return "", errors.New("the pseudonym holds a character that pseudonyms never have; type it again as it is " +
			"printed")
	}
	if s[16] != keys.Check3736(body) {
		return "", errors.New("the check character does not fit the pseudonym; at least one character is mistyped: " +
			"compare it with the printed form")
	}
	return group(body) + "-" + s[16:], nil
}

const crockfordAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

var crockford = base32.NewEncoding(crockfordAlphabet).WithPadding(base32.NoPadding)

// group puts a hyphen after every four characters.
func group(s string) string {
	var b strings.Builder
	for i := range len(s) {
		if i > 0 && i%4 == 0 {
			b.WriteByte('-')
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

func hmacSHA256(key [32]byte, id string) (sum [32]byte) {
	h := hmac.New(sha256.New, key[:])
	h.Write([]byte(id))
	h.Sum(sum[:0])
	return sum
}

// shortCode returns the first 40 bits of a keyed hash as "XXXX-XXXX".
func shortCode(mac [32]byte) string { return group(crockford.EncodeToString(mac[:5])) }
