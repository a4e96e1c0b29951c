package pack

import (
	"archive/tar"
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/crypto/ssh"

	"outbreath/keys/sshsig"
	"outbreath/pack/bag"
	"outbreath/schema/edf"
)

// A forged archive: what a site that is trusted, but broken or hostile, could
// sign and encrypt. Each step can be bent.
type forged struct {
	entries []forgedEntry // of the bag
	number  string        // folder in the tar stream
	label   label

	tar    func(tar []byte) []byte // bends the tar stream
	zst    func(zst []byte) []byte // bends the compressed stream
	age    func(age []byte) []byte // bends the encrypted archive
	listed func(lines []bag.Entry) []bag.Entry
	tags   func(lines []bag.Entry) []bag.Entry
	signer ssh.Signer // of the bag
	space  string     // namespace of the bag's signature
	noTags int        // how many of the last tag files are left out

	claimed int64 // bytes of the archive on the label; 0: the true ones
}

type forgedEntry struct {
	name   string // below the bag's folder
	data   string
	header []byte // instead of ours
}

// forge returns a good archive to bend.
func forge(t *testing.T, b *bench) *forged {
	t.Helper()
	p := sample(t, 2, 300)
	f := &forged{number: "07-0012", signer: b.signer, space: bagNamespace, label: label{Format: labelFormat,
		Shipment: "07-0012", Study: "LARK-2",
		Site: "07", Sealed: "2026-11-25", Sessions: 2, Recordings: 2, Tubes: 4}}
	for _, q := range p.files {
		r, err := q.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, _ := io.ReadAll(r)
		f.entries = append(f.entries, forgedEntry{name: "data/" + q.Name, data: string(data)})
	}
	return f
}

func (f *forged) at(t *testing.T, name string) *forgedEntry {
	t.Helper()
	i := slices.IndexFunc(f.entries, func(e forgedEntry) bool { return e.name == name })
	if i < 0 {
		t.Fatalf("no %s", name)
	}
	return &f.entries[i]
}

// add puts an entry in its place in the order.
func (f *forged) add(e forgedEntry) {
	i, _ := slices.BinarySearchFunc(f.entries, e, func(a, b forgedEntry) int { return cmpNames(a.name, b.name) })
	f.entries = slices.Insert(f.entries, i, e)
}

func rawEntry(name, data string) forgedEntry {
	h := tarHeader(name, int64(len(data)))
	return forgedEntry{data: data, header: h[:]}
}

// write makes a shipment folder of f.
func (f *forged) write(t *testing.T, b *bench) string {
	t.Helper()
	var lines []bag.Entry
	var size int64
	for _, e := range f.entries {
		if e.header == nil && strings.HasPrefix(e.name, "data/") {
			lines = append(lines, bag.Entry{Path: e.name, SHA256: sha256.Sum256([]byte(e.data))})
			size += int64(len(e.data))
		}
	}
	info, err := bagInfo(f.label.Shipment, size, int64(len(lines)))
	if err != nil {
		t.Fatal(err)
	}
	if f.listed != nil {
		lines = f.listed(lines)
	}
	var manifest bytes.Buffer // by hand: bag refuses to write bad ones
	for _, e := range lines {
		fmt.Fprintf(&manifest, "%x  %s\n", e.SHA256, e.Path)
	}
	tags := []forgedEntry{{name: bag.Info, data: string(info)}, {name: bag.Bagit, data: string(bag.FormatBagit())},
		{name: bag.Manifest, data: manifest.String()}}
	for i, tag := range tags {
		if j := slices.IndexFunc(f.entries, func(e forgedEntry) bool { return e.name == tag.name }); j >= 0 {
			tags[i] = f.entries[j]
			f.entries = slices.Delete(f.entries, j, j+1)
		}
	}
	lines = nil
	for _, e := range tags {
		lines = append(lines, bag.Entry{Path: e.name, SHA256: sha256.Sum256([]byte(e.data))})
	}
	if f.tags != nil {
		lines = f.tags(lines)
	}
	var tagManifest bytes.Buffer
	for _, e := range lines {
		fmt.Fprintf(&tagManifest, "%x  %s\n", e.SHA256, e.Path)
	}
	sig, err := sshsig.Sign(f.signer, f.space, tagManifest.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	tags = append(tags, forgedEntry{name: bag.TagManifest, data: tagManifest.String()}, forgedEntry{name: tagSigName,
		data: string(sig)})
	var stream bytes.Buffer
	for _, e := range append(slices.Clone(f.entries), tags[:len(tags)-f.noTags]...) {
		if e.header != nil {
			stream.Write(e.header)
		} else {
			h := tarHeader(f.number+"/"+e.name, int64(len(e.data)))
			stream.Write(h[:])
		}
		stream.WriteString(e.data)
		stream.Write(make([]byte, tarPadding(int64(len(e.data)))))
	}
	stream.Write(make([]byte, 2*tarBlock))
	data := bend(stream.Bytes(), f.tar)
	enc, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	var packed []byte
	for len(data) > 0 {
		n := min(len(data), pieceSize)
		packed, data = enc.EncodeAll(data[:n], packed), data[n:]
	}
	packed = bend(packed, f.zst)
	var archive bytes.Buffer
	w, err := age.Encrypt(&archive, b.to)
	if err != nil {
		t.Fatal(err)
	}
	w.Write(packed)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return f.folder(t, b, bend(archive.Bytes(), f.age))
}

func bend(data []byte, f func([]byte) []byte) []byte {
	if f == nil {
		return data
	}
	return f(slices.Clone(data))
}

// folder signs archive as a shipment.
func (f *forged) folder(t *testing.T, b *bench, archive []byte) string {
	t.Helper()
	l := f.label
	name := partName(l.Shipment, 0, 1)
	l.Parts = []labelPart{{name, cmp.Or(f.claimed, int64(len(archive)))}}
	dir := filepath.Join(t.TempDir(), l.Shipment)
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	files := []tagFile{{name, archive}, {readmeName, readme(&l, "nobody")}, {labelName, l.format()}}
	var sums []sum
	for _, q := range files {
		write(t, filepath.Join(dir, q.name), q.data)
		sums = append(sums, sum{q.name, sha256.Sum256(q.data)})
	}
	text := formatSums(sums)
	sig, err := sshsig.Sign(b.signer, shipmentNamespace, text)
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, sumsName), text)
	write(t, filepath.Join(dir, sigName), sig)
	return dir
}

