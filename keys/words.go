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

// The 2,048 English words of BIP-39 (bitcoin/bips, bip-0039): no two begin with
// the same four letters, which is why they can be heard on a bad line. A word is
// eleven bits, the first bit the highest.
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

// fingerprintSum is the digest in a fingerprint as OpenSSH writes it.
func fingerprintSum(fingerprint string) (sum [sha256.Size]byte) {
	raw, err := base64.RawStdEncoding.DecodeString(strings.TrimPrefix(fingerprint, "SHA256:"))
	if err != nil || len(raw) != len(sum) {
		panic("keys: a fingerprint that is none") // we wrote it ourselves
	}
	return [sha256.Size]byte(raw)
}

// groupsOf writes a digest as 16 groups of four hexadecimal digits.
func groupsOf(sum [sha256.Size]byte) []string {
	var groups []string
	for pair := range slices.Chunk(sum[:], 2) {
		groups = append(groups, hex.EncodeToString(pair))
	}
	return groups
}

// SpokenWords returns twelve words for keys taken together, which two people
// compare by telephone: the first 132 bits of the SHA-256 over a line
// "outbreath-keys-1" and the keys' fingerprints, one a line, in bytewise order.
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

// SameWord reports whether what somebody typed is word: upper and lower case are one,
// and the four letters that no other word begins with will do.
func SameWord(typed, word string) bool {
	typed = strings.ToLower(strings.TrimSpace(typed))
	return typed == word || len(typed) >= 4 && strings.HasPrefix(word, typed)
}

// SuggestPassphrase returns seven words chosen by the system's generator, 77 bits.
// It is a secret: show it to the person at the terminal only, and wipe it.
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
