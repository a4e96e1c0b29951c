package leak

import (
	"encoding/hex"
	"strings"
	"unicode/utf8"
)

// findUTF16 finds values of the roster in text with two bytes per character, which it
// recognises by NUL bytes: in either byte order, and also if each byte has become a
// character by wrong decoding.
func (p *page) findUTF16() {
	for i := 0; i < len(p.text); {
		k := strings.IndexByte(p.text[i:], 0)
		if k < 0 {
			return
		}
		k += i
		end := k + 1
		for high := range 2 { // index of the high byte in a pair
			s, e, plain := p.pairs(i, k, high)
			p.within(s, e, plain, "UTF-16")
			end = max(end, e)
		}
		i = end
	}
}

// pairs decodes the pairs of bytes around the high byte at text[k], none of them before
// text[from], and returns the span of the pairs and their text. High bytes are below 8:
// this covers the alphabets from Latin to Arabic, and such bytes are rare in other text.
func (p *page) pairs(from, k, high int) (s, e int, plain []byte) {
	s = k
	if high == 1 {
		s -= lastByte(p.text[from:k])
	}
	for k-s < maxEncoded {
		n := lastByte(p.text[from:s])
		m := lastByte(p.text[from : s-n])
		if n == 0 || m == 0 || [2]byte{p.text[s-n-m], p.text[s-n]}[high] > 7 {
			break
		}
		s -= n + m
	}
	for e = s; e-s < maxEncoded; {
		a, n := oneByte(p.text[e:])
		b, m := oneByte(p.text[e+n:])
		if high == 1 {
			a, b = b, a
		}
		if n == 0 || m == 0 || a > 7 || b > 0xff {
			break
		}
		plain = utf8.AppendRune(plain, a<<8|b)
		e += n + m
	}
	return s, e, plain
}

// oneByte returns the first byte of t, or the character that it has become, and its
// length in t, 0 if t is empty.
func oneByte(t string) (rune, int) {
	r, n := utf8.DecodeRuneInString(t)
	if r == utf8.RuneError && n == 1 {
		r = rune(t[0])
	}
	return r, n
}

func lastByte(t string) int {
	_, n := utf8.DecodeLastRuneInString(t)
	return n
}

// hexPairs finds values of the roster in bytes written as pairs of hexadecimal digits
// with one blank, colon or hyphen between them. It starts at token i and returns the last
// token that it read.
func (p *page) hexPairs(i int) int {
	i = p.runStart(i)
	s, _ := p.fold.span(p.tok[i].s, p.tok[i].e)
	t := p.text[s:]
	if len(t) < 17 || strings.IndexByte(" :-", t[2]) < 0 || t[5] != t[2] || t[8] != t[2] {
		return i
	}
	var plain []byte
	var b [1]byte
	n := 0
	for ; n+2 <= len(t) && n < maxEncoded; n += 3 {
		if _, err := hex.Decode(b[:], []byte(t[n:n+2])); err != nil || n > 0 && t[n-1] != t[2] {
			break
		}
		plain = append(plain, b[0])
	}
	if len(plain) < 6 {
		return i
	}
	e := s + n - 1
	p.within(s, e, plain, "hexadecimal")
	for i+1 < len(p.tok) {
		if at, _ := p.fold.span(p.tok[i+1].s, p.tok[i+1].e); at >= e {
			break
		}
		i++
	}
	return i
}