// tarEntry returns an entry made by the standard library.
func tarEntry(t *testing.T, h tar.Header, data string) forgedEntry {
	t.Helper()
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	h.ModTime = timeOf(tarTime)
	if h.Mode == 0 {
		h.Mode = 0o644
	}
	h.Size = int64(len(data))
	if err := w.WriteHeader(&h); err != nil {
		t.Fatal(err)
	}
	return forgedEntry{data: data, header: slices.Clone(b.Bytes())}
}

// zstdFrame returns a frame head for content bytes, with an 8-byte size.
func zstdFrame(content uint64, window byte, blocks ...byte) []byte {
	b := binary.LittleEndian.AppendUint32(nil, 0xFD2FB528)
	b = append(b, 3<<6, window)
	b = binary.LittleEndian.AppendUint64(b, content)
	return append(b, blocks...)
}

// rle returns a block that repeats c n times.
func rle(n int, c byte, last bool) []byte {
	h := uint32(n)<<3 | 1<<1
	if last {
		h |= 1
	}
	return []byte{byte(h), byte(h >> 8), byte(h >> 16), c}
}

// A hostileCase bends a good archive, which is then encrypted to the laboratory
// and signed by the site; only the content is bad. check is the check that must
// refuse it.
type hostileCase struct {
	name, check string
	bend        func(*testing.T, *forged)
}

