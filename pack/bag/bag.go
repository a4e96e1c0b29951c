// Package bag reads and writes the tag files of an RFC 8493 bag (BagIt 1.0),
// SHA-256 only, and says what of a bag is missing, changed or too much.
//
// In and out are bytes and lists: the package opens no file. Callers need the
// Format/Parse pairs and [CheckComplete].
package bag

// Names of the tag files of our bags. Source: RFC 8493, 2.1 and 2.2.
const (
	Bagit       = "bagit.txt"
	Info        = "bag-info.txt"
	Manifest    = "manifest-sha256.txt"
	TagManifest = "tagmanifest-sha256.txt"
)

// An Entry is one file of a bag. Path is relative to the bag's base folder,
// slash-separated and not percent-encoded ("data/sessions/X.json").
type Entry struct {
	Path   string
	SHA256 [32]byte
}

// A Field is one line of bag-info.txt. The order of fields is kept.
type Field struct{ Label, Value string }

// FormatBagit returns the bytes of bagit.txt.
func FormatBagit() []byte { panic("todo") }

// ParseBagit checks the bytes of a bagit.txt. The error is a *VersionError for
// another BagIt version, else a *SyntaxError.
func ParseBagit(data []byte) error { panic("todo") }

// FormatInfo returns the bytes of bag-info.txt, fields in the order given.
func FormatInfo(fields []Field) ([]byte, error) { panic("todo") }

// ParseInfo reads a bag-info.txt. The error is a *SyntaxError.
func ParseInfo(data []byte) ([]Field, error) { panic("todo") }

// Oxum returns the value of Payload-Oxum for a payload of that many bytes in
// that many files.
func Oxum(bytes, files int64) string { panic("todo") }

// ParseOxum is the inverse of Oxum.
func ParseOxum(s string) (bytes, files int64, err error) { panic("todo") }

// FormatManifest returns the bytes of manifest-sha256.txt (payload) or
// tagmanifest-sha256.txt, sorted by path. It refuses what ParseManifest would.
func FormatManifest(entries []Entry, payload bool) ([]byte, error) { panic("todo") }

// ParseManifest reads a manifest (payload) or tag manifest and returns its
// entries sorted by path. The error is a *SyntaxError.
func ParseManifest(data []byte, payload bool) ([]Entry, error) { panic("todo") }

// A SyntaxError tells what is wrong in a tag file; it quotes nothing of it.
type SyntaxError struct {
	Line int // from 1; 0 when the whole file is meant
	Msg  string
}

func (e *SyntaxError) Error() string { panic("todo") }

// A VersionError is a bag of another BagIt version than 1.0.
type VersionError struct{ Version string }

func (e *VersionError) Error() string { panic("todo") }

// A Kind says what is wrong with a file of a bag.
type Kind int

const (
	Missing            Kind = iota // listed, not there
	Unexpected                     // there, not listed
	WrongChecksum                  // there, with other bytes
	NotPayload                     // listed in the manifest, outside data/
	NotTag                         // listed in the tag manifest, inside data/
	Unlisted                       // a manifest that the tag manifest must list and does not
	ListsTagManifest               // the tag manifest lists a tag manifest
	OtherCase                      // the same name as Other but for upper and lower case
	OtherNormalisation             // the same name as Other but for the Unicode normal form
	Fetch                          // a fetch.txt: parts of the bag would have to be downloaded
	Twice                          // listed or there twice
)

// An Issue is one thing wrong with a bag. Other is set for OtherCase and
// OtherNormalisation only.
type Issue struct {
	Kind        Kind
	Path, Other string
}

// String says it in words, the path quoted.
func (i Issue) String() string { panic("todo") }

// CheckComplete compares the lists of a bag with the files that are there:
// actual holds every file of the bag, payload and tag files, with the SHA-256
// of its bytes as read. unlisted names tag files that cannot stand in the tag
// manifest, such as its detached signature; each must be there. No issue means
// a complete and valid bag (RFC 8493, 3), provided that the tag files parse.
// Issues are sorted by path.
func CheckComplete(manifest, tagManifest, actual []Entry, unlisted ...string) []Issue {
	panic("todo")
}
