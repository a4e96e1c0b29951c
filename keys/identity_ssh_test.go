package keys

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/pem"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
)

// A folder has one passphrase. An SSH key that it would not open, or not protect,
// is not taken over without a word.
func TestTakenSSHKeyAndPassphrase(t *testing.T) {
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	key := func(pass []byte) []byte {
		block, err := ssh.MarshalPrivateKey(private, "x")
		if pass != nil {
			block, err = ssh.MarshalPrivateKeyWithPassphrase(private, "x", pass)
		}
		if err != nil {
			t.Fatal(err)
		}
		return pem.EncodeToMemory(block)
	}
	other := []byte("another one, quite another")
	for _, tt := range []struct {
		name        string
		key, folder []byte // passphrases
		want        string // in the error
	}{
		{"neither", nil, nil, ""},
		{"the key alone", somePass, nil, ""},
		{"the same", somePass, somePass, ""},
		{"the folder alone", nil, somePass, "has no passphrase of its own"},
		{"two", other, somePass, "has another passphrase"},
	} {
		f, err := Create(t.TempDir()+"/keys", NewOptions{Role: Lab, Name: "lab", Identity: key(tt.key),
			Passphrase: tt.folder})
		if tt.want != "" {
			if err == nil || !strings.Contains(err.Error(), tt.want) || err.(*Error).Fault == "" {
				t.Errorf("%s: %v", tt.name, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if f, err = Open(f.Dir(), func(string) ([]byte, error) { return somePass, nil }); err != nil {
			t.Fatal(err)
		}
		if _, err := f.Identities(); err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
		if _, err := f.Signer(); err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
	for name, o := range map[string]NewOptions{
		"a recipient without an identity":  {Role: Lab, Name: "lab", Recipient: "age1x"},
		"a recipient with an SSH identity": {Role: Lab, Name: "lab", Recipient: "age1x", Identity: key(nil)},
	} {
		if _, err := Create(t.TempDir()+"/keys", o); err == nil || !strings.Contains(err.Error(), "recipient") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
