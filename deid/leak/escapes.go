package leak

import (
	"encoding/hex"
	"html"
	"strconv"
	"strings"
	"unicode/utf8"
)

// An escape is a notation for characters by their numbers.
type escape struct {
	sign byte // first byte of each escape
	name string
	// read returns the bytes encoded by the escape at the beginning of t, and the length
	// of the escape, 0 if t does not begin with one.
	read func(t string) (string, int)
}

var escapes = []escape{
	{'%', "percent encoding", func(t string) (string, int) { return hexByte(t, 1) }}, // RFC 3986, 2.1
	{'=', "quoted-printable", func(t string) (string, int) { // RFC 2045, 6.7
		for _, soft := range []string{"=\n", "=\r\n"} {
			if strings.HasPrefix(t, soft) {
				return "", len(soft)
			}
		}
		return hexByte(t, 1)
	}},
	{'\\', "a string escape", func(t string) (string, int) { // RFC 8259, section 7
		if strings.HasPrefix(t, `\x`) {
			return hexByte(t, 2)
		}
		if len(t) < 6 || t[1] != 'u' {
			return "", 0
		}
		n, err := strconv.ParseUint(t[2:6], 16, 16)
		if err != nil {
			return "", 0
		}
		return string(rune(n)), 6
	}},
	{'&', "a character reference", func(t string) (string, int) { // HTML, 13.5
		n := strings.IndexByte(t[:min(len(t), 12)], ';') + 1
		if n == 0 {
			return "", 0
		}
		s := html.UnescapeString(t[:n])
		if s == t[:n] {
			return "", 0
		}
		return s, n
	}},
}

// hexByte decodes the two hexadecimal digits at t[n:], and returns the byte and the
// length of t up to their end, 0 if there are none.
func hexByte(t string, n int) (string, int) {
	if len(t) < n+2 {
		return "", 0
	}
	b, err := hex.DecodeString(t[n : n+2])
	if err != nil {
		return "", 0
	}
	return string(b), n + 2
}

const maxEncoded = 4096 // bytes of encoded text that are decoded together

// findEscapes finds values of the roster with escaped characters.
func (p *page) findEscapes() {
	for _, e := range escapes {
		done := 0
		for i := 0; i < len(p.text); i++ {
			k := strings.IndexByte(p.text[i:], e.sign)
			if k < 0 {
				break
			}
			i += k
			if _, n := e.read(p.text[i:]); n == 0 {
				continue
			}
			s := i
			for s > done && i-s < maxEncoded && !parts(p.text[s-1]) {
				s--
			}
			for s < i && !utf8.RuneStart(p.text[s]) {
				s++
			}
			var plain []byte
			end := s
			for end < len(p.text) && end-s < maxEncoded {
				if p.text[end] == e.sign {
					if c, n := e.read(p.text[end:]); n > 0 {
						plain, end = append(plain, c...), end+n
						continue
					}
				}
				if parts(p.text[end]) {
					break
				}
				plain, end = append(plain, p.text[end]), end+1
			}
			for end > i && end < len(p.text) && !utf8.RuneStart(p.text[end]) {
				end--
			}
			done, i = end, max(i, end-1)
			p.within(s, end, plain, e.name)
		}
	}
}

// parts reports whether c separates encoded texts.
func parts(c byte) bool { return c <= ' ' || strings.IndexByte("\"<>|,()[]{}", c) >= 0 }

// within searches the decoded bytes plain for values of the roster, and reports the
// surest match as the whole of text[s:e]. how names the encoding.
func (p *page) within(s, e int, plain []byte, how string) {
	if s >= e || !printable(plain) {
		return
	}
	q := pages.Get().(*page)
	defer pages.Put(q)
	q.lex, q.inner, q.field = p.lex, true, p.field
	q.scan(string(plain))
	var best Match
	for _, m := range q.out {
		if rank(m.Confidence) > rank(best.Confidence) {
			best = m
		}
	}
	q.text, q.out, q.groups = "", nil, groupedNumber{}
	if rank(best.Confidence) >= rank(Likely) {
		p.out = append(p.out, Match{s, e, best.Class, best.Basis + ", in " + how, best.Confidence})
	}
}
