package keys

import (
	"time"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"
)

// Role says whose folder it is.
type Role string

const (
	Site Role = "site"
	Lab  Role = "lab"
)

// A PassphraseFunc asks for the passphrase of what ("the pseudonym key"). It
// is called only when a key has one, and at most once a Folder.
type PassphraseFunc func(what string) ([]byte, error)

// An Error says what is wrong with a key folder and what to do. Path names a
// file; no content of a file is ever in it.
type Error struct {
	Path    string
	Message string
}

func (e *Error) Error() string { return e.Path + ": " + e.Message }

// NewOptions are the choices of [Create].
type NewOptions struct {
	Role       Role
	Name       string // principal: the site code, or the lab's short name; may be empty; stands as comment in signing.pub
	Classic    bool   // lab: X25519 instead of the post-quantum hybrid
	Passphrase []byte // nil: keys are written plain, mode 0600
}

// A Folder is a key folder whose modes have been checked.
type Folder struct{ folder }

type folder struct{}

// Create makes a new key folder at dir, whole or not at all, and never over an
// existing one.
func Create(dir string, o NewOptions) (*Folder, error) { panic("todo") }

// Open checks the folder at dir: its mode (0700) and that of every secret file
// in it (0600), regular files only. ask may be nil when no passphrase is
// available. The error is an *[Error] (errors.Is fs.ErrNotExist when there is
// no folder).
func Open(dir string, ask PassphraseFunc) (*Folder, error) { panic("todo") }

// Dir returns the folder's path, Role whose it is.
func (f *Folder) Dir() string { panic("todo") }
func (f *Folder) Role() Role  { panic("todo") }

// Name returns the comment of signing.pub: the site code or the lab's name, or "".
func (f *Folder) Name() string { panic("todo") }

// PseudonymKey reads pseudonym.key (site).
func (f *Folder) PseudonymKey() (*PseudonymKey, error) { panic("todo") }

// Signer reads the signing key.
func (f *Folder) Signer() (ssh.Signer, error) { panic("todo") }

// Recipients reads recipients.txt (site). No recipient, or a mixture of
// post-quantum and classic ones, is an *[Error].
func (f *Folder) Recipients() ([]age.Recipient, error) { panic("todo") }

// Identities reads identity.txt or identity.age (lab).
func (f *Folder) Identities() ([]age.Identity, error) { panic("todo") }

// Allowed reads allowed_signers; a missing file is an empty list.
func (f *Folder) Allowed() (*Allowed, error) { panic("todo") }

// A Trusted is one public key that Trust added or found already there, or one
// line of Public.
type Trusted struct {
	Kind        string `json:"kind"`        // "recipient" or "signer"
	Name        string `json:"name"`        // principal of a signer
	Type        string `json:"type"`        // "post-quantum hybrid", "X25519", "ssh-ed25519" ...
	Fingerprint string `json:"fingerprint"` // "SHA256:..." as OpenSSH writes it
	Already     bool   `json:"already"`     // it was trusted before
}

// Trust adds the public keys in data (age recipients, OpenSSH public keys, in
// any order, comments allowed) to recipients.txt and allowed_signers. name is
// the principal for signers; empty means the comment of the key. A signer that
// is already listed under that name with another key is refused.
func (f *Folder) Trust(data []byte, name string) ([]Trusted, error) { panic("todo") }

// Public lists the folder's own public keys and those it trusts.
func (f *Folder) Public() (own, trusted []Trusted, err error) { panic("todo") }

// Allowed is a list of trusted signers in OpenSSH's allowed_signers format.
type Allowed struct{ allowed }

type allowed struct{}

// ParseAllowed reads an allowed_signers file (ssh-keygen(1), ALLOWED SIGNERS).
func ParseAllowed(data []byte) (*Allowed, error) { panic("todo") }

// Verify checks an armored SSHSIG signature over message: made by a key that
// the list gives to principal, for namespace, valid at the time at. The error
// says which of these fails, in words for a person.
func (a *Allowed) Verify(message, armored []byte, principal, namespace string, at time.Time) error {
	panic("todo")
}