func hostileCases() []hostileCase {
	first := pseudonym(0)
	const session = "data/sessions/"
	return []hostileCase{
		{"parent folder", "contents", func(t *testing.T, f *forged) { f.add(rawEntry("../x", "x")) }},
		{"parent folder inside", "contents", func(t *testing.T, f *forged) {
			f.add(rawEntry("07-0012/data/../../../x",
				"x"))
		}},
		{"absolute", "contents", func(t *testing.T, f *forged) { f.add(rawEntry("/tmp/x", "x")) }},
		{"drive", "contents", func(t *testing.T, f *forged) { f.add(rawEntry("C:/x", "x")) }},
		{"backslash", "contents", func(t *testing.T, f *forged) { f.add(rawEntry(`07-0012/data\x`, "x")) }},
		{"hidden", "contents", func(t *testing.T, f *forged) { f.add(rawEntry("07-0012/data/.x", "x")) }},
		{"no name", "contents", func(t *testing.T, f *forged) { f.add(rawEntry("", "x")) }},
		{"name with NUL", "contents", func(t *testing.T, f *forged) { f.add(rawEntry("07-0012/data/a\x00b", "x")) }},
		{"symbolic link", "contents", func(t *testing.T, f *forged) {
			f.add(tarEntry(t, tar.Header{Typeflag: tar.TypeSymlink, Name: "07-0012/data/recordings", Linkname: "/tmp"},
				""))
		}},
		{"hard link", "contents", func(t *testing.T, f *forged) {
			f.add(tarEntry(t, tar.Header{Typeflag: tar.TypeLink, Name: "07-0012/data/tubes.csv",
				Linkname: "/etc/passwd"}, ""))
		}},
		{"folder", "contents", func(t *testing.T, f *forged) {
			f.add(tarEntry(t, tar.Header{Typeflag: tar.TypeDir, Name: "07-0012/data/"}, ""))
		}},
		{"device", "contents", func(t *testing.T, f *forged) {
			f.add(tarEntry(t, tar.Header{Typeflag: tar.TypeChar, Name: "07-0012/data/tty"}, ""))
		}},
		{"extended header", "contents", func(t *testing.T, f *forged) {
			f.add(tarEntry(t, tar.Header{Typeflag: tar.TypeReg, Name: "07-0012/data/tubes.csv", Format: tar.FormatPAX,
				PAXRecords: map[string]string{"OUTBREATH.x": "y"}}, ""))
		}},
		{"set-uid", "contents", func(t *testing.T, f *forged) {
			f.add(tarEntry(t, tar.Header{Typeflag: tar.TypeReg, Name: "07-0012/data/recordings/a.csv", Mode: 0o4755,
				Format: tar.FormatUSTAR}, ""))
		}},
		{"owner", "contents", func(t *testing.T, f *forged) {
			f.add(tarEntry(t, tar.Header{Typeflag: tar.TypeReg, Name: "07-0012/data/recordings/a.csv", Uname: "mq",
				Format: tar.FormatUSTAR}, ""))
		}},
		{"duplicate", "contents", func(t *testing.T, f *forged) {
			f.entries = append(f.entries,
				*f.at(t, "data/tubes.csv"))
		}},
		{"differs in case", "contents", func(t *testing.T, f *forged) {
			f.label.Recordings = 4
			f.add(forgedEntry{name: "data/recordings/x.csv"})
			f.add(forgedEntry{name: "data/recordings/X.csv"})
		}},
		{"out of order", "contents", func(t *testing.T, f *forged) {
			f.entries[0], f.entries[1] = f.entries[1],
				f.entries[0]
		}},
		{"a file that does not belong, listed", "contents",
			func(t *testing.T, f *forged) { f.add(forgedEntry{name: "data/notes.txt", data: "x"}) }},
		{"a recording that does not belong, listed", "records", func(t *testing.T, f *forged) {
			f.add(forgedEntry{name: "data/recordings/extra.csv", data: "x"})
			f.label.Recordings = 3
		}},
		{"a recording that does not belong, not listed", "checksums", func(t *testing.T, f *forged) {
			f.label.Recordings = 3
			f.add(forgedEntry{name: "data/recordings/extra.csv", data: "x"})
			f.listed = func(l []bag.Entry) []bag.Entry {
				return slices.DeleteFunc(l, func(e bag.Entry) bool { return strings.HasSuffix(e.Path, "extra.csv") })
			}
		}},
		{"a file missing that is listed", "checksums", func(t *testing.T, f *forged) {
			f.listed = func(l []bag.Entry) []bag.Entry {
				return append(l, bag.Entry{Path: "data/z", SHA256: sha256.Sum256(nil)})
			}
		}},
		{"wrong checksum", "checksums", func(t *testing.T, f *forged) {
			f.listed = func(l []bag.Entry) []bag.Entry { l[0].SHA256[0] ^= 1; return l }
		}},
		{"listed path leads out", "checksums", func(t *testing.T, f *forged) {
			f.listed = func(l []bag.Entry) []bag.Entry { return append(l, bag.Entry{Path: "data/../../x"}) }
		}},
		{"wrong checksum of a tag file", "checksums", func(t *testing.T, f *forged) {
			f.tags = func(l []bag.Entry) []bag.Entry { l[2].SHA256[5] ^= 1; return l }
		}},
		{"a tag file not listed", "checksums",
			func(t *testing.T, f *forged) { f.tags = func(l []bag.Entry) []bag.Entry { return l[1:] } }},
		{"manifest not listed", "checksums",
			func(t *testing.T, f *forged) { f.tags = func(l []bag.Entry) []bag.Entry { return l[:2] } }},
		{"another bag version", "contents", func(t *testing.T, f *forged) {
			f.entries = append(f.entries, forgedEntry{name: bag.Bagit,
				data: "BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n"})
		}},
		{"another number in bag-info", "contents", func(t *testing.T, f *forged) {
			f.entries = append(f.entries, forgedEntry{name: bag.Info,
				data: "External-Identifier: 07-0013\nPayload-Oxum: 1.1\n"})
		}},
		{"another number in the archive", "contents", func(t *testing.T, f *forged) { f.number = "07-0013" }},
		{"no signature in the bag", "contents", func(t *testing.T, f *forged) { f.noTags = 1 }},
		{"no manifests", "contents", func(t *testing.T, f *forged) { f.noTags = 3 }},
		{"another signer", "bag signature", func(t *testing.T, f *forged) { f.signer = newSigner(t) }},
		{"signature from elsewhere", "bag signature", func(t *testing.T, f *forged) { f.space = shipmentNamespace }},
		{"no end mark", "contents",
			func(t *testing.T, f *forged) { f.tar = func(d []byte) []byte { return d[:len(d)-2*tarBlock] } }},
		{"half an end mark", "contents",
			func(t *testing.T, f *forged) { f.tar = func(d []byte) []byte { return d[:len(d)-tarBlock] } }},
		{"data after the end", "contents", func(t *testing.T, f *forged) {
			f.tar = func(d []byte) []byte { return append(d, append(make([]byte, 5*tarBlock), 'x')...) }
		}},
		{"one zero byte after the end", "contents",
			func(t *testing.T, f *forged) { f.tar = func(d []byte) []byte { return append(d, 0) } }},
		{"zero blocks after the end", "contents", func(t *testing.T, f *forged) {
			f.tar = func(d []byte) []byte { return append(d, make([]byte, 18*tarBlock)...) }
		}},
		{"30,000 frames of zero bytes after the end", "contents", func(t *testing.T, f *forged) {
			f.zst = func(d []byte) []byte {
				return append(d, bytes.Repeat(zstdFrame(1<<20, 0x50, append(bytes.Repeat(rle(128<<10, 0, false), 7),
					rle(128<<10, 0, true)...)...), 30000)...)
			}
		}},
		{"a second archive after the end", "contents",
			func(t *testing.T, f *forged) { f.tar = func(d []byte) []byte { return append(d, d...) } }},
		{"data in the padding", "contents", func(t *testing.T, f *forged) {
			f.tar = func(d []byte) []byte { d[tarBlock+300] = 1; return d }
		}},
		{"empty tar", "contents", func(t *testing.T, f *forged) {
			f.tar = func(d []byte) []byte {
				return make([]byte,
					2*tarBlock)
			}
		}},
		{"nothing", "contents", func(t *testing.T, f *forged) { f.zst = func(d []byte) []byte { return nil } }},
		{"hidden data in a skippable frame", "contents", func(t *testing.T, f *forged) {
			f.zst = func(d []byte) []byte { return append(d, 0x50, 0x2A, 0x4D, 0x18, 1, 0, 0, 0, 'x') }
		}},
		{"frame cut", "contents",
			func(t *testing.T, f *forged) { f.zst = func(d []byte) []byte { return d[:len(d)-1] } }},
		{"bytes after the last frame", "contents",
			func(t *testing.T, f *forged) { f.zst = func(d []byte) []byte { return append(d, 1, 2, 3) } }},
		{"not zstd", "contents", func(t *testing.T, f *forged) {
			f.zst = func(d []byte) []byte { return bytes.Repeat([]byte("plain"), 500) }
		}},
		{"bomb: 4 GiB in one frame", "contents", func(t *testing.T, f *forged) {
			f.zst = func([]byte) []byte {
				return zstdFrame(4<<30, 0x70, bytes.Repeat(rle(128<<10, 0, false),
					30000)...)
			}
		}},
		{"bomb: more than the frame says", "contents", func(t *testing.T, f *forged) {
			f.zst = func([]byte) []byte { return zstdFrame(1000, 0x50, bytes.Repeat(rle(128<<10, 0, false), 30000)...) }
		}},
		{"bomb: window of 2 GiB", "contents", func(t *testing.T, f *forged) {
			f.zst = func([]byte) []byte { return zstdFrame(1000, 0xA8, rle(1000, 0, true)...) }
		}},
		{"bomb: no size", "contents", func(t *testing.T, f *forged) {
			f.zst = func([]byte) []byte {
				return append([]byte{0x28, 0xB5, 0x2F, 0xFD, 0, 0x50}, bytes.Repeat(rle(128<<10, 0, false), 30000)...)
			}
		}},
		{"bomb: record of 20 MB", "contents", func(t *testing.T, f *forged) {
			f.at(t, session+first+
				".json").data = strings.Repeat(" ", maxRecord+1)
		}},
		{"bomb: manifest of 8 GB", "contents", func(t *testing.T, f *forged) {
			h := tarHeader("07-0012/"+bag.Manifest, maxFile)
			f.tar = func(d []byte) []byte {
				i := bytes.Index(d, []byte("07-0012/"+bag.Manifest))
				copy(d[i:], h[:])
				return d
			}
		}},
		{"encrypted data cut", "decryption",
			func(t *testing.T, f *forged) { f.age = func(d []byte) []byte { return d[:len(d)-1] } }},
		{"data after the encrypted", "decryption",
			func(t *testing.T, f *forged) { f.age = func(d []byte) []byte { return append(d, 'x') } }},
		{"encrypted data changed", "decryption",
			func(t *testing.T, f *forged) { f.age = func(d []byte) []byte { d[len(d)-20] ^= 1; return d } }},
		{"not encrypted", "decryption",
			func(t *testing.T, f *forged) { f.age = func(d []byte) []byte { return []byte("hello") } }},
		{"header cut", "decryption", func(t *testing.T, f *forged) { f.age = func(d []byte) []byte { return d[:60] } }},
		{"record breaks the schema", "records", func(t *testing.T, f *forged) {
			e := f.at(t, session+first+".json")
			e.data = strings.Replace(e.data, `"female"`, `"Marta"`, 1)
		}},
		{"record of another site", "records", func(t *testing.T, f *forged) {
			e := f.at(t, session+first+".json")
			e.data = strings.Replace(e.data, `"site": "07"`, `"site": "08"`, 1)
		}},
		{"record of another study", "records", func(t *testing.T, f *forged) {
			e := f.at(t, session+first+".json")
			e.data = strings.Replace(e.data, "LARK-2", "LARK-3", 1)
		}},
		{"record of another session", "records", func(t *testing.T, f *forged) {
			e := f.at(t, session+first+".json")
			e.data = strings.Replace(e.data, first, pseudonym(5), 1)
		}},
		{"record not JSON", "records", func(t *testing.T, f *forged) { f.at(t, session+first+".json").data = "{" }},
		{"record names a recording that is not there", "records", func(t *testing.T, f *forged) {
			e := f.at(t, session+first+".json")
			e.data = strings.Replace(e.data, first+"-1.csv", first+"-2.csv", 1)
		}},
		{"record names another's recording", "records", func(t *testing.T, f *forged) {
			e := f.at(t, session+first+".json")
			e.data = strings.Replace(e.data, first+"-1.csv", pseudonym(1)+"-1.csv", 1)
		}},
		{"record and list of tubes differ", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/tubes.csv")
			e.data = strings.Replace(e.data, "500.0", "501.0", 1)
		}},
		{"tubes of two sessions swapped", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/tubes.csv")
			e.data = strings.NewReplacer("T0000A", "T0001A", "T0001A", "T0000A").Replace(e.data)
		}},
		{"tube missing in the list", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/tubes.csv")
			e.data = strings.Replace(e.data, tubeRows(1), "", 1)
			f.label.Tubes = 2
		}},
		{"tube twice in the list", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/tubes.csv")
			e.data += tubeRows(1)
			f.label.Tubes = 6
		}},
		{"tube in two records", "records", func(t *testing.T, f *forged) {
			e := f.at(t, session+first+".json")
			e.data = strings.Replace(e.data, "T0000A", "T0001A", 1)
		}},
		{"list of tubes with another column", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/tubes.csv")
			e.data = strings.Replace(e.data, "barcode", "Barcode", 1)
		}},
		{"handling list lacks a tube", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/handling.csv")
			e.data = strings.Replace(e.data, "T0001A,usual\n", "", 1)
		}},
		{"handling list with a strange tube", "records",
			func(t *testing.T, f *forged) { f.at(t, "data/handling.csv").data += "T9999A,usual\n" }},
		{"handling list with a tube twice", "records",
			func(t *testing.T, f *forged) { f.at(t, "data/handling.csv").data += "T0001A,usual\n" }},
		{"handling list with another word", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/handling.csv")
			e.data = strings.Replace(e.data, "usual", "12 days", 1)
		}},
		{"handling list with another column", "records",
			func(t *testing.T, f *forged) { f.at(t, "data/handling.csv").data = "barcode,ended_at\n" }},
		{"handling list broken", "records", func(t *testing.T, f *forged) { f.at(t, "data/handling.csv").data += `"` }},
		{"handling list empty", "records", func(t *testing.T, f *forged) { f.at(t, "data/handling.csv").data = "" }},
		{"summary not JSON", "records",
			func(t *testing.T, f *forged) { f.at(t, "data/recordings/summary.json").data = "{" }},
		{"summary without a list", "records",
			func(t *testing.T, f *forged) { f.at(t, "data/recordings/summary.json").data = `{"recordings": 3}` }},
		{"summary of a recording that is not there", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/recordings/summary.json")
			e.data = strings.ReplaceAll(e.data, first, pseudonym(7))
		}},
		{"summary names a recording twice", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/recordings/summary.json")
			e.data = strings.ReplaceAll(e.data, pseudonym(1), first)
		}},
		{"summary gives a recording to another", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/recordings/summary.json")
			e.data = strings.Replace(e.data, `"session": "`+first, `"session": "`+pseudonym(1), 1)
		}},
		{"another summary", "contents", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/summary.json").name = "data/recordings/summary2.json"
		}},
		{"list of tubes broken", "records", func(t *testing.T, f *forged) { f.at(t, "data/tubes.csv").data += `"` }},
		{"list of tubes empty", "records", func(t *testing.T, f *forged) { f.at(t, "data/tubes.csv").data = "" }},
		{"schema broken", "records", func(t *testing.T, f *forged) { f.at(t, "data/session.schema.json").data = "{" }},
		{"no schema", "records", func(t *testing.T, f *forged) {
			f.entries = slices.DeleteFunc(f.entries,
				func(e forgedEntry) bool { return e.name == "data/session.schema.json" })
		}},
		{"no list of tubes", "records", func(t *testing.T, f *forged) {
			f.entries = slices.DeleteFunc(f.entries, func(e forgedEntry) bool { return e.name == "data/tubes.csv" })
		}},
		{"no treatment", "records", func(t *testing.T, f *forged) {
			f.entries = slices.DeleteFunc(f.entries,
				func(e forgedEntry) bool { return e.name == "data/treatment.json" })
		}},
		{"treatment broken", "records", func(t *testing.T, f *forged) { f.at(t, "data/treatment.json").data = "x" }},
		{"treatment of another study", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/treatment.json")
			e.data = strings.Replace(e.data, "LARK-2", "OTHER", 1)
		}},
		{"treatment of another site", "records", func(t *testing.T, f *forged) {
			e := f.at(t, "data/treatment.json")
			e.data = strings.Replace(e.data, `"07"`, `"08"`, 1)
		}},
		{"treatment of no study", "records",
			func(t *testing.T, f *forged) { f.at(t, "data/treatment.json").data = "{}" }},
		{"recording is a program", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data = "MZ\x90\x00\x03\x00\x00\x00#!/bin/sh\nid > /tmp/x\n"
		}},
		{"recording ends with a script", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data += "#!/bin/sh\nid > /tmp/x\n"
		}},
		{"recording has a script for a header", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data = "#!/bin/sh\n0.1,2,3\n"
		}},
		{"recording with a text", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data += "9,Marta,3\n"
		}},
		{"recording with a formula", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data += "9,=1+1,3\n"
		}},
		{"recording with a formula for a column", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data = "t_s,=co2,pressure_pa\n1,2,3\n"
		}},
		{"recording with columns that no schema declares", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data = "t_s,flow_l_s\n1,2\n"
		}},
		{"recording out of range", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data += "86399,900,3\n"
		}},
		{"recording without a row", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+"-1.csv").data = "t_s,co2_kpa,pressure_pa\n"
		}},
		{"recording of nothing", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/recordings/"+first+
				"-1.csv").data = ""
		}},
		{"columns declared, range of the schema's own broken", "records", func(t *testing.T, f *forged) {
			ownColumns(t, f, `"min": 0, "max": 2`)
		}},
		{"columns declared that are none", "records", func(t *testing.T, f *forged) {
			ownColumns(t, f,
				`"min": 9, "max": 2`)
		}},
		{"program for an EDF recording", "records",
			func(t *testing.T, f *forged) { asEDF(t, f, []byte("\x7fELF\x02\x01\x01")) }},
		{"EDF recording with a script behind it", "records", func(t *testing.T, f *forged) {
			asEDF(t, f, append(edfFile(t, "+0\x14\x14\x00"), "#!/bin/sh\n"...))
		}},
		{"EDF recording with something beside its annotations", "records", func(t *testing.T, f *forged) {
			asEDF(t, f, edfFile(t, "+0\x14\x14\x00#!/bin/sh"))
		}},
		{"EDF recording cut", "records", func(t *testing.T, f *forged) {
			b := edfFile(t, "+0\x14\x14\x00")
			asEDF(t, f, b[:len(b)-2])
		}},
		{"recording of another format than the record says", "records", func(t *testing.T, f *forged) {
			e := f.at(t, session+first+".json")
			e.data = strings.Replace(e.data, `"format": "csv"`, `"format": "edf"`, 1)
		}},
		{"formula in the list of tubes", "records", formulaTube("=1+1", "T0000A")},
		{"formula in the list of tubes, with a sign", "records", formulaTube("-A1", "T0000A")},
		{"formula in the list of tubes, at", "records", formulaTube("@SUM(A1)", "T0000A")},
		{"formula in the list of tubes, full width", "records", formulaTube("＝1+1", "T0000A")},
		{"formula in the handling list", "records", func(t *testing.T, f *forged) {
			f.at(t, "data/handling.csv").data += "+cmd|' /C calc'!A0,usual\n"
			f.label.Tubes++
		}},
		{"formula in the list of discrepancies", "records", func(t *testing.T, f *forged) {
			f.add(forgedEntry{name: "data/discrepancies.csv",
				data: "barcode,kind,reason\nT9,unexpected,=HYPERLINK(A1)\n"})
		}},
		{"formula behind a tab", "records", func(t *testing.T, f *forged) {
			f.add(forgedEntry{name: "data/discrepancies.csv", data: "barcode,kind,reason\nT9,unexpected,\"\t=1\"\n"})
		}},
		{"label counts wrong", "records", func(t *testing.T, f *forged) { f.label.Sessions = 3 }},
		{"label of another study", "records", func(t *testing.T, f *forged) { f.label.Study = "LARK-1" }},
	}
}

