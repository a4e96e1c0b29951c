package keys

import (
	"bytes"
	"crypto/hkdf"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"fmt"
	"io"
	"sync"
)

// A Purpose separates the keys that are derived from one pseudonym key.
type Purpose string

const (
	Subject  Purpose = "subject"
	Session  Purpose = "session"
	Operator Purpose = "operator"
	ShiftDay Purpose = "shift"
	Finding  Purpose = "finding" // ids of leak findings
	Label    Purpose = "key-id"  // a name for the key that reveals nothing about it
	State    Purpose = "state"   // authenticates the state of a study, see [Folder.State]
	Source   Purpose = "source"  // digests of records in the site's form
	Look     Purpose = "look"    // digests of the appearance of subject ids
)

// A PseudonymKey is the site's secret of 32 random bytes. Printing it gives a
// placeholder. The zero PseudonymKey has no key: [PseudonymKey.Derive], and so deid's
// Treat, panics with it.
type PseudonymKey struct{ bytes func() [32]byte }

// NewPseudonymKey wraps 32 bytes, for tests with published values.
func NewPseudonymKey(b [32]byte) *PseudonymKey {
	return &PseudonymKey{func() [32]byte { return b }}
}

// Derive returns HKDF-SHA256(key, no salt, info = "outbreath/1/" purpose "/" study).
//
// Source: RFC 5869; the info string is the project's own.
func (k *PseudonymKey) Derive(p Purpose, study string) [32]byte {
	b := k.bytes()
	out, err := hkdf.Key(sha256.New, b[:], nil, "outbreath/1/"+string(p)+"/"+study, 32)
	if err != nil {
		panic("keys: HKDF of 32 bytes failed: " + err.Error()) // only lengths can
	}
	return [32]byte(out)
}

// Bytes returns the 32 bytes of the key, for package rederive, which computes pseudonyms
// again without using Derive. They must not be logged, stored or sent.
func (k *PseudonymKey) Bytes() [32]byte { return k.bytes() }

const pseudonymPlaceholder = "(pseudonym key)"

func (k PseudonymKey) String() string               { return pseudonymPlaceholder }
func (k PseudonymKey) GoString() string             { return pseudonymPlaceholder }
func (k PseudonymKey) Format(f fmt.State, _ rune)   { io.WriteString(f, pseudonymPlaceholder) }
func (k PseudonymKey) MarshalText() ([]byte, error) { return []byte(pseudonymPlaceholder), nil }

const pseudonymHeader = "outbreath-pseudonym-key-1"

// formatPseudonymKey writes the text form: the header line, 64 lower-case hex
// digits, a line feed after each.
func formatPseudonymKey(k *PseudonymKey) []byte {
	return fmt.Appendf(nil, "%s\n%x\n", pseudonymHeader, k.bytes())
}

// parsePseudonymKey reads exactly what formatPseudonymKey writes.
func parsePseudonymKey(text []byte) (*PseudonymKey, bool) {
	digits, ok := bytes.CutPrefix(text, []byte(pseudonymHeader+"\n"))
	if !ok || len(digits) != 65 {
		return nil, false
	}
	var b [32]byte
	if _, err := hex.Decode(b[:], digits[:64]); err != nil {
		return nil, false
	}
	k := NewPseudonymKey(b)
	return k, bytes.Equal(formatPseudonymKey(k), text)
}

// PseudonymKey reads pseudonym.key (site), the generation that new shipments use.
func (f *Folder) PseudonymKey() (*PseudonymKey, error) { return f.pseudonymKey(pseudonymFile) }

// pseudonymKey reads the pseudonym key in the file called name.
func (f *Folder) pseudonymKey(name string) (*PseudonymKey, error) {
	data, found, err := f.read(name, true, maxSecret)
	if err != nil {
		return nil, err
	}
	file := sha256.Sum256(data)
	if k := f.opened.get(file); found && k != nil {
		return k, nil
	}
	text, err := f.readSecret(name, "the pseudonym key")
	if err != nil {
		return nil, err
	}
	defer clear(text)
	k, ok := parsePseudonymKey(text)
	if !ok {
		return nil, fault(DamagedPseudonym, f.path(name), "is not a pseudonym key, or was changed or cut short")
	}
	f.opened.put(file, k)
	return k, nil
}

// openedKeys caches the opened pseudonym keys by the SHA-256 of their files: a passphrase
// costs a second each time, and a command needs the keys more than once. The files
// themselves are checked and read at every use.
type openedKeys struct {
	mu   sync.Mutex
	keys map[[sha256.Size]byte]*PseudonymKey
}

func (o *openedKeys) get(file [sha256.Size]byte) *PseudonymKey {
	if o == nil {
		return nil
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.keys[file]
}

func (o *openedKeys) put(file [sha256.Size]byte, k *PseudonymKey) {
	if o == nil {
		return
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.keys == nil {
		o.keys = map[[sha256.Size]byte]*PseudonymKey{}
	}
	o.keys[file] = k
}

// equal compares two keys in constant time.
func (k *PseudonymKey) equal(other *PseudonymKey) bool {
	a, b := k.bytes(), other.bytes()
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1
}
