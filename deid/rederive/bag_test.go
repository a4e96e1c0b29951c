package rederive_test

import (
	"archive/tar"
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/deid/rederive"
	"outbreath/keys"
	"outbreath/schema"
	"outbreath/schema/demo"
)

// An entry is one file of a bag, with its header in the archive.
type entry struct {
	path   string // below the bag's folder
	header tar.Header
	data   []byte
}

const number = demo.Site + "-0001"

func entryOf(path string, data []byte) entry {
	return entry{path, tar.Header{Typeflag: tar.TypeReg, Name: number + "/" + path, Size: int64(len(data)), Mode: 0o644,
		ModTime: time.Unix(315532800, 0), Format: tar.FormatUSTAR}, data}
}

// A bag is what a shipment holds.
type bag []entry

// signed returns b with the tag files that its payload requires, as a site that
// re-signs an altered bag makes them. Only the signature is a stand-in.
func (b bag) signed() bag {
	out := slices.DeleteFunc(slices.Clone(b), func(e entry) bool { return !strings.HasPrefix(e.path, "data/") })
	var manifest bytes.Buffer
	size := 0
	sorted := slices.Clone(out)
	slices.SortFunc(sorted, func(a, b entry) int { return cmp.Compare(a.path, b.path) })
	for _, e := range sorted {
		fmt.Fprintf(&manifest, "%x  %s\n", sha256.Sum256(e.data), e.path)
		size += len(e.data)
	}
	tags := []entry{
		entryOf("bag-info.txt", fmt.Appendf(nil, "External-Identifier: %s\nPayload-Oxum: %d.%d\n", number, size,
			len(out))),
		entryOf("bagit.txt", []byte("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")),
		entryOf("manifest-sha256.txt", manifest.Bytes()),
	}
	var list bytes.Buffer
	for _, e := range tags {
		fmt.Fprintf(&list, "%x  %s\n", sha256.Sum256(e.data), e.path)
	}
	tags = append(tags, entryOf("tagmanifest-sha256.txt", list.Bytes()), entryOf("tagmanifest-sha256.txt.sig",
		[]byte("-----BEGIN SSH SIGNATURE-----\n")))
	return append(out, tags...)
}

// find returns the index of the n-th file whose path begins and ends so, from 0.
func (b bag) find(t *testing.T, n int, begin, end string) int {
	t.Helper()
	for i, e := range b {
		if strings.HasPrefix(e.path, begin) && strings.HasSuffix(e.path, end) {
			if n--; n < 0 {
				return i
			}
		}
	}
	t.Fatalf("the bag has no further file %s...%s", begin, end)
	return 0
}

// put replaces the content of file i, and the size in its header.
func (b bag) put(i int, data []byte) { b[i].data, b[i].header.Size = data, int64(len(data)) }

func (b bag) clone() bag {
	out := slices.Clone(b)
	for i := range out {
		out[i].data = bytes.Clone(out[i].data)
	}
	return out
}

// A scene is a collection, its key and the bag that is made from it.
type scene struct {
	dir       string
	key       [32]byte
	earlier   [][32]byte
	col       *schema.Collection
	findings  []leak.Finding
	decisions *leak.Decisions
	leftOut   []string
	bag       bag
}

// testKey has no pattern: the digest of a sentence.
var testKey = sha256.Sum256([]byte("a key for the tests of package rederive"))

// newScene invents a collection, changes it, treats it, and takes what leaves. action
// is the decision on findings that are not redacted anyway.
func newScene(t *testing.T, o demo.Options, action string, change func(dir string)) *scene {
	t.Helper()
	s := &scene{dir: t.TempDir(), key: testKey}
	if _, err := demo.Write(s.dir, o); err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(s.dir)
	}
	s.treat(t, action)
	return s
}

func (s *scene) treat(t *testing.T, action string) {
	t.Helper()
	var err error
	if s.col, err = schema.Load(s.dir); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.col.Root.Close() })
	key := keys.NewPseudonymKey(s.key)
	draft, err := deid.Treat(s.col, key)
	if err != nil {
		t.Fatal(err)
	}
	draft.MadeBy("outbreath v1.2.3 go1.26")
	var lines []byte
	for open := true; open; { // a redaction may bring words together that are a finding
		if s.decisions, err = leak.ParseDecisions(lines); err != nil {
			t.Fatal(err)
		}
		if s.findings, err = draft.Findings(s.decisions); err != nil {
			t.Fatal(err)
		}
		open = false
		for _, f := range s.findings {
			if f.Open() {
				open = true
				lines = append(lines, leak.Decision{ID: f.ID, Action: action, Reason: "it is invented",
					Who: "test"}.Format()...)
			}
		}
	}
	cleared, err := deid.Release(draft, s.decisions)
	if err != nil {
		t.Fatal(err)
	}
	s.bag = nil
	for _, f := range cleared.Files() {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		r.Close()
		if err != nil {
			t.Fatal(f.Name, err)
		}
		s.bag = append(s.bag, entryOf("data/"+f.Name, data))
	}
	s.bag = s.bag.signed()
}

func (s *scene) source(t *testing.T) rederive.Source {
	t.Helper()
	study := s.col.Study
	src := rederive.Source{Folder: os.DirFS(s.dir), Study: study.Study, Site: study.Site,
		HoldingDays: study.HoldingDays,
		Plan:        s.col.Plan.Name, Fields: s.col.Plan.Fields, Schema: schema.BuiltinSchema(),
		Keys: append([][32]byte{s.key}, s.earlier...), LeftOut: s.leftOut, Shipment: number}
	if data, err := os.ReadFile(filepath.Join(s.dir, s.col.Plan.Name)); err == nil {
		src.Schema = data
	}
	for _, f := range s.findings {
		src.Findings = append(src.Findings, rederive.Finding{File: f.File, Pointer: f.Pointer, Start: f.Start,
			End:   f.End,
			Class: string(f.Class), Decision: f.Decision, Automatic: f.Automatic, Moved: f.Moved})
	}
	return src
}

// compare runs the comparison of b with the source.
func compare(t *testing.T, src rederive.Source, b bag) *rederive.Result {
	t.Helper()
	c, err := rederive.New(context.Background(), src)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range b {
		h := e.header
		if err := c.File(e.path, &h, bytes.NewReader(e.data)); err != nil {
			t.Fatal(err)
		}
	}
	return c.Result()
}

// addsUp wants every value and every byte of b in one of the three counts.
func addsUp(t *testing.T, r *rederive.Result, b bag) {
	t.Helper()
	var bytes, values int64
	for _, e := range b {
		bytes += int64(len(e.data))
	}
	for _, s := range r.Sorts {
		values += s.Values.All()
		if s.Name == rederive.Names || s.Name == rederive.Headers {
			bytes += s.Bytes.All()
		}
	}
	if got := r.Total.Bytes.All(); got != bytes {
		t.Errorf("%d bytes are counted, and %d leave", got, bytes)
	}
	if got := r.Total.Values.All(); got != values || got == 0 {
		t.Errorf("%d values are counted in all, %d by sort", got, values)
	}
}

// holds wants a comparison without a difference.
func holds(t *testing.T, s *scene) *rederive.Result {
	t.Helper()
	r := compare(t, s.source(t), s.bag)
	if !r.OK() || r.Sessions == 0 || r.Total.Values.Mismatched != 0 {
		t.Errorf("differs: %v", r.Mismatches)
	}
	addsUp(t, r, s.bag)
	return r
}