// formulaTube gives a tube another barcode, in record and list.
func formulaTube(barcode, old string) func(*testing.T, *forged) {
	return func(t *testing.T, f *forged) {
		for _, name := range []string{"data/tubes.csv", "data/handling.csv", "data/sessions/" + pseudonym(0) +
			".json"} {
			e := f.at(t, name)
			e.data = strings.ReplaceAll(e.data, old, barcode)
		}
	}
}

// ownColumns declares other columns in the schema, whose recordings follow them
// but for the limits given.
func ownColumns(t *testing.T, f *forged, limits string) {
	t.Helper()
	e := f.at(t, "data/session.schema.json")
	const at = `"pattern": "^recordings/`
	changed := strings.Replace(e.data, at,
		`"columns": [{"name": "t_s", "min": 0, "max": 9, "rising": true}, {"name": "flow", `+limits+`}], `+at, 1)
	if changed == e.data {
		changed = strings.Replace(e.data, strings.ReplaceAll(at, " ", ""),
			`"columns":[{"name":"t_s","min":0,"max":9,"rising":true},{"name":"flow",`+limits+`}],`+
				strings.ReplaceAll(at, " ", ""), 1)
	}
	if changed == e.data {
		t.Fatal("the schema has no recording")
	}
	e.data = changed
	for i := range 2 {
		f.at(t, "data/recordings/"+pseudonym(i)+"-1.csv").data = "t_s,flow\n0,1\n1,+2.5\n2,\n"
	}
}

