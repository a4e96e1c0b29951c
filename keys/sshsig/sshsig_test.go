package sshsig

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
	"pgregory.net/rapid"
)

const testNamespace = "shipment@outbreath"

// vectors were made by OpenSSH 9.2p1, see testdata/openssh/README.
var vectors = []struct{ name, hash string }{
	{"ed25519", "sha512"},
	{"ecdsa256", "sha512"},
	{"ecdsa384", "sha512"},
	{"ecdsa521", "sha512"},
	{"rsa2048", "sha512"},
	{"rsa3072-sha256", "sha256"},
}

func readVector(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", "openssh", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestVerifyOpenSSHVectors(t *testing.T) {
	message := readVector(t, "message")
	for _, v := range vectors {
		t.Run(v.name, func(t *testing.T) {
			s, err := Parse(readVector(t, v.name+".sig"))
			if err != nil {
				t.Fatal(err)
			}
			pub, _, _, _, err := ssh.ParseAuthorizedKey(readVector(t, v.name+".pub"))
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(s.PublicKey.Marshal(), pub.Marshal()) {
				t.Error("the key in the signature is not the signer's")
			}
			if s.Namespace != testNamespace || s.Hash != v.hash {
				t.Errorf("namespace %q, hash %q", s.Namespace, s.Hash)
			}
			if err := s.Verify(message, testNamespace); err != nil {
				t.Error(err)
			}
			for _, ns := range []string{"", "bag@outbreath", testNamespace + "x"} {
				if err := s.Verify(message, ns); !errors.Is(err, ErrNamespace) {
					t.Errorf("namespace %q: %v", ns, err)
				}
			}
			for i := range message {
				changed := bytes.Clone(message)
				changed[i] ^= 1
				if err := s.Verify(changed, testNamespace); !errors.Is(err, ErrSignature) {
					t.Errorf("message changed at byte %d: %v", i, err)
				}
			}
		})
	}
}

// TestOneByteChanged: no signature file with one byte changed, removed, doubled
// or added may pass. Ed25519 gets all 255 other values of every byte, the
// longer ones every single bit and the characters that matter to an armor.
func TestOneByteChanged(t *testing.T) {
	message := readVector(t, "message")
	accepted := func(b []byte) bool {
		s, err := Parse(b)
		return err == nil && s.Verify(message, testNamespace) == nil
	}
	for _, v := range vectors {
		t.Run(v.name, func(t *testing.T) {
			good := readVector(t, v.name+".sig")
			if !accepted(good) {
				t.Fatal("the unchanged signature is refused")
			}
			var values []byte
			if v.name == "ed25519" {
				for d := 1; d < 256; d++ {
					values = append(values, byte(d))
				}
			} else {
				values = []byte{1, 2, 4, 8, 16, 32, 64, 128}
			}
			tried := 0
			for i := range good {
				try := func(what string, b []byte) {
					tried++
					if accepted(b) {
						t.Errorf("byte %d %s: accepted", i, what)
					}
				}
				for _, d := range values {
					b := bytes.Clone(good)
					b[i] ^= d
					try("flipped", b)
				}
				for _, c := range []byte("\n\r =A-") {
					if good[i] != c {
						b := bytes.Clone(good)
						b[i] = c
						try("replaced", b)
					}
					try("inserted before", append(append(bytes.Clone(good[:i]), c), good[i:]...))
				}
				try("removed", append(bytes.Clone(good[:i]), good[i+1:]...))
				try("doubled", append(bytes.Clone(good[:i+1]), good[i:]...))
				try("and all after it removed", good[:i])
			}
			if accepted(append(bytes.Clone(good), '\n')) || accepted(append(bytes.Clone(good), good...)) {
				t.Error("something after the signature: accepted")
			}
			t.Logf("%d changes refused", tried)
		})
	}
}

func TestArmorWidths(t *testing.T) {
	s, err := Parse(readVector(t, "ed25519.sig"))
	if err != nil {
		t.Fatal(err)
	}
	blob := s.marshal()
	message := readVector(t, "message")
	for _, width := range []int{1, 4, 64, 70, 76, 1000} {
		a := armor(blob, width)
		s, err := Parse(a)
		if err != nil {
			t.Errorf("width %d: %v", width, err)
			continue
		}
		if err := s.Verify(message, testNamespace); err != nil {
			t.Errorf("width %d: %v", width, err)
		}
		if _, err := Parse(bytes.ReplaceAll(a, []byte("\n"), []byte("\r\n"))); err == nil {
			t.Errorf("width %d: CRLF accepted", width)
		}
	}
	lines := strings.SplitAfter(string(armor(blob, 70)), "\n")
	uneven := lines[0] + strings.TrimSuffix(lines[1], "\n") + lines[2] + strings.Join(lines[3:], "")
	if _, err := Parse([]byte(uneven)); err == nil {
		t.Error("uneven lines accepted")
	}
}

