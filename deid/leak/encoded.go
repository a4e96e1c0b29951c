package leak

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"strings"
	"unicode"
	"unicode/utf8"
)

// findEncoded finds digests of identifiers of the roster, and values of the roster in
// escapes, UTF-16, hexadecimal digits and base64.
func (p *page) findEncoded() {
	if len(p.lex.digests) == 0 {
		return
	}
	p.findEscapes()
	p.findUTF16()
	done := 0 // end in text of what was decoded
	for i := 0; i < len(p.tok); i++ {
		t := &p.tok[i]
		if t.size() < 8 && !(t.number && t.size() == 2) && (i+1 == len(p.tok) || !p.tok[i+1].glued) {
			continue // as for most words and numbers
		}
		last, ok := p.encodedRun(i)
		if ok {
			done = p.decodeRun(i, last, done)
		}
		i = last
	}
}

// encodedRun returns the last token of the run that begins with token i, and whether
// the run may be encoded. It searches separated pairs of hexadecimal digits itself.
func (p *page) encodedRun(i int) (last int, ok bool) {
	last = i
	run := i+1 < len(p.tok) && p.tok[i+1].glued
	if run {
		last = p.runEnd(i)
	}
	n := p.tok[last].e - p.tok[i].s
	switch {
	case n == 2 && (run || p.tok[i].number) && last+1 < len(p.tok) && len(p.gap(last+1)) == 1:
		return max(last, p.hexPairs(i)), false
	case n < 8, i == last && p.smallWord(i):
		return last, false
	}
	return last, true
}

// decodeRun searches the tokens from i to last as a digest, as hexadecimal digits and
// as base64. base64 text has been decoded up to text[done]; decodeRun returns the new
// end.
func (p *page) decodeRun(i, last, done int) int {
	run := p.fold.b[p.tok[i].s:p.tok[last].e]
	switch len(run) {
	case 2 * md5.Size, 2 * sha1.Size, 2 * sha256.Size:
		if c, ok := p.digest(run); ok {
			p.emit(p.tok[i].s, p.tok[last].e, c.class, c.basis, c.conf)
			return done
		}
	}
	s, e := p.fold.span(p.tok[i].s, p.tok[last].e)
	if run[0] == '0' && run[1] == 'x' {
		run = run[2:]
	}
	if len(run)%2 == 0 && len(run) <= maxEncoded && (p.tok[i].number || p.tok[i].size() < 8) {
		if plain := make([]byte, len(run)/2); hexText(plain, run) {
			p.within(s, e, plain, "hexadecimal")
		}
	}
	if s < done {
		return done
	}
	return p.base64(s, e)
}

// smallWord reports whether token i is a word in lower case, and not part of base64
// text.
func (p *page) smallWord(i int) bool {
	t := &p.tok[i]
	if t.upper || t.number || p.fold.start != nil {
		return false
	}
	if t.s > 0 && base64Char[p.text[t.s-1]] {
		return false
	}
	return t.e == len(p.text) || !base64Char[p.text[t.e]] && p.text[t.e] != '='
}

// digest looks up 32, 40 or 64 hexadecimal digits among the digests of the roster.
func (p *page) digest(run []byte) (code, bool) {
	var b [8]byte
	if _, err := hex.Decode(b[:], run[:16]); err != nil {
		return code{}, false
	}
	k, ok := p.lex.digests[binary.BigEndian.Uint64(b[:])]
	if !ok {
		return code{}, false
	}
	return p.lex.kinds[k], true
}

// hexText decodes the lower-case hexadecimal digits of run into plain, and reports
// whether the result can be text: it holds no control characters except tabs and line
// ends. That excludes most digests.
func hexText(plain, run []byte) bool {
	for k := 0; k < len(run); k += 2 {
		if run[k] < '2' && !(run[k] == '0' && (run[k+1] == '9' || run[k+1] == 'a' || run[k+1] == 'd')) {
			return false
		}
	}
	_, err := hex.Decode(plain, run)
	return err == nil
}

// base64 decodes the base64 text around text[s:e], searches the result, and returns the
// end of the base64 text.
func (p *page) base64(s, e int) int {
	for s > 0 && base64Char[p.text[s-1]] {
		s--
	}
	for e < len(p.text) && base64Char[p.text[e]] {
		e++
	}
	raw := p.text[s:e]
	pad := e
	for pad < len(p.text) && p.text[pad] == '=' && pad < e+2 {
		pad++
	}
	if len(raw) < 8 || len(raw) > maxEncoded || len(raw)%4 == 1 || pad == e && !mixed(raw) {
		return e
	}
	enc := base64.RawStdEncoding
	if strings.ContainsAny(raw, "-_") {
		enc = base64.RawURLEncoding
	}
	if plain, err := enc.DecodeString(raw); err == nil {
		switch len(plain) {
		case md5.Size, sha1.Size, sha256.Size:
			if k, ok := p.lex.digests[binary.BigEndian.Uint64(plain)]; ok {
				c := p.lex.kinds[k]
				p.out = append(p.out, Match{s, pad, c.class, c.basis, c.conf})
				return pad
			}
		}
		p.within(s, pad, plain, "base64")
	} else {
		return e
	}
	return pad
}

// base64Char holds the characters of both alphabets of RFC 4648.
var base64Char = func() (t [256]bool) {
	for c := range t {
		t[c] = wordByte[c] && c < utf8.RuneSelf || strings.IndexByte("+/-_", byte(c)) >= 0
	}
	return t
}()

// mixed reports whether s has lower-case letters, and capitals other than the first
// letter.
func mixed(s string) bool {
	small, large := false, false
	for k := range len(s) {
		small = small || 'a' <= s[k] && s[k] <= 'z'
		large = large || k > 0 && 'A' <= s[k] && s[k] <= 'Z'
	}
	return small && large
}

// printable reports whether b is valid UTF-8 without control characters other than
// tabs and line ends.
func printable(b []byte) bool {
	if !utf8.Valid(b) {
		return false
	}
	for _, r := range string(b) {
		if !unicode.IsPrint(r) && r != '\n' && r != '\t' && r != '\r' {
			return false
		}
	}
	return true
}
