package pack

import (
	"bufio"
	"crypto/hkdf"
	"crypto/sha256"
	"encoding/binary"
	"io"

	"filippo.io/age"
	"golang.org/x/crypto/chacha20poly1305"
)

const (
	chunkPlain  = 64 << 10
	chunkSealed = chunkPlain + chacha20poly1305.Overhead
)

// A chunkReader decrypts the chunks of an age file each on its own, so that
// what follows a damaged one can be looked at too. Every chunk is
// authenticated together with its place; that none is missing at the end is
// not, so nothing read here is ever accepted or written.
//
// Source: age-encryption.org/v1 (C2SP, age.md), "Payload".
type chunkReader struct {
	src  io.ReaderAt
	key  []byte
	from int64 // of the first chunk, in src
	size int64 // of src
}

// newChunkReader reads the head of src; ok is false when that is damaged.
func newChunkReader(src io.ReaderAt, size int64, ids []age.Identity) (c *chunkReader, ok bool) {
	head, err := age.ExtractHeader(bufio.NewReader(io.NewSectionReader(src, 0, min(size, 1<<20))))
	if err != nil {
		return nil, false
	}
	fileKey, err := age.DecryptHeader(head, ids...)
	if err != nil {
		return nil, false
	}
	nonce := make([]byte, 16)
	if n, _ := src.ReadAt(nonce, int64(len(head))); n != len(nonce) {
		return nil, false
	}
	key, err := hkdf.Key(sha256.New, fileKey, nonce, "payload", chacha20poly1305.KeySize)
	if err != nil {
		return nil, false
	}
	c = &chunkReader{src, key, int64(len(head) + len(nonce)), size}
	return c, c.from < size
}

func (c *chunkReader) chunks() int64 { return (c.size - c.from + chunkSealed - 1) / chunkSealed }

// place returns the offset of chunk i in src.
func (c *chunkReader) place(i int64) (from, to int64) {
	from = c.from + i*chunkSealed
	return from, min(from+chunkSealed, c.size)
}

// open returns the plain bytes of chunk i; nil when it is damaged.
func (c *chunkReader) open(i int64) []byte {
	from, to := c.place(i)
	sealed := make([]byte, to-from)
	if n, _ := c.src.ReadAt(sealed, from); n != len(sealed) {
		return nil
	}
	aead, err := chacha20poly1305.New(c.key)
	if err != nil {
		return nil
	}
	var nonce [chacha20poly1305.NonceSize]byte // 11 bytes of counter, then whether it is the last
	binary.BigEndian.PutUint64(nonce[3:11], uint64(i))
	if i == c.chunks()-1 {
		nonce[11] = 1
	}
	plain, err := aead.Open(sealed[:0], nonce[:], sealed, nil)
	if err != nil {
		return nil
	}
	return plain
}

// A joined file is parts after one another, of the lengths that were signed.
type joined struct {
	parts []labelPart
	files []io.ReaderAt
}

func (j joined) size() (n int64) {
	for _, p := range j.parts {
		n += p.Bytes
	}
	return n
}

func (j joined) ReadAt(b []byte, off int64) (n int, err error) {
	for i, p := range j.parts {
		if off < p.Bytes && n < len(b) {
			want := min(int64(len(b)-n), p.Bytes-off)
			k, _ := j.files[i].ReadAt(b[n:n+int(want)], off)
			n += k
			if int64(k) < want {
				return n, io.ErrUnexpectedEOF
			}
			off += want
		}
		off -= p.Bytes
	}
	if n < len(b) {
		return n, io.EOF
	}
	return n, nil
}

// ranges returns the places of [from, to) in the parts.
func (j joined) ranges(from, to int64) (out []DamagedRange) {
	at := int64(0)
	for _, p := range j.parts {
		if a, b := max(from, at), min(to, at+p.Bytes); a < b {
			out = append(out, DamagedRange{p.Name, a - at, b - at})
		}
		at += p.Bytes
	}
	return out
}
