package keys

// A Fault is the kind of an [Error]. Its values are stable: callers choose their advice by
// them.
type Fault string

// Faults of a key folder and of the files in it.
const (
	NoFolder          Fault = "no-folder"            // nothing is at the path
	LinkedFolder      Fault = "linked-folder"        // a link is there
	NotFolder         Fault = "not-a-folder"         // a file is there
	ForeignFolder     Fault = "foreign-folder"       // it belongs to another user
	OpenFolder        Fault = "open-folder"          // others can enter it
	NotKeyFolder      Fault = "not-a-key-folder"     // it has neither a pseudonym key nor an identity
	MixedFolder       Fault = "mixed-folder"         // it has both
	TwoIdentities     Fault = "two-identities"       // it has several files with an identity
	BusyFolder        Fault = "busy-folder"          // another process is changing it
	LinkedFile        Fault = "linked-file"          // a file of the folder is a link
	NotFile           Fault = "not-a-file"           // or no ordinary file
	ForeignFile       Fault = "foreign-file"         // or belongs to another user
	WritableList      Fault = "writable-list"        // others can change a public list
	ReadableKey       Fault = "readable-key"         // others can read a secret key
	ReplacedFile      Fault = "replaced-file"        // it was replaced while it was read
	DamagedFile       Fault = "damaged-file"         // it is missing, or not what Create wrote
	NoPseudonymKey    Fault = "no-pseudonym-key"     // a site's folder has lost it
	DamagedPseudonym  Fault = "damaged-pseudonym"    // the key's file was changed or cut short
	LostGeneration    Fault = "lost-generation"      // two files hold one pseudonym key
	FullOfGenerations Fault = "full-of-generations"  // no further pseudonym key fits
	NoSigningKey      Fault = "no-signing-key"       // there is no file, and no ssh-agent is known
	UnusableKey       Fault = "unusable-signing-key" // of a kind that cannot sign
	OtherEncryption   Fault = "other-encryption"     // a key file is not under a passphrase, but encrypted to a key
	UnmatchedFiles    Fault = "unmatched-files"      // a public and a private half do not belong together
	NoPublicKey       Fault = "no-public-key"        // signing.pub is empty
	BadState          Fault = "bad-state"            // not written with a key of this folder; see [ErrState]
	FullState         Fault = "full-state"           // more than [MaxState]
	FailedIO          Fault = "failed-io"            // the system refused; Unwrap gives its error
	NotPrivateDisk    Fault = "not-a-private-disk"   // the disk keeps no modes, or changes what is written
	BadDisk           Fault = "bad-disk"             // what was written does not read back
)

// Faults of a line in a list of keys.
const (
	BadLine          Fault = "bad-line"          // it cannot be read
	BadContact       Fault = "bad-contact"       // likewise, of contacts.txt
	BadRevocation    Fault = "bad-revocation"    // likewise, of revoked.txt
	FullList         Fault = "full-list"         // no further line fits
	CutLine          Fault = "cut-line"          // a public key is cut short
	SecretInList     Fault = "secret-in-list"    // a secret key is among public ones
	UnsupportedKey   Fault = "unsupported-key"   // of a type that cannot be used
	CannotEncrypt    Fault = "cannot-encrypt"    // nothing can be encrypted to that SSH key
	ControlCharacter Fault = "control-character" // in a line of allowed_signers, like the next ones
	NamePattern      Fault = "name-pattern"      // * or ? in a signer's name
	NameExcluded     Fault = "name-excluded"     // ! before a signer's name
	Authority        Fault = "authority"         // a certificate authority
	BadSeparator     Fault = "bad-separator"     // after a quotation mark
	BadNamespace     Fault = "bad-namespace"     // a pattern or a blank in a namespace
	BadTime          Fault = "bad-time"          // of valid-after or valid-before
)

// Faults of the recipients that a site encrypts for.
const (
	NoRecipient      Fault = "no-recipient"      // none is listed
	UnknownRecipient Fault = "unknown-recipient" // none of that Name is
	ExpiredRecipient Fault = "expired-recipient" // the last day of Name's key is over
	MixedRecipients  Fault = "mixed-recipients"  // post-quantum and classic ones cannot share an archive
)

