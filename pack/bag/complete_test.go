package bag

import (
	"crypto/sha256"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func entries(paths ...string) []Entry {
	var e []Entry
	for _, p := range paths {
		e = append(e, Entry{p, sha256.Sum256([]byte(p))})
	}
	return e
}

// goodBag returns the lists of a complete bag with a signed tag manifest.
func goodBag() (manifest, tags, actual []Entry) {
	manifest = entries("data/sessions/A.json", "data/tubes.csv")
	tags = entries(Info, Bagit, Manifest)
	actual = slices.Concat(manifest, tags, entries(TagManifest, sigName))
	return
}

const sigName = TagManifest + ".sig"

func TestCheckComplete(t *testing.T) {
	without := func(e []Entry, path string) []Entry {
		return slices.DeleteFunc(slices.Clone(e), func(e Entry) bool { return e.Path == path })
	}
	other := func(e []Entry, path string) []Entry {
		e = slices.Clone(e)
		for i := range e {
			if e[i].Path == path {
				e[i].SHA256[31] ^= 1
			}
		}
		return e
	}
	type lists struct{ manifest, tags, actual *[]Entry }
	for _, c := range []struct {
		name   string
		change func(l lists)
		want   []Issue
	}{
		{"good", func(lists) {}, nil},
		{"payload missing", func(l lists) { *l.actual = without(*l.actual, "data/tubes.csv") },
			[]Issue{{Missing, "data/tubes.csv", ""}}},
		{"corrupt-data-file", func(l lists) { *l.actual = other(*l.actual, "data/tubes.csv") },
			[]Issue{{WrongChecksum, "data/tubes.csv", ""}}},
		{"corrupt-tag-file", func(l lists) { *l.actual = other(*l.actual, Info) }, []Issue{{WrongChecksum, Info, ""}}},
		{"manifest changed", func(l lists) { *l.actual = other(*l.actual, Manifest) },
			[]Issue{{WrongChecksum, Manifest, ""}}},
		{"extra-file-in-bag", func(l lists) { *l.actual = append(*l.actual, entries("data/x")...) },
			[]Issue{{Unexpected, "data/x", ""}}},
		{"extra tag file", func(l lists) { *l.actual = append(*l.actual, entries("x.txt")...) },
			[]Issue{{Unexpected, "x.txt", ""}}},
		{"manifest of another algorithm", func(l lists) {
			*l.actual = append(*l.actual,
				entries("manifest-md5.txt")...)
		}, []Issue{{Unexpected, "manifest-md5.txt", ""}}},
		{"special-system-files", func(l lists) {
			*l.actual = append(*l.actual, entries("data/.DS_Store",
				"Thumbs.db")...)
		},
			[]Issue{{Unexpected, "Thumbs.db", ""}, {Unexpected, "data/.DS_Store", ""}}},
		{"missing-bagit.txt", func(l lists) { *l.actual = without(*l.actual, Bagit) }, []Issue{{Missing, Bagit, ""}}},
		{"no signature", func(l lists) { *l.actual = without(*l.actual, sigName) }, []Issue{{Missing, sigName, ""}}},
		{"no tag manifest", func(l lists) { *l.actual = without(*l.actual, TagManifest) },
			[]Issue{{Missing, TagManifest, ""}}},
		{"fetch.txt", func(l lists) {
			*l.actual = append(*l.actual, entries("fetch.txt")...)
			*l.tags = append(*l.tags, entries("fetch.txt")...)
		}, []Issue{{Fetch, "fetch.txt", ""}}},
		{"listed but not payload", func(l lists) { *l.manifest = append(*l.manifest, entries(Info)...) },
			[]Issue{{NotPayload, Info, ""}, {Twice, Info, ""}}},
		{"payload in the tag manifest", func(l lists) {
			*l.tags = append(*l.tags, entries("data/x")...)
			*l.actual = append(*l.actual, entries("data/x")...)
		}, []Issue{{NotTag, "data/x", ""}}},
		{"tag manifest does not list the manifest", func(l lists) { *l.tags = without(*l.tags, Manifest) },
			[]Issue{{Unlisted, Manifest, ""}}},
		{"tag manifest does not list bag-info.txt", func(l lists) { *l.tags = without(*l.tags, Info) },
			[]Issue{{Unexpected, Info, ""}}},
		{"tag manifest lists itself", func(l lists) { *l.tags = append(*l.tags, entries(TagManifest)...) },
			[]Issue{{ListsTagManifest, TagManifest, ""}}},
		{"duplicate-file-with-different-case", func(l lists) {
			*l.manifest = append(*l.manifest, entries("data/Tubes.csv")...)
			*l.actual = append(*l.actual, entries("data/Tubes.csv")...)
		}, []Issue{{OtherCase, "data/Tubes.csv", "data/tubes.csv"}}},
		{"other case than listed", func(l lists) {
			*l.actual = append(without(*l.actual, "data/tubes.csv"),
				entries("data/TUBES.csv")...)
		},
			[]Issue{{Unexpected, "data/TUBES.csv", ""}, {OtherCase, "data/TUBES.csv", "data/tubes.csv"},
				{Missing, "data/tubes.csv", ""}}},
		// The pair of RFC 8493, 6.1.1.2.
		{"other normal form", func(l lists) {
			*l.manifest = append(*l.manifest, entries("data/N\u00fa\u00f1ez")...)
			*l.actual = append(*l.actual, entries("data/Nu\u0301n\u0303ez")...)
		}, []Issue{{Unexpected, "data/Nu\u0301n\u0303ez", ""}, {OtherNormalisation, "data/Nu\u0301n\u0303ez",
			"data/N\u00fa\u00f1ez"}, {Missing, "data/N\u00fa\u00f1ez", ""}}},
		{"there twice", func(l lists) { *l.actual = append(*l.actual, entries("data/tubes.csv")...) },
			[]Issue{{Twice, "data/tubes.csv", ""}}},
		{"listed twice", func(l lists) { *l.manifest = append(*l.manifest, entries("data/tubes.csv")...) },
			[]Issue{{Twice, "data/tubes.csv", ""}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			manifest, tags, actual := goodBag()
			c.change(lists{&manifest, &tags, &actual})
			got := CheckComplete(manifest, tags, actual, sigName)
			if d := cmp.Diff(c.want, got); d != "" {
				t.Error(d)
			}
			for _, i := range got {
				if s := i.String(); !strings.Contains(s, `"`) || strings.Contains(s, "unknown") {
					t.Errorf("%d: %s", i.Kind, s)
				}
			}
		})
	}
	t.Run("signature not announced", func(t *testing.T) {
		if d := cmp.Diff([]Issue{{Unexpected, sigName, ""}}, CheckComplete(goodBag())); d != "" {
			t.Error(d)
		}
	})
	// RFC 8493, 3: in a complete bag every listed file is there. Of an empty folder each is named, once.
	t.Run("nothing of what is listed", func(t *testing.T) {
		manifest, tags, _ := goodBag()
		want := []Issue{
			{Missing, Info, ""}, {Missing, Bagit, ""},
			{Missing, "data/sessions/A.json", ""}, {Missing, "data/tubes.csv", ""},
			{Missing, Manifest, ""}, {Missing, TagManifest, ""}, {Missing, sigName, ""},
		}
		if d := cmp.Diff(want, CheckComplete(manifest, tags, nil, sigName)); d != "" {
			t.Error(d)
		}
	})
	t.Run("nothing", func(t *testing.T) {
		if got := CheckComplete(nil, nil, nil); len(got) < 4 {
			t.Error(got)
		}
	})
}

// TestAnyChange takes a good bag and makes one change to what is there: it is
// always found, and the file concerned is named.
func TestAnyChange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		manifest, tags, actual := goodBag()
		i := rapid.IntRange(0, len(actual)-1).Draw(t, "file")
		path := actual[i].Path
		switch rapid.IntRange(0, 2).Draw(t, "change") {
		case 0:
			actual = slices.Delete(actual, i, i+1)
		case 1:
			if path == TagManifest || path == sigName {
				t.Skip("the tag manifest and its signature are proved by the signature")
			}
			actual[i].SHA256[rapid.IntRange(0, 31).Draw(t, "byte")] ^= rapid.ByteRange(1, 255).Draw(t, "bits")
		case 2:
			path += "x"
			actual = append(actual, entries(path)...)
		}
		got := CheckComplete(manifest, tags, actual, sigName)
		if !slices.ContainsFunc(got, func(is Issue) bool { return is.Path == path }) {
			t.Fatalf("%q not named in %v", path, got)
		}
	})
}

func TestFoldName(t *testing.T) {
	for _, same := range [][2]string{
		{"data/A", "data/a"}, {"data/ÉTÉ", "data/e\u0301te\u0301"}, {"\u212a", "k"}, {"stra\u00dfe", "STRASSE"},
		{"\u01c4", "\u01c6"},
		// Unicode CaseFolding.txt: 03C2; C; 03C3 and 017F; C; 0073. Lower case alone keeps them apart.
		{"\u03c2", "\u03c3"}, {"\u017f", "s"},
	} {
		if foldName(same[0]) != foldName(same[1]) {
			t.Errorf("%q and %q", same[0], same[1])
		}
	}
	if foldName("data/e") == foldName("data/é") {
		t.Error("marks are dropped")
	}
}
