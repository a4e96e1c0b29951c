package keys

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"encoding/pem"
	"errors"

	"golang.org/x/crypto/ssh"
)

// signingRounds is the cost of the signing key's passphrase, in rounds of bcrypt_pbkdf. One
// guess costs about as much as with scryptWorkFactor (BenchmarkPassphrase). Tests lower it.
var signingRounds = 100

// lockSigning encrypts an OpenSSH private key, as [ssh.MarshalPrivateKey] writes it, under a
// passphrase. ssh-keygen and other SSH programs read the result.
//
// Source: PROTOCOL.key of OpenSSH.
func lockSigning(plain *pem.Block, pass []byte, rounds int) (*pem.Block, error) {
	const magic = "openssh-key-v1\x00"
	var file struct {
		CipherName, KdfName, KdfOpts string
		NumKeys                      uint32
		PubKey, PrivKeyBlock         []byte
	}
	if len(plain.Bytes) < len(magic) || ssh.Unmarshal(plain.Bytes[len(magic):], &file) != nil ||
		file.CipherName != "none" {
		return nil, errors.New("the key is not in the form of OpenSSH")
	}
	opts := struct {
		Salt   []byte
		Rounds uint32
	}{make([]byte, 16), uint32(rounds)}
	rand.Read(opts.Salt)
	key, err := bcryptKDF(pass, opts.Salt, rounds, 32+aes.BlockSize)
	if err != nil {
		return nil, err
	}
	block, err := aes.NewCipher(key[:32])
	if err != nil {
		return nil, err
	}
	var inside struct {
		Check1, Check2 uint32
		Type           string
		Public, Secret []byte // of Ed25519
		Comment        string
		Padding        []byte `ssh:"rest"` // 1, 2, 3 ... up to a full block
	}
	secret := file.PrivKeyBlock
	if err := ssh.Unmarshal(secret, &inside); err != nil || inside.Type != ssh.KeyAlgoED25519 {
		return nil, errors.New("the key is not of type ed25519")
	}
	for n := len(inside.Padding); len(secret)%aes.BlockSize != 0; n++ {
		secret = append(secret, byte(n+1))
	}
	cipher.NewCTR(block, key[32:]).XORKeyStream(secret, secret)
	file.CipherName, file.KdfName, file.KdfOpts = "aes256-ctr", "bcrypt", string(ssh.Marshal(opts))
	file.PrivKeyBlock = secret
	return &pem.Block{Type: plain.Type, Bytes: append([]byte(magic), ssh.Marshal(file)...)}, nil
}
