package rederive

import (
	"archive/tar"
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// archiveTime is the time of every entry: 1980-01-01T00:00:00Z.
const archiveTime = 315532800

// headerFields is how many fields of a header are compared.
const headerFields = 11

// header compares the header of a file in the archive with the one that every file has.
//
// Source: POSIX.1-2017, pax, "ustar Interchange Format", and the shipment's format: mode
// 0644, owner 0 without a name, one time, no extension.
func (c *Comparison) header(path string, h *tar.Header, size int64) {
	c.archive = true
	t := c.sort(Headers)
	wrong := int64(0)
	for _, f := range []struct {
		name string
		same bool
	}{
		{"name", h.Name == c.source.Shipment+"/"+path},
		{"mode", h.Mode == 0o644},
		{"owner", h.Uid == 0 && h.Gid == 0},
		{"size", h.Size == size},
		{"time", h.ModTime.Unix() == archiveTime && h.ModTime.Nanosecond() == 0},
		{"kind", h.Typeflag == tar.TypeReg},
		{"link", h.Linkname == ""},
		{"names of owner and group", h.Uname == "" && h.Gname == ""},
		{"device", h.Devmajor == 0 && h.Devminor == 0},
		{"further times", h.AccessTime.IsZero() && h.ChangeTime.IsZero()},
		{"extensions", len(h.PAXRecords) == 0},
	} {
		if !f.same {
			wrong++
			c.mismatch(c.describe(path), "archive header, "+f.name, "is not that of every file in a shipment")
		}
	}
	t.Values.add(Count{Rederived: headerFields - wrong, Mismatched: wrong})
	if wrong > 0 {
		t.Bytes.Mismatched += 512
	} else {
		t.Bytes.Rederived += 512
	}
}

// name compares the name of a file and its place in the archive: the payload by the bytes
// of the names, then the tag files in their own order.
func (c *Comparison) name(path string) {
	t := c.sort(Names)
	if c.describe(path) == path {
		t.Values.Rederived++
		t.Bytes.Rederived += int64(len(path))
	} else {
		t.Values.Mismatched++
		t.Bytes.Mismatched += int64(len(path))
	}
	if len(c.sums) > 0 && inOrder(c.sums[len(c.sums)-1].path, path) >= 0 {
		c.mismatch(c.describe(path), "", "is not in its place: the order of the files could say something")
	}
}

func inOrder(a, b string) int {
	return cmp.Or(cmp.Compare(slices.Index(tagFiles, a), slices.Index(tagFiles, b)), strings.Compare(a, b))
}

// tags compares the tag files of the bag with those that its files give.
//
// Source: RFC 8493, 2.1 and 2.2.
func (c *Comparison) tags() {
	if !c.archive {
		c.cannot("archive headers, tag files and signature", "there is no archive before sealing", 0)
		return
	}
	var payload, tag []sum
	for _, s := range c.sums {
		switch {
		case strings.HasPrefix(s.path, "data/"):
			payload = append(payload, s)
		case !strings.HasPrefix(s.path, "tagmanifest-"):
			tag = append(tag, s)
		}
	}
	c.tag("bag-info.txt", fmt.Appendf(nil, "External-Identifier: %s\nPayload-Oxum: %d.%d\n", c.source.Shipment,
		c.payload, len(payload)))
	c.tag("bagit.txt", []byte("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"))
	c.tag("manifest-sha256.txt", manifest(payload))
	c.tag("tagmanifest-sha256.txt", manifest(tag))
	const sig = "tagmanifest-sha256.txt.sig"
	if data, ok := c.small[sig]; !ok {
		c.mismatch(sig, "", "is missing")
	} else {
		c.untestable(TagFiles, "the signature of the bag", "it needs the site's signing key; verify has checked it", 1,
			int64(len(data)))
	}
}

func manifest(files []sum) []byte {
	slices.SortFunc(files, func(a, b sum) int { return strings.Compare(a.path, b.path) })
	var b bytes.Buffer
	for _, s := range files {
		fmt.Fprintf(&b, "%x  %s\n", s.hash, s.path)
	}
	return b.Bytes()
}

// tag compares one tag file, line by line.
func (c *Comparison) tag(path string, made []byte) {
	there, ok := c.small[path]
	if !ok {
		c.mismatch(path, "", "is missing")
		return
	}
	lines := int64(bytes.Count(there, []byte{'\n'}))
	if bytes.Equal(made, there) {
		c.alike(TagFiles, lines, int64(len(there)))
		return
	}
	a, b := bytes.Split(made, []byte{'\n'}), bytes.Split(there, []byte{'\n'})
	at := 0
	for at < len(a) && at < len(b) && bytes.Equal(a[at], b[at]) {
		at++
	}
	c.unlike(TagFiles, path, fmt.Sprintf("line %d", at+1), "differs from what the files of the bag give",
		max(lines, 1), int64(len(there)))
}