// A schema's own columns are taken, and judged by its own ranges.
func TestOwnColumnsArrive(t *testing.T) {
	b := newBench(t)
	f := forge(t, b)
	ownColumns(t, f, `"min": 0, "max": 3`)
	if v := b.mustVerify(t, f.write(t, b)); v.Decision != Accepted {
		t.Fatalf("%+v", v.Checks)
	}
}

// asEDF makes an EDF recording of the first one.
func asEDF(t *testing.T, f *forged, data []byte) {
	t.Helper()
	id := pseudonym(0)
	e := f.at(t, "data/recordings/"+id+"-1.csv")
	e.name, e.data = "data/recordings/"+id+"-1.edf", string(data)
	for _, name := range []string{"data/sessions/" + id + ".json", "data/recordings/summary.json"} {
		r := f.at(t, name)
		r.data = strings.NewReplacer(id+"-1.csv", id+"-1.edf", `"format": "csv"`, `"format": "edf"`).Replace(r.data)
	}
}

// edfFile returns a recording of one signal, and one for annotations that holds tal.
func edfFile(t *testing.T, tal string) []byte {
	t.Helper()
	h := &edf.Header{Patient: "X X X X", Recording: "Startdate X X X X", StartDate: "01.01.85", StartTime: "00.00.00",
		Reserved: "EDF+C", Records: 1,
		RecordDuration: "1", Signals: []edf.Signal{
			{Label: "CO2", Dimension: "kPa", PhysMin: "0", PhysMax: "10", DigMin: "-32768", DigMax: "32767",
				Samples: 10},
			{Label: edf.AnnotationLabel, PhysMin: "-1", PhysMax: "1", DigMin: "-32768", DigMax: "32767", Samples: 20}}}
	record := make([]byte, 60)
	copy(record[20:], tal)
	var b bytes.Buffer
	if err := edf.Write(&b, h, [][]byte{record}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A good EDF recording is accepted.
func TestEDFArrives(t *testing.T) {
	b := newBench(t)
	f := forge(t, b)
	asEDF(t, f, edfFile(t, "+0\x14\x14\x00"))
	if v := b.mustVerify(t, f.write(t, b)); v.Decision != Accepted {
		t.Fatalf("%+v", v.Checks)
	}
}

// Nothing may be written of them, and the words name the check.
func TestHostile(t *testing.T) {
	b := newBench(t)
	if f := forge(t, b); b.mustVerify(t, f.write(t, b)).Decision != Accepted {
		t.Fatal("the archive that nothing was done to is not accepted")
	}
	// as versions before them made it
	for _, name := range []string{"data/handling.csv", "data/recordings/summary.json"} {
		f := forge(t, b)
		f.entries = slices.DeleteFunc(f.entries, func(e forgedEntry) bool { return e.name == name })
		if b.mustVerify(t, f.write(t, b)).Decision != Accepted {
			t.Errorf("a shipment without %s is not accepted", name)
		}
	}
	for _, tt := range append(hostileCases(), largeCases()...) {
		t.Run(tt.name, func(t *testing.T) {
			f := forge(t, b)
			tt.bend(t, f)
			dir := f.write(t, b)
			parent := t.TempDir()
			o := b.verifyOptions()
			o.Into = filepath.Join(parent, "opened")
			v, err := Verify(context.Background(), dir, o)
			if err != nil {
				t.Fatal(err)
			}
			rejectedAt(t, v, tt.check)
			empty(t, parent)
			if last := v.Checks[len(v.Checks)-1]; strings.Contains(last.Detail, "Marta") ||
				strings.Contains(last.Detail, "\x00") {
				t.Errorf("content in %q", last.Detail)
			}
		})
	}
}

// A label that could not have been written is refused even when it is signed.
func TestSignedBadLabel(t *testing.T) {
	b := newBench(t)
	f := forge(t, b)
	f.label.Shipment = "07-12"
	dir := f.write(t, b)
	v, err := Verify(context.Background(), dir, b.verifyOptions())
	if err != nil {
		t.Fatal(err)
	}
	rejectedAt(t, v, "signature")
}

// FuzzBag takes any tar stream apart: no panic, and what is accepted is a whole
// bag in which every name is one that belongs there.
func FuzzBag(f *testing.F) {
	h := tarHeader("07-0012/"+bag.Info, 5)
	f.Add(append(append(h[:], "hello"...), make([]byte, 3*tarBlock-5)...))
	b := newBench(f)
	dir, s := b.mustSeal(f, sample(f, 1, 50))
	f.Add(tarOf(f, b, dir, s.Parts))
	enc, err := zstd.NewWriter(nil, zstd.WithSingleSegment(true))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		u, err := newUnpacker(t.Context(), bytes.NewReader(enc.EncodeAll(data, nil)), 1)
		if err != nil {
			t.Fatal(err)
		}
		defer u.stop()
		checks := newRecords(t.Context(), goodLabel())
		defer checks.stop()
		r := &bagReader{u: u, number: "07-0012", seen: make(map[string]bool),
			content: content{tags: make(map[string][]byte), records: checks}}
		if err := r.read(); err != nil {
			return
		}
		if len(r.tags) != len(tagNames) || int64(len(r.entries)) != r.files+int64(len(tagNames)) {
			t.Errorf("accepted with %d tag files and %d of %d payload files", len(r.tags), r.files, len(r.entries))
		}
		for _, e := range r.entries {
			if name, payload := strings.CutPrefix(e.Path, "data/"); payload && kindOf(name) == otherFile {
				t.Errorf("accepted %q", name)
			}
		}
		r.records.result()
	})
}