// protocolSample is the example of PROTOCOL.sshsig (from memory). It lacks the
// hash_algorithm field of the document's own section 2, and OpenSSH 9.2p1
// refuses it.
const protocolSample = `-----BEGIN SSH SIGNATURE-----
U1NIU0lHAAAAAQAAADMAAAALc3NoLWVkMjU1MTkAAAAgJKxoLBJBivUPNTUJUSslQTt2hD
jozKvHarKeN8uYFqgAAAADZm9vAAAAAAAAAFMAAAALc3NoLWVkMjU1MTkAAABAKNC4IEbt
Tq0Fb56xhtuE1/lK9H9RZJfON4o6hE9R4ZGFX98gy0+fFJ/1d2/RxnZky0Y7GojwrZkrHT
FgCqVWAQ==
-----END SSH SIGNATURE-----
`

func TestParseRefuses(t *testing.T) {
	good, err := Parse(readVector(t, "ed25519.sig"))
	if err != nil {
		t.Fatal(err)
	}
	rsaGood, err := Parse(readVector(t, "rsa2048.sig"))
	if err != nil {
		t.Fatal(err)
	}
	ecGood, err := Parse(readVector(t, "ecdsa256.sig"))
	if err != nil {
		t.Fatal(err)
	}
	// build writes a blob with one thing changed.
	build := func(s *Signature, change func(*wire, *wireSignature)) []byte {
		in := wireSignature{s.sig.Format, s.sig.Blob}
		w := wire{version, s.PublicKey.Marshal(), s.Namespace, s.reserved, s.Hash, nil}
		change(&w, &in)
		if w.Signature == nil {
			w.Signature = ssh.Marshal(in)
		}
		return armor(append([]byte(magic), ssh.Marshal(w)...), 70)
	}
	if _, err := Parse(build(good, func(*wire, *wireSignature) {})); err != nil {
		t.Fatalf("nothing changed: %v", err)
	}
	short, err := rsa.GenerateKey(rand.Reader, 1024)
	if err != nil {
		t.Fatal(err)
	}
	shortPub, err := ssh.NewPublicKey(&short.PublicKey)
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name, want string
		in         []byte
	}{
		{"nothing", "first line", nil},
		{"the standard's own sample", "cut short", []byte(protocolSample)},
		{"no base64", "empty", []byte(header + footer)},
		{"an empty line", "empty", []byte(header + "\n" + footer)},
		{"text before", "first line", append([]byte("x\n"), readVector(t, "ed25519.sig")...)},
		{"other magic", "SSHSIG", armor([]byte("SSHSIX"+strings.Repeat("\x00", 60)), 70)},
		{"too long", "too long", bytes.Repeat([]byte("A"), MaxArmored+1)},
		{"version 0", "version", build(good, func(w *wire, _ *wireSignature) { w.Version = 0 })},
		{"version 2", "version", build(good, func(w *wire, _ *wireSignature) { w.Version = 2 })},
		{"no namespace", "no namespace", build(good, func(w *wire, _ *wireSignature) { w.Namespace = "" })},
		{"sha1", "hash", build(good, func(w *wire, _ *wireSignature) { w.Hash = "sha1" })},
		{"trailing byte in the key", "public key",
			build(good, func(w *wire, _ *wireSignature) { w.PublicKey = append(w.PublicKey, 0) })},
		{"trailing byte after the signature", "bytes too many",
			build(good, func(w *wire, in *wireSignature) { w.Signature = append(ssh.Marshal(in), 0) })},
		{"trailing byte in the blob", "bytes too many",
			armor(append(append([]byte(magic), ssh.Marshal(wire{version, good.PublicKey.Marshal(), "n", "", "sha512",
				ssh.Marshal(wireSignature{"ssh-ed25519", make([]byte, 64)})})...), 0), 70)},
		{"ed25519 signature of 63 bytes", "form",
			build(good, func(_ *wire, in *wireSignature) { in.Blob = in.Blob[:63] })},
		{"ed25519 key, other format", "form", build(good, func(_ *wire, in *wireSignature) { in.Format = "ssh-rsa" })},
		{"RSA with SHA-1", "rsa-sha2", build(rsaGood, func(_ *wire, in *wireSignature) { in.Format = "ssh-rsa" })},
		{"RSA signature one byte short", "form",
			build(rsaGood, func(_ *wire, in *wireSignature) { in.Blob = in.Blob[1:] })},
		{"ECDSA number with leading zeros", "form", build(ecGood, func(_ *wire, in *wireSignature) {
			n := in.Blob[3]
			in.Blob = append([]byte{0, 0, 0, n + 1, 0}, in.Blob[4:]...)
		})},
		{"RSA exponent with a leading zero", "canonical", build(rsaGood, func(w *wire, _ *wireSignature) {
			// string "ssh-rsa", then mpint e = 3 bytes 01 00 01
			p := len("ssh-rsa") + 4
			w.PublicKey = append(append(bytes.Clone(w.PublicKey[:p]), 0, 0, 0, 4, 0), w.PublicKey[p+4:]...)
		})},
		{"RSA of 1024 bits", "2048",
			build(rsaGood, func(w *wire, _ *wireSignature) { w.PublicKey = shortPub.Marshal() })},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Parse(tt.in)
			if err == nil {
				t.Fatal("accepted")
			}
			if !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %q does not speak of %q", err, tt.want)
			}
		})
	}
}

