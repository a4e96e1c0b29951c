package keys

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"
)

// NewOptions are the choices of [Create].
type NewOptions struct {
	Role       Role
	Name       string // principal: the site code, or the lab's short name; may be empty; the comment of signing.pub
	Classic    bool   // lab: X25519 instead of the post-quantum hybrid
	Passphrase []byte `json:"-"` // nil: keys are written plain, mode 0600

	// Existing keys. Nobody is asked for their passphrases.
	Identity  []byte `json:"-"` // lab: an OpenSSH private key or an age identity file, even a plugin's
	Recipient string // lab: of a plugin's identity, which does not contain it
	Signing   []byte // the public half of a signing key that an ssh-agent holds
}

// Format prints the choices without the passphrase.
func (o NewOptions) Format(s fmt.State, _ rune) {
	fmt.Fprintf(s,
		"(new key folder: role %q, classic %t, passphrase %t)", string(o.Role), o.Classic, o.Passphrase != nil)
}

// A newFile is a file of the new folder, complete in memory before anything is written.
type newFile struct {
	name string
	data []byte
	mode fs.FileMode
}

// Create makes a new key folder at dir, complete or not at all. If anything but an empty
// folder is at dir, the error is [Occupied]. Folders above dir are made if necessary. The
// error is an *[Error]; in that case nothing is left at dir.
func Create(dir string, o NewOptions) (*Folder, error) {
	dir = filepath.Clean(dir)
	if o.Name != "" && !validName(o.Name) {
		return nil, fault(BadName, dir, "the name given for this folder cannot be a signer's name")
	}
	if o.Passphrase != nil && len(o.Passphrase) == 0 {
		return nil, fault(EmptyPassphrase, dir, "the passphrase is empty")
	}
	if err := vacant(dir); err != nil {
		return nil, err
	}
	files, err := newFiles(dir, o)
	if err != nil {
		return nil, err
	}
	if err := writeFolder(dir, files); err != nil {
		return nil, err
	}
	f, err := Open(dir, nil)
	if err != nil {
		return nil, err
	}
	if o.Passphrase != nil {
		pass := bytes.Clone(o.Passphrase)
		f.pass.get = func() ([]byte, error) { return pass, nil }
	}
	return f, nil
}

// vacant refuses a path at which there is anything but an empty folder.
func vacant(dir string) error {
	info, err := os.Lstat(dir)
	if os.IsNotExist(err) {
		return nil
	}
	if err != nil {
		return ioFault(dir, "look at the place of the new key folder", err)
	}
	occupied := &Error{Fault: Occupied, Path: dir, cause: fs.ErrExist,
		Message: "something is here already, and keys are never overwritten"}
	if !info.IsDir() {
		return occupied
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return ioFault(dir, "look into the folder", err)
	}
	if len(entries) > 0 {
		return occupied
	}
	return nil
}

// newFiles makes the keys, and returns every file of the folder.
func newFiles(dir string, o NewOptions) ([]newFile, error) {
	pub, files, err := signingFiles(dir, o)
	if err != nil {
		return nil, err
	}
	switch {
	case o.Role == Site && o.Classic:
		return nil, fault(ClassicSite, dir,
			"classic or post-quantum is the laboratory's choice: a site's folder has no such key")
	case o.Role == Site && (o.Identity != nil || o.Recipient != ""):
		return nil, fault(SiteIdentity, "", "an identity opens shipments, which a site's folder does not")
	case o.Role == Site:
		var b [32]byte
		rand.Read(b[:])
		secret, err := protect(formatPseudonymKey(NewPseudonymKey(b)), o.Passphrase)
		if err != nil {
			return nil, ioFault(dir, "encrypt the pseudonym key", err)
		}
		return append(files,
			newFile{pseudonymFile, secret, 0o600},
			newFile{recipientsFile, []byte(recipientsIntro), 0o644},
			newFile{allowedFile, []byte(allowedIntroSite), 0o644},
			newFile{publicFile, appendLines([]byte(publicIntroSite), pub), 0o644}), nil
	case o.Recipient != "" && o.Identity == nil:
		return nil, fault(RecipientAlone, dir, "a recipient is given without the identity that it belongs to")
	case o.Role == Lab && o.Identity != nil:
		file, public, err := takenIdentity(o)
		if err != nil {
			return nil, err
		}
		offered := public
		if looksLikeKeyType(public) {
			offered = recipientMark + " " + public
		}
		return append(files, file,
			newFile{recipientFile, appendLines([]byte(recipientIntro), public), 0o644},
			newFile{allowedFile, []byte(allowedIntroLab), 0o644},
			newFile{publicFile, appendLines([]byte(publicIntroLab), offered, pub), 0o644}), nil
	case o.Role == Lab:
		text, public, err := newIdentity(o.Classic)
		if err != nil {
			return nil, ioFault(dir, "make the identity", err)
		}
		secret, err := protect([]byte(identityIntro+text+"\n"), o.Passphrase)
		if err != nil {
			return nil, ioFault(dir, "encrypt the identity", err)
		}
		name := identityPlain
		if o.Passphrase != nil {
			name = identityAge
		}
		return append(files,
			newFile{name, secret, 0o600},
			newFile{recipientFile, appendLines([]byte(recipientIntro), public), 0o644},
			newFile{allowedFile, []byte(allowedIntroLab), 0o644},
			newFile{publicFile, appendLines([]byte(publicIntroLab), public, pub), 0o644}), nil
	}
	return nil, fault(NoRole, dir, "a key folder is a site's or a laboratory's, and this one is neither")
}

