package bag

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// A Kind says what is wrong with a file of a bag.
type Kind int

const (
	Missing            Kind = iota // listed or required, not there
	Unexpected                     // there, not listed
	WrongChecksum                  // there, with other bytes
	NotPayload                     // listed in the manifest, outside data/
	NotTag                         // listed in the tag manifest, inside data/
	Unlisted                       // a manifest that the tag manifest must list and does not
	ListsTagManifest               // the tag manifest lists a tag manifest
	OtherCase                      // the same name as Other but for upper and lower case
	OtherNormalisation             // the same name as Other but for the Unicode normal form
	Fetch                          // a fetch.txt: parts of the bag would have to be downloaded
	Twice                          // listed twice, or there twice
)

// An Issue is one thing wrong with a bag. Other is set for OtherCase and
// OtherNormalisation only.
type Issue struct {
	Kind        Kind
	Path, Other string
}

// String says it in words, the path quoted.
func (i Issue) String() string {
	switch i.Kind {
	case Missing:
		return fmt.Sprintf("%q is missing", i.Path)
	case Unexpected:
		return fmt.Sprintf("%q is there, but no manifest lists it", i.Path)
	case WrongChecksum:
		return fmt.Sprintf("%q has a wrong checksum: it was changed or damaged", i.Path)
	case NotPayload:
		return fmt.Sprintf("%q is listed in the manifest, but is not payload", i.Path)
	case NotTag:
		return fmt.Sprintf("%q is listed in the tag manifest, but is payload", i.Path)
	case Unlisted:
		return fmt.Sprintf("the tag manifest does not list %q", i.Path)
	case ListsTagManifest:
		return fmt.Sprintf("the tag manifest lists a tag manifest, %q", i.Path)
	case OtherCase:
		return fmt.Sprintf("%q and %q differ only in upper and lower case", i.Path, i.Other)
	case OtherNormalisation:
		return fmt.Sprintf("%q and %q are written in different Unicode normal forms of the same name", i.Path, i.Other)
	case Fetch:
		return fmt.Sprintf("%q asks for a download; nothing is downloaded here", i.Path)
	case Twice:
		return fmt.Sprintf("%q is there or listed twice", i.Path)
	}
	return fmt.Sprintf("%q: unknown issue %d", i.Path, i.Kind)
}

// CheckComplete compares the lists of a bag with the files that are there:
// actual holds every file of the bag, payload and tag files, with the SHA-256
// of its bytes as read. unlisted names tag files that cannot be in the tag
// manifest, such as its detached signature; each must be there. No issue means
// a complete and valid bag (RFC 8493, 3), provided that the tag files parse.
//
// Stricter than the RFC, every tag file but the tag manifest and unlisted must
// be listed, and SHA-256 is the only algorithm: a manifest of another one is
// Unexpected. Issues are sorted by path.
func CheckComplete(manifest, tagManifest, actual []Entry, unlisted ...string) []Issue {
	c := checker{there: make(map[string][32]byte, len(actual)), listed: make(map[string]bool, len(actual))}
	for _, e := range actual {
		if _, ok := c.there[e.Path]; ok {
			c.add(Twice, e.Path)
		}
		c.there[e.Path] = e.SHA256
	}
	for _, path := range append([]string{Bagit, Manifest, TagManifest}, unlisted...) {
		if _, ok := c.there[path]; !ok {
			c.add(Missing, path)
		}
	}
	for _, e := range manifest {
		if !strings.HasPrefix(e.Path, "data/") {
			c.add(NotPayload, e.Path)
		}
		c.compare(e)
	}
	for _, e := range tagManifest {
		switch {
		case strings.HasPrefix(e.Path, "data/"):
			c.add(NotTag, e.Path)
		case isTagManifest(e.Path):
			c.add(ListsTagManifest, e.Path)
			c.listed[e.Path] = true // its own checksum cannot be right
			continue
		}
		c.compare(e)
	}
	if !c.listed[Manifest] {
		c.add(Unlisted, Manifest)
	}
	for _, e := range actual {
		switch {
		case e.Path == "fetch.txt":
			c.add(Fetch, e.Path)
		case e.Path == TagManifest, e.Path == Manifest, slices.Contains(unlisted, e.Path), c.listed[e.Path]:
		default:
			c.add(Unexpected, e.Path)
		}
	}
	c.sameNames()
	slices.SortFunc(c.issues, func(a, b Issue) int {
		return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Other, b.Other))
	})
	return slices.Compact(c.issues)
}

func isTagManifest(path string) bool {
	return strings.HasPrefix(path, "tagmanifest-") && strings.HasSuffix(path, ".txt") && !strings.Contains(path, "/")
}

type checker struct {
	there  map[string][32]byte
	listed map[string]bool
	issues []Issue
}

func (c *checker) add(k Kind, path string) { c.issues = append(c.issues, Issue{Kind: k, Path: path}) }

func (c *checker) compare(e Entry) {
	if c.listed[e.Path] {
		c.add(Twice, e.Path)
	}
	c.listed[e.Path] = true
	switch sum, ok := c.there[e.Path]; {
	case !ok:
		c.add(Missing, e.Path)
	case sum != e.SHA256:
		c.add(WrongChecksum, e.Path)
	}
}

// sameNames finds names, listed or there, that a file system of another kind
// would take for one (RFC 8493, 6.1.1).
func (c *checker) sameNames() {
	names := make([]string, 0, len(c.there)+len(c.listed))
	for path := range c.there {
		names = append(names, path)
	}
	for path := range c.listed {
		if _, ok := c.there[path]; !ok {
			names = append(names, path)
		}
	}
	slices.Sort(names)
	first := make(map[string]string, len(names))
	for _, name := range names {
		key := foldName(name)
		other, ok := first[key]
		switch {
		case !ok:
			first[key] = name
		case norm.NFC.String(other) == norm.NFC.String(name):
			c.issues = append(c.issues, Issue{OtherNormalisation, other, name})
		default:
			c.issues = append(c.issues, Issue{OtherCase, other, name})
		}
	}
}

// foldName gives equal results for names that differ in case or normal form
// only. NFD first, because folding a composed letter may decompose it.
func foldName(s string) string {
	for i := 0; ; i++ {
		if i == len(s) {
			return strings.ToLower(s)
		}
		if s[i] >= 0x80 {
			return norm.NFC.String(cases.Fold().String(norm.NFD.String(s)))
		}
	}
}
