package keys

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"math/big"
	"slices"
	"strings"

	"github.com/tyler-smith/go-bip39/wordlists"
)

// wordList is the 2,048 English words of BIP-39 (bitcoin/bips, bip-0039). No two begin with
// the same four letters, so they can be told apart on a bad line. A word encodes eleven
// bits, the highest first.
var wordList = wordlists.English

const (
	bitsPerWord  = 11
	spokenWords  = 12 // 132 bits
	passwordWord = 7  // 77 bits
)

// spoken returns the first 132 bits of sum as twelve words.
func spoken(sum [sha256.Size]byte) []string {
	n := new(big.Int).SetBytes(sum[:])
	n.Rsh(n, sha256.Size*8-spokenWords*bitsPerWord)
	words := make([]string, spokenWords)
	for i := range words {
		shift := uint(bitsPerWord * (spokenWords - 1 - i))
		words[i] = wordList[new(big.Int).Rsh(n, shift).Uint64()&(1<<bitsPerWord-1)]
	}
	return words
}

// fingerprintSum returns the digest in a fingerprint in OpenSSH's form.
func fingerprintSum(fingerprint string) (sum [sha256.Size]byte) {
	raw, err := base64.RawStdEncoding.DecodeString(strings.TrimPrefix(fingerprint, "SHA256:"))
	if err != nil || len(raw) != len(sum) {
		panic("keys: not a fingerprint") // this package wrote it
	}
	return [sha256.Size]byte(raw)
}

// groupsOf returns a digest as 16 groups of four hexadecimal digits.
func groupsOf(sum [sha256.Size]byte) []string {
	var groups []string
	for pair := range slices.Chunk(sum[:], 2) {
		groups = append(groups, hex.EncodeToString(pair))
	}
	return groups
}

// SpokenWords returns twelve words for a set of keys, for two people to compare by telephone.
// They encode the first 132 bits of the SHA-256 over a line "outbreath-keys-1" and the keys'
// fingerprints, one per line, in bytewise order.
//
//	(echo outbreath-keys-1; printf '%s\n' SHA256:... SHA256:... | LC_ALL=C sort) | sha256sum
func SpokenWords(list []Trusted) []string {
	var lines []string
	for _, t := range list {
		lines = append(lines, t.Fingerprint+"\n")
	}
	slices.Sort(lines)
	return spoken(sha256.Sum256([]byte("outbreath-keys-1\n" + strings.Join(slices.Compact(lines), ""))))
}

// SameWord reports whether typed means word: case is ignored, and its first four letters are
// enough, because no other word begins with them.
func SameWord(typed, word string) bool {
	typed = strings.ToLower(strings.TrimSpace(typed))
	return typed == word || len(typed) >= 4 && strings.HasPrefix(word, typed)
}

// SuggestPassphrase returns seven random words, 77 bits, from the system's generator. The
// result is a secret: show it only to the person at the terminal, and wipe it.
func SuggestPassphrase() []byte {
	var p []byte
	for i := range passwordWord {
		if i > 0 {
			p = append(p, ' ')
		}
		n, err := rand.Int(rand.Reader, big.NewInt(int64(len(wordList))))
		if err != nil {
			panic(err) // crypto/rand does not fail
		}
		p = append(p, wordList[n.Int64()]...)
	}
	return p
}
