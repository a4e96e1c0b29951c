package keys

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/pem"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/scrypt"
	"golang.org/x/crypto/ssh"
)

// A locked key is read by x/crypto/ssh and by ssh-keygen, which derive the key from
// the passphrase by code of their own, for comments of every length modulo a block.
func TestLockSigning(t *testing.T) {
	needTool(t, "ssh-keygen")
	pub, secret, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	sshPub, err := ssh.NewPublicKey(pub)
	if err != nil {
		t.Fatal(err)
	}
	want := formatPublicKey(sshPub, "")
	for n := range 17 {
		comment := strings.Repeat("W", n)
		plain, err := ssh.MarshalPrivateKey(secret, comment)
		if err != nil {
			t.Fatal(err)
		}
		rounds := 1 + 3*n
		block, err := lockSigning(plain, somePass, rounds)
		if err != nil {
			t.Fatal(err)
		}
		data := pem.EncodeToMemory(block)
		s, err := ssh.ParsePrivateKeyWithPassphrase(data, somePass)
		if err != nil || !bytes.Equal(s.PublicKey().Marshal(), sshPub.Marshal()) {
			t.Errorf("comment of %d, %d rounds: x/crypto: %v", n, rounds, err)
		}
		if _, err := ssh.ParsePrivateKeyWithPassphrase(data, []byte("another one")); err == nil {
			t.Errorf("comment of %d: another passphrase opens it", n)
		}
		file := filepath.Join(t.TempDir(), "signing")
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("ssh-keygen", "-y", "-P", string(somePass), "-f", file).CombinedOutput()
		if err != nil || strings.TrimSpace(string(out)) != strings.TrimSpace(want+" "+comment) {
			t.Errorf("comment of %d, %d rounds: ssh-keygen: %v: %s", n, rounds, err, out)
		}
	}
}

// BenchmarkPassphrase is what one guess costs against either kind of file.
func BenchmarkPassphrase(b *testing.B) {
	salt := make([]byte, 16)
	b.Run("scrypt", func(b *testing.B) {
		for b.Loop() {
			if _, err := scrypt.Key(somePass, salt, 1<<shippedWorkFactor, 8, 1, 32); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("bcrypt_pbkdf", func(b *testing.B) {
		for b.Loop() {
			if _, err := bcryptKDF(somePass, salt, shippedRounds, 48); err != nil {
				b.Fatal(err)
			}
		}
	})
}
