package sshsig

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"golang.org/x/crypto/ssh"
)

// sshKeygen runs ssh-keygen in dir with in as its input.
func sshKeygen(t *testing.T, dir string, in []byte, args ...string) error {
	t.Helper()
	cmd := exec.Command("ssh-keygen", args...)
	cmd.Dir, cmd.Stdin = dir, bytes.NewReader(in)
	out, err := cmd.CombinedOutput()
	t.Logf("ssh-keygen %q: %v\n%s", args, err, out)
	return err
}

func write(t *testing.T, dir, name string, data []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, dir, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestBothWaysWithOpenSSH: ssh-keygen verifies what we sign and we verify what
// it signs, for every key type and both hashes.
func TestBothWaysWithOpenSSH(t *testing.T) {
	if _, err := exec.LookPath("ssh-keygen"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("ssh-keygen is needed")
		}
		t.Skip("no ssh-keygen")
	}
	message := []byte("one\ntwo\x00three")
	for _, k := range [][]string{
		{"-t", "ed25519"},
		{"-t", "ecdsa", "-b", "256"},
		{"-t", "ecdsa", "-b", "384"},
		{"-t", "ecdsa", "-b", "521"},
		{"-t", "rsa", "-b", "2048"},
	} {
		t.Run(k[1]+k[len(k)-1], func(t *testing.T) {
			dir := t.TempDir()
			if err := sshKeygen(t, dir, nil, append([]string{"-q", "-N", "", "-C", "", "-f", "key"},
				k...)...); err != nil {
				t.Fatal(err)
			}
			signer, err := ssh.ParsePrivateKey(read(t, dir, "key"))
			if err != nil {
				t.Fatal(err)
			}
			write(t, dir, "allowed", append([]byte("07 "), read(t, dir, "key.pub")...))
			sig, err := Sign(signer, testNamespace, message)
			if err != nil {
				t.Fatal(err)
			}
			write(t, dir, "ours.sig", sig)
			verify := func(m []byte, name, ns string) error {
				return sshKeygen(t, dir, m, "-Y", "verify", "-f", "allowed", "-I", name, "-n", ns, "-s", "ours.sig")
			}
			if err := verify(message, "07", testNamespace); err != nil {
				t.Error("ssh-keygen refuses our signature")
			}
			if verify(message, "07", "bag@outbreath") == nil || verify(message, "08", testNamespace) == nil ||
				verify(message[1:], "07", testNamespace) == nil {
				t.Error("ssh-keygen accepts our signature for another namespace, name or message")
			}

			for _, hash := range []string{"sha256", "sha512"} {
				write(t, dir, "message", message)
				os.Remove(filepath.Join(dir, "message.sig"))
				if err := sshKeygen(t, dir, nil, "-q", "-Y", "sign", "-f", "key", "-n", testNamespace, "-O", "hashalg="+
					hash, "message"); err != nil {
					t.Fatal(err)
				}
				theirs := read(t, dir, "message.sig")
				s, err := Parse(theirs)
				if err != nil {
					t.Fatal(err)
				}
				if s.Hash != hash {
					t.Errorf("hash %q, not %q", s.Hash, hash)
				}
				if err := s.Verify(message, testNamespace); err != nil {
					t.Error(err)
				}
				// Ed25519 leaves no choice, so both must write the same file.
				if k[1] == "ed25519" && hash == "sha512" && !bytes.Equal(theirs, sig) {
					t.Error("our file differs from ssh-keygen's")
				}
			}
		})
	}
}
