package pack

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"

	"outbreath/keys/sshsig"
)

// A folderCase is a shipment folder as it may come out of the post. bend
// changes the folder dir of shipment 07-0012; old is 07-0011 of the same site.
// check is the check that must refuse it.
type folderCase struct {
	name, check string
	bend        func(t *testing.T, b *bench, dir, old string)
}

func folderCases() []folderCase {
	const archive = "07-0012.tar.zst.age"
	read := func(t *testing.T, dir, name string) []byte {
		t.Helper()
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	// resign signs the list again, as a site that is trusted would.
	resign := func(t *testing.T, signer ssh.Signer, dir, space string) {
		t.Helper()
		sig, err := sshsig.Sign(signer, space, read(t, dir, sumsName))
		if err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, sigName), sig)
	}
	relist := func(t *testing.T, b *bench, dir string) {
		t.Helper()
		var sums []sum
		for name, data := range tree(t, dir) {
			if name != sumsName && name != sigName {
				sums = append(sums, sum{name, sha256.Sum256([]byte(data))})
			}
		}
		write(t, filepath.Join(dir, sumsName), formatSums(sums))
		resign(t, b.signer, dir, shipmentNamespace)
	}
	list := func(change func(string) string) func(*testing.T, *bench, string, string) {
		return func(t *testing.T, b *bench, dir, _ string) {
			write(t, filepath.Join(dir, sumsName), []byte(change(string(read(t, dir, sumsName)))))
			resign(t, b.signer, dir, shipmentNamespace)
		}
	}
	sig := func(change func([]byte) []byte) func(*testing.T, *bench, string, string) {
		return func(t *testing.T, _ *bench, dir, _ string) {
			write(t, filepath.Join(dir, sigName), change(read(t, dir, sigName)))
		}
	}
	huge := func(name string) func(*testing.T, *bench, string, string) {
		return func(t *testing.T, _ *bench, dir, _ string) {
			if err := os.Truncate(filepath.Join(dir, name), 1<<32); err != nil {
				t.Skip("the file system has no file of 4 GiB with holes")
			}
		}
	}
	head := func(text string, zeros int) func(*testing.T, *bench, string, string) {
		return func(t *testing.T, b *bench, dir, _ string) {
			data := append([]byte("age-encryption.org/v1\n"+text), make([]byte, zeros)...)
			write(t, filepath.Join(dir, archive), data)
			l, err := parseLabel(read(t, dir, labelName))
			if err != nil {
				t.Fatal(err)
			}
			l.Parts[0].Bytes = int64(len(data))
			write(t, filepath.Join(dir, labelName), l.format())
			relist(t, b, dir)
		}
	}
	mac := "--- " + strings.Repeat("A", 43) + "\n" + strings.Repeat("x", 64)
	// The base point of X25519 as share: a stanza that costs a multiplication.
	share := base64.RawStdEncoding.EncodeToString(append([]byte{9}, make([]byte, 31)...))
	stanza := "-> X25519 " + share + "\n" + strings.Repeat("A", 43) + "\n"
	return []folderCase{
		{"a signature moved from another shipment", checkSignature, func(t *testing.T, _ *bench, dir, old string) {
			write(t, filepath.Join(dir, sigName), read(t, old, sigName))
		}},
		{"list and signature moved from another shipment", checkFiles, func(t *testing.T, _ *bench, dir, old string) {
			write(t, filepath.Join(dir, sumsName), read(t, old, sumsName))
			write(t, filepath.Join(dir, sigName), read(t, old, sigName))
		}},
		{"an old shipment under a new number", checkSignature, func(t *testing.T, _ *bench, dir, old string) {
			for name := range tree(t, dir) {
				data := bytes.ReplaceAll(read(t, old, strings.ReplaceAll(name, "07-0012", "07-0011")),
					[]byte("07-0011"), []byte("07-0012"))
				if name == archive || name == sigName {
					data = read(t, old, strings.ReplaceAll(name, "07-0012", "07-0011"))
				}
				write(t, filepath.Join(dir, name), data)
			}
		}},
		{"an old shipment under a new number, signed again", checkContents, func(t *testing.T, b *bench, dir,
			old string) {
			data := read(t, old, "07-0011.tar.zst.age")
			write(t, filepath.Join(dir, archive), data)
			l, err := parseLabel(read(t, dir, labelName))
			if err != nil {
				t.Fatal(err)
			}
			l.Parts[0].Bytes = int64(len(data))
			write(t, filepath.Join(dir, labelName), l.format())
			relist(t, b, dir)
		}},
		{"the archive of another shipment", checkArchive, func(t *testing.T, _ *bench, dir, old string) {
			write(t, filepath.Join(dir, archive), read(t, old, "07-0011.tar.zst.age"))
		}},
		{"the label of another study", checkFiles, func(t *testing.T, _ *bench, dir, _ string) {
			write(t, filepath.Join(dir, labelName), bytes.ReplaceAll(read(t, dir, labelName), []byte("LARK-2"),
				[]byte("LARK-3")))
		}},
		{"the label of another study, signed", checkRecords, func(t *testing.T, b *bench, dir, _ string) {
			write(t, filepath.Join(dir, labelName), bytes.ReplaceAll(read(t, dir, labelName), []byte("LARK-2"),
				[]byte("LARK-3")))
			relist(t, b, dir)
		}},
		{"signed by a stranger", checkSignature, func(t *testing.T, _ *bench, dir, _ string) {
			resign(t, newSigner(t),
				dir, shipmentNamespace)
		}},
		{"signed for a bag", checkSignature, func(t *testing.T, b *bench, dir, _ string) {
			resign(t, b.signer, dir,
				bagNamespace)
		}},
		{"signed as a file", checkSignature, func(t *testing.T, b *bench, dir, _ string) {
			resign(t, b.signer, dir,
				"file")
		}},

		{"list: escaped", checkFiles, list(func(s string) string { return `\` + s })},
		{"list: name with an escape", checkFiles,
			list(func(s string) string { return strings.Replace(s, labelName, `ship\nment.json`, 1) })},
		{"list: CRLF", checkFiles, list(func(s string) string { return strings.ReplaceAll(s, "\n", "\r\n") })},
		{"list: path", checkFiles, list(func(s string) string {
			return strings.Replace(s, labelName, "../../etc/passwd",
				1)
		})},
		{"list: NUL", checkFiles, list(func(s string) string {
			return strings.Replace(s, labelName, "shipment.json\x00",
				1)
		})},
		{"list: binary mark", checkFiles, list(func(s string) string { return strings.ReplaceAll(s, "  ", " *") })},
		{"list: BSD form", checkFiles, list(func(s string) string {
			return "SHA256 (" + labelName + ") = " + s[:64] +
				"\n"
		})},
		{"list: thousands of lines", checkFiles,
			list(func(s string) string { return strings.Repeat(s, maxSums/len(s)) })},
		{"list: 999 parts that are not there", checkFiles, list(func(s string) string {
			for i := range maxParts {
				s = fmt.Sprintf("%064x  00-0001.tar.zst.age.%03d\n", i, maxParts-i) + s
			}
			lines := strings.SplitAfter(s, "\n")
			lines = lines[:len(lines)-1]
			var b strings.Builder
			for i := maxParts - 1; i >= 0; i-- {
				b.WriteString(lines[i])
			}
			return b.String() + strings.Join(lines[maxParts:], "")
		})},
		{"list of 4 GiB", checkSignature, huge(sumsName)},
		{"label of 4 GiB", checkSignature, huge(labelName)},
		{"signature of 4 GiB", checkSignature, huge(sigName)},
		{"READ-ME of 4 GiB", checkFiles, huge(readmeName)},
		{"label of brackets", checkSignature, func(t *testing.T, _ *bench, dir, _ string) {
			write(t, filepath.Join(dir, labelName), bytes.Repeat([]byte("["), maxLabel))
		}},
		{"label that says more", checkSignature, func(t *testing.T, b *bench, dir, _ string) {
			write(t, filepath.Join(dir, labelName), bytes.Replace(read(t, dir, labelName), []byte("{\n"),
				[]byte("{\n  \"study\": \"\\u001b[2J\",\n"), 1))
			relist(t, b, dir)
		}},

		{"signature: empty", checkSignature, sig(func([]byte) []byte { return nil })},
		{"signature: no armour", checkSignature, sig(func(d []byte) []byte { return d[40:] })},
		{"signature: twice", checkSignature, sig(func(d []byte) []byte { return append(d, d...) })},
		{"signature: one line of 16 kB", checkSignature, sig(func(d []byte) []byte {
			return []byte("-----BEGIN SSH SIGNATURE-----\n" + strings.Repeat("A", 16000) +
				"\n-----END SSH SIGNATURE-----\n")
		})},
		{"signature: a length of 4 GiB", checkSignature, sig(func([]byte) []byte {
			blob := base64.StdEncoding.EncodeToString([]byte("SSHSIG\x00\x00\x00\x01\xff\xff\xff\xffssh-ed25519"))
			return []byte("-----BEGIN SSH SIGNATURE-----\n" + blob + "\n-----END SSH SIGNATURE-----\n")
		})},
		{"signature: another version", checkSignature, sig(func([]byte) []byte {
			blob := base64.StdEncoding.EncodeToString([]byte("SSHSIG\x00\x00\x00\x02\x00\x00\x00\x00"))
			return []byte("-----BEGIN SSH SIGNATURE-----\n" + blob + "\n-----END SSH SIGNATURE-----\n")
		})},

		{"age: thousands of stanzas", checkDecryption, head(strings.Repeat(stanza, 50_000)+mac, 0)},
		{"age: as many stanzas as a header may have", checkDecryption, head(strings.Repeat(stanza, 1000)+mac, 0)},
		{"age: a stanza of 100 MB", checkDecryption, head("-> X25519 "+share+"\n"+
			strings.Repeat(strings.Repeat("A", 64)+"\n", 100<<20/65), 0)},
		{"age: a line of 300 MB", checkDecryption, head("-> ", 300<<20)},
		{"age: a stanza of a million arguments", checkDecryption, head("->"+strings.Repeat(" a", 1<<20)+"\n\n"+mac, 0)},
		{"age: scrypt with work 2^30", checkDecryption, head("-> scrypt AAAAAAAAAAAAAAAAAAAAAA 30\n"+strings.Repeat("A",
			43)+"\n"+mac, 0)},
		{"age: scrypt with work 2^22 beside a key", checkDecryption,
			head(stanza+"-> scrypt AAAAAAAAAAAAAAAAAAAAAA 22\n"+strings.Repeat("A", 43)+"\n"+mac, 0)},
		{"age: a plugin's stanza", checkDecryption, head("-> ../../bin/sh x\n\n"+mac, 0)},
		{"age: in armour", checkDecryption, func(t *testing.T, b *bench, dir, old string) {
			head("-----BEGIN AGE ENCRYPTED FILE-----\n", 0)(t, b, dir, old)
		}},

		{"20,000 files beside it", checkFinished, func(t *testing.T, _ *bench, dir, _ string) {
			for i := range 20_000 {
				write(t, filepath.Join(dir, fmt.Sprintf("%05d", i)), nil)
			}
		}},
		{"a file with an escape sequence in its name", checkFiles, func(t *testing.T, _ *bench, dir, _ string) {
			if os.WriteFile(filepath.Join(dir, "\x1b[2J\r"), nil, 0o600) != nil {
				t.Skip("the file system does not take such names")
			}
		}},
		{"a link to a device for the archive", checkFiles, func(t *testing.T, _ *bench, dir, _ string) {
			path := filepath.Join(dir, archive)
			if err := os.Remove(path); err != nil {
				t.Fatal(err)
			}
			if os.Symlink("/dev/zero", path) != nil {
				t.Skip("no links here")
			}
		}},
		{"a link to a device for the list", checkSignature, func(t *testing.T, _ *bench, dir, _ string) {
			path := filepath.Join(dir, sumsName)
			if err := os.Remove(path); err != nil {
				t.Fatal(err)
			}
			if os.Symlink("/dev/zero", path) != nil {
				t.Skip("no links here")
			}
		}},
	}
}

// goodAndOld returns a shipment and an earlier one of the same site.
func goodAndOld(t *testing.T, b *bench) (dir, old string) {
	t.Helper()
	f := forge(t, b)
	dir = f.write(t, b)
	f = forge(t, b)
	f.number, f.label.Shipment = "07-0011", "07-0011"
	return dir, f.write(t, b)
}

// Nothing may be written of them, and the words name the check.
func TestHostileFolder(t *testing.T) {
	b := newBench(t)
	dir, old := goodAndOld(t, b)
	for _, good := range []string{dir, old} {
		if v := b.mustVerify(t, good); v.Decision != Accepted {
			t.Fatalf("a folder that nothing was done to is not accepted: %+v", v.Checks)
		}
	}
	for _, tt := range folderCases() {
		t.Run(tt.name, func(t *testing.T) {
			dir, old := goodAndOld(t, b)
			tt.bend(t, b, dir, old)
			parent := t.TempDir()
			o := b.verifyOptions()
			o.Into = filepath.Join(parent, "opened")
			v, err := Verify(t.Context(), dir, o)
			if err != nil {
				t.Fatal(err)
			}
			rejectedAt(t, v, tt.check)
			empty(t, parent)
			if last := v.Checks[len(v.Checks)-1]; strings.ContainsAny(last.Detail, "\x00\x1b\r") {
				t.Errorf("raw content in %q", last.Detail)
			}
		})
	}
}