// signingFiles makes the signing key, or takes the public half of one in an ssh-agent. pub is
// its line of signing.pub.
func signingFiles(dir string, o NewOptions) (pub string, files []newFile, err error) {
	if o.Signing == nil {
		pub, private, err := newSigning(o)
		if err != nil {
			return "", nil, ioFault(dir, "make the signing key", err)
		}
		return pub, []newFile{{signingFile, private, 0o600}, {signingPub, []byte(pub + "\n"), 0o644}}, nil
	}
	for n, line := range textLines(o.Signing) {
		key, _, problem := parsePublicKey(line)
		switch {
		case secretLine(line) != "":
			problem = bad(NotPublicFile, "holds "+secretLine(line)+", which an ssh-agent keeps to itself")
		case problem == nil && pub != "":
			problem = bad(OneKeyExpected, "is a second key, where one is expected")
		}
		if problem != nil {
			return "", nil, problem.at("", atLine(n)+" of the signing key")
		}
		pub = formatPublicKey(key, o.Name)
	}
	if pub == "" {
		return "", nil, fault(NotPublicFile, "", "the file of the signing key holds no public key")
	}
	return pub, []newFile{{signingPub, []byte(pub + "\n"), 0o644}}, nil
}

// takenIdentity returns the file for an existing identity. public is its recipient.
func takenIdentity(o NewOptions) (file newFile, public string, err error) {
	if bytes.Contains(o.Identity, []byte("PRIVATE KEY-----")) {
		return takenSSH(o)
	}
	found := 0
	for n, line := range textLines(o.Identity) {
		found++
		if isPluginIdentity(line) {
			r, problem := parseRecipient(o.Recipient)
			if problem != nil || r.plugin == "" {
				return file, "", fault(RecipientMissing, "",
					"line %d of the identity is a plugin's, which does not show its recipient (age1...)", n)
			}
			public = r.text
			continue
		}
		_, own, ok := parseIdentity(line)
		if !ok {
			return file, "", fault(NotIdentity, "",
				"line %d of the identity is neither an age identity nor an OpenSSH private key, or is cut short", n)
		}
		public = own
	}
	if found != 1 {
		return file, "", fault(OneKeyExpected, "",
			"the file of the identity holds %d keys, where one is expected", found)
	}
	secret, err := protect(o.Identity, o.Passphrase)
	if err != nil {
		return file, "", ioFault("", "encrypt the identity", err)
	}
	name := identityPlain
	if o.Passphrase != nil {
		name = identityAge
	}
	return newFile{name, secret, 0o600}, public, nil
}

