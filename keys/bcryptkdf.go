package keys

import (
	"crypto/sha512"

	//lint:ignore SA1019 the key derivation of OpenSSH's private keys is made of it; nothing is encrypted with it
	"golang.org/x/crypto/blowfish"
)

// bcryptKDF derives n bytes, at most 1024, from a passphrase as OpenSSH does for its
// private keys. x/crypto/ssh does not export this function. It reads keys of any cost but
// writes them with only 16 rounds, which makes guessing some six times cheaper than for the
// other files of a folder.
//
// Source: OpenBSD's bcrypt_pbkdf(3) and PROTOCOL.key of OpenSSH; compared with
// ssh-keygen and with x/crypto/ssh by the tests.
func bcryptKDF(pass, salt []byte, rounds, n int) ([]byte, error) {
	blocks := (n + sha512.Size/2 - 1) / (sha512.Size / 2)
	key := make([]byte, blocks*32)
	shapass := sha512.Sum512(pass)
	for block := 1; block <= blocks; block++ {
		h := sha512.New()
		h.Write(salt)
		h.Write([]byte{byte(block >> 24), byte(block >> 16), byte(block >> 8), byte(block)})
		var shasalt [sha512.Size]byte
		h.Sum(shasalt[:0])
		out, err := bcryptHash(shapass[:], shasalt[:])
		if err != nil {
			return nil, err
		}
		sum := out
		for range rounds - 1 {
			shasalt = sha512.Sum512(out[:])
			if out, err = bcryptHash(shapass[:], shasalt[:]); err != nil {
				return nil, err
			}
			for i := range sum {
				sum[i] ^= out[i]
			}
		}
		for i, b := range sum { // the blocks are interleaved byte by byte
			key[i*blocks+block-1] = b
		}
	}
	return key[:n], nil
}

// bcryptHash is the core of bcrypt with a cost of 2^6, over SHA-512 sums.
func bcryptHash(shapass, shasalt []byte) (out [32]byte, err error) {
	c, err := blowfish.NewSaltedCipher(shapass, shasalt)
	if err != nil {
		return out, err
	}
	for range 64 {
		blowfish.ExpandKey(shasalt, c)
		blowfish.ExpandKey(shapass, c)
	}
	copy(out[:], "OxychromaticBlowfishSwatDynamite")
	for i := 0; i < 32; i += 8 {
		for range 64 {
			c.Encrypt(out[i:i+8], out[i:i+8])
		}
	}
	for i := 0; i < 32; i += 4 { // each word is written with its bytes reversed
		out[i], out[i+1], out[i+2], out[i+3] = out[i+3], out[i+2], out[i+1], out[i]
	}
	return out, nil
}
