package main

import (
	"archive/tar"
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"

	"outbreath/keys"
	"outbreath/keys/sshsig"
)

// An unsealed is the bag of a shipment, to be altered and sealed again under the site's own keys: what a
// site whose program does not do what it says would send. Nothing of package pack is used to read or
// write it.
type unsealed struct {
	shipment string            // folder
	number   string            // of the shipment
	files    map[string][]byte // by name below the bag's folder; the manifests are made anew

	header  func(h []byte)                // changes each header of the archive; its sum is made anew
	padding byte                          // fills the last block of each file
	archive func(packed []byte) []byte    // changes the compressed archive
	outside func(files map[string][]byte) // changes the label and READ-ME-FIRST.txt
}

// unseal opens a shipment with the laboratory's key.
func unseal(t *testing.T, shipment, labKeys string) *unsealed {
	t.Helper()
	u := &unsealed{shipment: shipment, number: filepath.Base(shipment), files: map[string][]byte{}}
	packed, err := exec.Command(ageBinary(t), "-d", "-i", filepath.Join(labKeys, "identity.txt"),
		filepath.Join(shipment, u.number+".tar.zst.age")).Output()
	if err != nil {
		t.Fatal("age:", err)
	}
	z, err := zstd.NewReader(bytes.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	in := tar.NewReader(z)
	for {
		h, err := in.Next()
		if err == io.EOF {
			return u
		}
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		u.files[strings.TrimPrefix(h.Name, u.number+"/")] = data
	}
}

var (
	oxum     = regexp.MustCompile(`Payload-Oxum: \d+\.\d+`)
	partSize = regexp.MustCompile(`"bytes": \d+`)
)

// payload returns the names of the files of data, sorted.
func (u *unsealed) payload() []string {
	var names []string
	for name := range u.files {
		if strings.HasPrefix(name, "data/") {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// manifest returns a manifest of the files (RFC 8493).
func (u *unsealed) manifest(names []string) []byte {
	var b bytes.Buffer
	for _, name := range names {
		fmt.Fprintf(&b, "%x  %s\n", sha256.Sum256(u.files[name]), name)
	}
	return b.Bytes()
}

// seal makes a shipment of u in the folder media, signed by the site, and returns its folder.
func (u *unsealed) seal(t *testing.T, media, siteKeys, labKeys string) string {
	t.Helper()
	site, err := keys.Open(siteKeys, nil)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := site.Signer()
	if err != nil {
		t.Fatal(err)
	}
	sign := func(namespace string, data []byte) []byte {
		sig, err := sshsig.Sign(signer, namespace, data)
		if err != nil {
			t.Fatal(err)
		}
		return sig
	}
	names, size := u.payload(), 0
	for _, name := range names {
		size += len(u.files[name])
	}
	u.files["bag-info.txt"] = oxum.ReplaceAll(u.files["bag-info.txt"],
		fmt.Appendf(nil, "Payload-Oxum: %d.%d", size, len(names)))
	u.files["manifest-sha256.txt"] = u.manifest(names)
	tags := []string{"bag-info.txt", "bagit.txt", "manifest-sha256.txt"}
	u.files["tagmanifest-sha256.txt"] = u.manifest(tags)
	u.files["tagmanifest-sha256.txt.sig"] = sign("bag@outbreath", u.files["tagmanifest-sha256.txt"])
	var stream bytes.Buffer
	for _, name := range append(append(names, tags...), "tagmanifest-sha256.txt", "tagmanifest-sha256.txt.sig") {
		h := ustar(u.number+"/"+name, len(u.files[name]))
		if u.header != nil {
			u.header(h)
			summed(h)
		}
		stream.Write(h)
		stream.Write(u.files[name])
		stream.Write(bytes.Repeat([]byte{u.padding}, -len(u.files[name])&511))
	}
	stream.Write(make([]byte, 1024))
	enc, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	packed := enc.EncodeAll(stream.Bytes(), nil)
	if u.archive != nil {
		packed = u.archive(packed)
	}
	age := exec.Command(ageBinary(t), "-R", filepath.Join(labKeys, "recipient.txt"))
	age.Stdin = bytes.NewReader(packed)
	archive, err := age.Output()
	if err != nil {
		t.Fatal("age:", err)
	}
	return u.folder(t, filepath.Join(media, u.number), archive, sign)
}

// ustar returns the header of a file as a shipment has it: mode 0644, no owner, 1 January 1980.
//
// Source: POSIX.1-2017, pax, "ustar Interchange Format".
func ustar(name string, size int) []byte {
	h := make([]byte, 512)
	copy(h, name)
	copy(h[100:], fmt.Sprintf("%07o\x00%07o\x00%07o\x00%011o\x00%011o\x00        0", 0o644, 0, 0, size, 315532800))
	copy(h[257:], "ustar\x0000")
	copy(h[329:], "0000000\x000000000\x00")
	summed(h)
	return h
}

// summed sets the check sum of a header.
func summed(h []byte) {
	copy(h[148:], "        ")
	sum := 0
	for _, b := range h {
		sum += int(b)
	}
	copy(h[148:], fmt.Sprintf("%06o\x00 ", sum))
}

// folder writes the shipment's files; READ-ME-FIRST.txt is that of the first sealing, unless u changes it.
func (u *unsealed) folder(t *testing.T, dir string, archive []byte, sign func(string, []byte) []byte) string {
	t.Helper()
	name := u.number + ".tar.zst.age"
	label, err := os.ReadFile(filepath.Join(u.shipment, "shipment.json"))
	if err != nil {
		t.Fatal(err)
	}
	label = partSize.ReplaceAll(label, fmt.Appendf(nil, `"bytes": %d`, len(archive)))
	readme, err := os.ReadFile(filepath.Join(u.shipment, "READ-ME-FIRST.txt"))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{name: archive, "shipment.json": label, "READ-ME-FIRST.txt": readme}
	if u.outside != nil {
		u.outside(files)
	}
	order := []string{"READ-ME-FIRST.txt", name, "shipment.json"}
	slices.Sort(order)
	var sums bytes.Buffer
	for _, f := range order {
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(files[f]), f)
	}
	files["SHA256SUMS"] = sums.Bytes()
	files["SHA256SUMS.sig"] = sign("shipment@outbreath", sums.Bytes())
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for f, data := range files {
		if err := os.WriteFile(filepath.Join(dir, f), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// TestSealedAgain shows that a bag that is sealed again unchanged is accepted: only then does an altered
// one show what the audit finds.
func TestSealedAgain(t *testing.T) {
	j := newJob(t, smallDemo)
	j.seal(t)
	u := unseal(t, j.shipment, j.lab)
	again := u.seal(t, t.TempDir(), j.site, j.lab)
	must(t, "verify", again, "--keys", j.lab)
}