// Faults of what is passed to Trust, Untrust, Recipients, Create, Split or Join.
const (
	BadName           Fault = "bad-name"           // it cannot be a signer's name
	BadDay            Fault = "bad-day"            // a date is not written as 2027-03-31
	DayOver           Fault = "day-over"           // the last day of use is before today
	BadReason         Fault = "bad-reason"         // a reason or a person's name does not fit a line
	NotPublicKeys     Fault = "not-public-keys"    // a file of public keys holds something else, or none
	EmptyFile         Fault = "empty-file"         // or nothing
	SecretHanded      Fault = "secret-handed"      // or a secret key
	MixedOffer        Fault = "mixed-offer"        // recipients that do not mix with those that are trusted
	OwnKey            Fault = "own-key"            // the folder's own signing key
	RecipientForLab   Fault = "recipient-for-lab"  // a laboratory encrypts for nobody
	ChangedKey        Fault = "changed-key"        // another key is trusted for Name
	NamelessKey       Fault = "nameless-key"       // nobody said whose it is
	OtherPurpose      Fault = "other-purpose"      // Name's key is trusted for other purposes only
	SharedKey         Fault = "shared-key"         // the key is trusted for somebody else
	RevokedKey        Fault = "revoked-key"        // the key was revoked here
	NobodyTrusted     Fault = "nobody-trusted"     // no key is trusted under that name
	Occupied          Fault = "occupied"           // something is at the new folder's place
	NoRole            Fault = "no-role"            // neither a site's nor a laboratory's
	ClassicSite       Fault = "classic-site"       // Classic is a laboratory's choice
	SiteIdentity      Fault = "site-identity"      // a site opens no shipments
	EmptyPassphrase   Fault = "empty-passphrase"   // for new keys
	NotIdentity       Fault = "not-an-identity"    // a file holds no age identity or SSH key that can open
	NotPublicFile     Fault = "not-a-public-file"  // a file of a public SSH key holds something else
	OneKeyExpected    Fault = "one-key-expected"   // a file holds several keys, or none
	RecipientAlone    Fault = "recipient-alone"    // a recipient without its identity
	RecipientMissing  Fault = "recipient-missing"  // a plugin's identity without its recipient
	RecipientNeedless Fault = "recipient-needless" // an SSH key shows its own
	UnlockedSSHKey    Fault = "unlocked-ssh-key"   // it has no passphrase, the folder has
	OtherPassphrase   Fault = "another-passphrase" // it has another passphrase than the folder
	NoFile            Fault = "no-file"            // a file that a person named is not there
	NamedLink         Fault = "named-link"         // or is a link
	NamedFolder       Fault = "named-folder"       // or a folder
	NamedOther        Fault = "named-other"        // or no ordinary file
	WrongFile         Fault = "wrong-file"         // or far too large
	ForeignSecret     Fault = "foreign-secret"     // or belongs to another user
	ReadableSecret    Fault = "readable-secret"    // or can be read by others
	BadSplit          Fault = "bad-split"          // shares of that number cannot be made
	PluginShare       Fault = "plugin-share"       // a share cannot be encrypted to a plugin's recipient
	FailedSplit       Fault = "failed-split"       // the arithmetic failed; nothing was made
	DamagedShare      Fault = "damaged-share"      // a share's file, or it is none
	LockedShare       Fault = "locked-share"       // encrypted to its custodian's key, and no identity was given
	WrongIdentity     Fault = "wrong-identity"     // the identity given does not open the share
	MistypedLetters   Fault = "mistyped-letters"   // a line of a share's letters
	MissingLetters    Fault = "missing-letters"    // lines at the end
	OtherSplit        Fault = "other-split"        // a share of another split than most
	NoShares          Fault = "no-shares"          // none was given
)

// Faults of asking for a passphrase, and of plugins and agents, while a key is used.
const (
	NoPassphrase    Fault = "no-passphrase"    // nobody can be asked for it
	UnreadableInput Fault = "unreadable-input" // asking failed; Unwrap gives the asker's error
	WrongPassphrase Fault = "wrong-passphrase" // see [ErrPassphrase]
	NoTerminal      Fault = "no-terminal"      // a token's plugin needs one
	NoPlugin        Fault = "no-plugin"        // the program age-plugin-Name is not installed
	PluginFailed    Fault = "plugin-failed"    // it could not use its key
	AgentSilent     Fault = "agent-silent"     // the ssh-agent does not answer
	AgentLocked     Fault = "agent-locked"     // it does not list its keys
	AgentRefused    Fault = "agent-refused"    // it did not sign
	AgentWithoutKey Fault = "agent-without"    // it does not hold the key
)