// takenSSH returns the file for an existing OpenSSH private key, unchanged. A folder has one
// passphrase, so if one is given, it must be the key's own.
func takenSSH(o NewOptions) (file newFile, public string, err error) {
	if o.Recipient != "" {
		return file, "", fault(RecipientNeedless, "",
			"a recipient is given for an identity that shows its own: it is an SSH key")
	}
	asked := false
	_, public, err = sshIdentity(o.Identity, func() ([]byte, error) {
		asked = true
		return o.Passphrase, nil
	})
	var locked *ssh.PassphraseMissingError
	switch _, missing := ssh.ParseRawPrivateKey(o.Identity); {
	case o.Passphrase != nil && err == nil && !asked:
		return file, "", fault(UnlockedSSHKey, "",
			"the SSH key has no passphrase of its own, and the folder's would not protect it")
	case o.Passphrase != nil && errors.Is(err, ErrPassphrase):
		return file, "", fault(OtherPassphrase, "", "the SSH key has another passphrase")
	case o.Passphrase == nil && errors.As(missing, &locked) && locked.PublicKey != nil:
		public, err = formatPublicKey(locked.PublicKey, ""), nil // its passphrase is asked for when it is used
	}
	if err == nil {
		if _, problem := sshRecipient(public); problem != nil {
			err = errNotSSHKey
		}
	}
	if err != nil {
		return file, "", fault(NotIdentity, "", "the identity %s", errNotSSHKey)
	}
	return newFile{identitySSH, o.Identity, 0o600}, public, nil
}

// newSigning makes an Ed25519 signing key: its public line, and the private file in
// OpenSSH's form.
func newSigning(o NewOptions) (pub string, private []byte, err error) {
	edPub, edKey, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return "", nil, err
	}
	sshPub, err := ssh.NewPublicKey(edPub)
	if err != nil {
		return "", nil, err
	}
	block, err := ssh.MarshalPrivateKey(edKey, o.Name)
	if err == nil && o.Passphrase != nil {
		block, err = lockSigning(block, o.Passphrase, signingRounds)
	}
	if err != nil {
		return "", nil, err
	}
	return formatPublicKey(sshPub, o.Name), pem.EncodeToMemory(block), nil
}

// newIdentity makes an age identity: its text, and its recipient.
func newIdentity(classic bool) (text, public string, err error) {
	if classic {
		id, err := age.GenerateX25519Identity()
		if err != nil {
			return "", "", err
		}
		return id.String(), id.Recipient().String(), nil
	}
	id, err := age.GenerateHybridIdentity()
	if err != nil {
		return "", "", err
	}
	return id.String(), id.Recipient().String(), nil
}

// protect encrypts text under pass. Without a passphrase (nil) text remains plain.
func protect(text, pass []byte) ([]byte, error) {
	if pass == nil {
		return text, nil
	}
	return seal(text, pass)
}

// writeFolder writes a temporary folder next to dir, checks that this disk keeps its modes
// and contents, and renames it.
func writeFolder(dir string, files []newFile) (err error) {
	parent := filepath.Dir(dir)
	if err := os.MkdirAll(parent, 0o700); err != nil {
		return ioFault(parent, "make the folder above the key folder", err)
	}
	tmp, err := os.MkdirTemp(parent, ".outbreath-keys-*") // mode 0700
	if err != nil {
		return ioFault(parent, "make a folder here", err)
	}
	defer func() {
		if err != nil {
			os.RemoveAll(tmp)
		}
	}()
	for _, file := range files {
		if err := writeNew(tmp, file.name, file.data, file.mode); err != nil {
			return ioFault(filepath.Join(dir, file.name), "write this file", err)
		}
	}
	if err := (&Folder{dir: tmp}).check(); err != nil {
		return fault(NotPrivateDisk, dir, "this disk does not keep files private (or not unchanged)")
	}
	if err := syncDir(tmp); err != nil {
		return ioFault(dir, "write this folder", err)
	}
	// An empty folder may be at dir. os.Remove removes it only if it is still empty, and Rename
	// fails if something has appeared there since.
	if info, err := os.Lstat(dir); err == nil && info.IsDir() {
		if err := os.Remove(dir); err != nil {
			return ioFault(dir, "take the place of the empty folder", err)
		}
	}
	if err := os.Rename(tmp, dir); err != nil {
		return ioFault(dir, "put the new key folder in place", err)
	}
	if err := syncDir(parent); err != nil {
		return ioFault(parent, "write this folder", err)
	}
	return nil
}
