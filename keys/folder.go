package keys

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"filippo.io/age/plugin"
)

// A Role is the party that a folder belongs to.
type Role string

const (
	Site Role = "site" // has a pseudonym key, and encrypts to laboratories
	Lab  Role = "lab"  // has an identity, which opens shipments
)

// The files of a key folder.
const (
	pseudonymFile  = "pseudonym.key"   // site, secret
	recipientsFile = "recipients.txt"  // site
	identityPlain  = "identity.txt"    // lab, secret
	identityAge    = "identity.age"    // lab, secret under a passphrase
	identitySSH    = "identity_ssh"    // lab, secret: an OpenSSH private key
	recipientFile  = "recipient.txt"   // lab
	signingFile    = "signing"         // secret
	signingPub     = "signing.pub"     //
	allowedFile    = "allowed_signers" //
	publicFile     = "public-keys.txt" // what to hand to the other side
)

var secretFiles = []string{pseudonymFile, identityPlain, identityAge, identitySSH, signingFile}

// A PassphraseFunc asks for the passphrase of what, such as "the pseudonym key". It is
// called only if a key has one, and at most once for a [Folder]; see [Folder.AskAgain]. The
// folder keeps a copy of the result. Its error is returned by the method that needs the
// key, behind an *[Error] with the fault [UnreadableInput].
type PassphraseFunc func(what string) ([]byte, error)

// A Folder is a key folder whose modes have been checked. Its methods check them again at
// every use. They may be called from several goroutines. Methods that write lock the folder
// while they do.
type Folder struct {
	dir  string
	role Role
	name string
	pass *passphrase

	opened  *openedKeys
	plugins *plugin.ClientUI              // nil: none are used
	agent   func() (io.ReadWriter, error) // nil: there is none
}

// Open checks the folder at dir: its mode (0700) and that of every secret file
// in it (0600), regular files only. ask may be nil when no passphrase is
// available. The error is an *[Error] (errors.Is fs.ErrNotExist when there is
// no folder).
func Open(dir string, ask PassphraseFunc) (*Folder, error) {
	f := &Folder{dir: filepath.Clean(dir), pass: &passphrase{ask: ask}, opened: &openedKeys{}}
	if err := f.check(); err != nil {
		return nil, err
	}
	return f, nil
}

// AskAgain sets the function that asks for the passphrase again after a wrong one, at most
// four times. Without it, a wrong passphrase is an error at once.
func (f *Folder) AskAgain(ask PassphraseFunc) { f.pass.again = ask }

// check does the work of Open: it checks the modes, then finds role and name.
func (f *Folder) check() error {
	if err := checkFolder(f.dir); err != nil {
		return err
	}
	here := map[string]bool{}
	for _, name := range secretFiles {
		info, err := checkFile(f.path(name), true, maxSecret)
		if err != nil {
			return err
		}
		here[name] = info != nil
	}
	generations, err := f.earlier()
	if err != nil {
		return err
	}
	for _, name := range generations {
		if _, err := checkFile(f.path(name), true, maxSecret); err != nil {
			return err
		}
	}
	var identities []string
	for _, name := range []string{identityPlain, identityAge, identitySSH} {
		if here[name] {
			identities = append(identities, name)
		}
	}
	site, lab := here[pseudonymFile], len(identities) > 0
	switch {
	case site && lab:
		return fault(MixedFolder, f.dir, "holds a site's pseudonym key and a laboratory's identity")
	case len(identities) > 1:
		return fault(TwoIdentities, f.dir, "holds %s", strings.Join(identities, " and "))
	case site:
		f.role = Site
	case lab:
		f.role = Lab
	case len(generations) > 0 || f.holdsSites():
		return f.missing(NoPseudonymKey, pseudonymFile)
	default:
		return &Error{
			Fault: NotKeyFolder,
			Path:  f.dir,
			Message: "is not a key folder: it holds neither " + pseudonymFile + " (site) nor " +
				identityPlain + ", " + identityAge + " or " + identitySSH + " (laboratory)",
			cause: fs.ErrNotExist,
		}
	}
	_, name, err := f.ownSigner()
	if err != nil {
		return err
	}
	f.name = name
	return nil
}

// holdsSites reports whether the folder has a list that only a site's has.
func (f *Folder) holdsSites() bool {
	_, err := os.Lstat(f.path(recipientsFile))
	return err == nil
}

// Dir returns the folder's path.
func (f *Folder) Dir() string { return f.dir }

// Role returns the party that the folder belongs to.
func (f *Folder) Role() Role { return f.role }

// Name returns the comment of signing.pub: the site code or the lab's name, or
// "" when it has none that can be a signer's name.
func (f *Folder) Name() string { return f.name }

func (f *Folder) path(name string) string { return filepath.Join(f.dir, name) }

// Format prints where the folder is, and nothing else.
func (f Folder) Format(s fmt.State, _ rune) {
	io.WriteString(s, "(key folder "+quotePath(f.dir)+")")
}