func newSigner(t testing.TB, key any) ssh.Signer {
	t.Helper()
	s, err := ssh.NewSignerFromKey(key)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func ed25519Signer(t testing.TB) ssh.Signer {
	t.Helper()
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return newSigner(t, key)
}

func TestSignRefuses(t *testing.T) {
	s := ed25519Signer(t)
	if _, err := Sign(s, "", []byte("x")); err == nil {
		t.Error("empty namespace accepted")
	}
	short, err := rsa.GenerateKey(rand.Reader, 1024)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Sign(newSigner(t, short), "n", nil); err == nil {
		t.Error("RSA of 1024 bits accepted")
	}
	if _, err := Sign(mismatched{s, ed25519Signer(t).PublicKey()}, "n", nil); err == nil {
		t.Error("a signer with another's public key made a signature")
	}
	long, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	// Only Sign, which would use SHA-1.
	if _, err := Sign(struct{ ssh.Signer }{newSigner(t, long)}, "n", nil); err == nil {
		t.Error("RSA signer without a choice of algorithm accepted")
	}
}

type mismatched struct {
	ssh.Signer
	pub ssh.PublicKey
}

func (m mismatched) PublicKey() ssh.PublicKey { return m.pub }

func TestEd25519IsDeterministic(t *testing.T) {
	s := ed25519Signer(t)
	a, err := Sign(s, "n", []byte("m"))
	if err != nil {
		t.Fatal(err)
	}
	b, err := Sign(s, "n", []byte("m"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a, b) {
		t.Error("two signatures of the same message differ")
	}
}

func TestZeroSignature(t *testing.T) {
	if err := new(Signature).Verify(nil, "n"); err == nil {
		t.Error("the zero Signature verifies")
	}
	if err := (&Signature{Namespace: "n", Hash: "sha512"}).Verify(nil, "n"); err == nil {
		t.Error("a Signature without key verifies")
	}
	s, err := Parse(readVector(t, "ed25519.sig"))
	if err != nil {
		t.Fatal(err)
	}
	s.Namespace = ""
	if err := s.Verify(readVector(t, "message"), ""); !errors.Is(err, ErrNamespace) {
		t.Errorf("an empty namespace: %v", err)
	}
}

// TestSignVerify: what is signed verifies, and not for another message or
// namespace.
func TestSignVerify(t *testing.T) {
	ec, err := ecdsa.GenerateKey(elliptic.P384(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	signers := []ssh.Signer{ed25519Signer(t), newSigner(t, ec)}
	rapid.Check(t, func(t *rapid.T) {
		signer := rapid.SampledFrom(signers).Draw(t, "signer")
		ns := rapid.StringN(1, 40, -1).Draw(t, "namespace")
		m := rapid.SliceOf(rapid.Byte()).Draw(t, "message")
		other := rapid.SliceOf(rapid.Byte()).Draw(t, "other")
		a, err := Sign(signer, ns, m)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Parse(a)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Verify(m, ns); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(other, m) && s.Verify(other, ns) == nil {
			t.Fatal("verifies over another message")
		}
		if s.Verify(m, ns+"x") == nil {
			t.Fatal("verifies under another namespace")
		}
	})
}

// FuzzParse: what parses has one spelling at its width, and Verify does not
// crash on it.
func FuzzParse(f *testing.F) {
	for _, v := range vectors {
		f.Add(readVector(f, v.name+".sig"))
	}
	f.Add([]byte(protocolSample))
	f.Add([]byte(header + "U1NIU0lH\n" + footer))
	f.Fuzz(func(t *testing.T, in []byte) {
		s, err := Parse(in)
		if err != nil {
			return
		}
		width := bytes.IndexByte(in[len(header):], '\n')
		if !bytes.Equal(armor(s.marshal(), width), in) {
			t.Fatal("a second spelling was accepted")
		}
		s.Verify([]byte("x"), s.Namespace)
	})
}
