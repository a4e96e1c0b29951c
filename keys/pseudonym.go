package keys

// A Purpose separates the keys that are derived from one pseudonym key.
type Purpose string

const (
	Subject  Purpose = "subject"
	Session  Purpose = "session"
	Operator Purpose = "operator"
	ShiftDay Purpose = "shift"
	Finding  Purpose = "finding" // ids of leak findings
	Label    Purpose = "key-id"  // a name for the key that gives nothing of it away
)

// A PseudonymKey is the site's secret of 32 random bytes. Printing it gives a
// placeholder.
type PseudonymKey struct{ b [32]byte }

// NewPseudonymKey wraps 32 bytes, for tests with published values.
func NewPseudonymKey(b [32]byte) *PseudonymKey { return &PseudonymKey{b} }

// Derive returns HKDF-SHA256(key, no salt, info = "outbreath/1/" purpose "/" study).
//
// Source: contract; RFC 5869.
func (k *PseudonymKey) Derive(p Purpose, study string) [32]byte { panic("todo") }

func (k *PseudonymKey) String() string   { return "(pseudonym key)" }
func (k *PseudonymKey) GoString() string { return "(pseudonym key)" }
