package leak

import (
	"bytes"
	"net/netip"
	"strings"
	"unicode"
	"unicode/utf8"
)

// findAddresses finds e-mail addresses, account names with an @, URLs and
// hosts, IPv6 and MAC addresses, and ages in words.
func (p *page) findAddresses() {
	b := p.fold.b
	for i := 0; ; i++ {
		k := bytes.IndexByte(b[i:], '@')
		if k < 0 {
			break
		}
		i += k
		p.email(i)
	}
	if p.inner {
		return
	}
	for i := 0; ; i++ {
		k := bytes.IndexByte(b[i:], ':')
		if k < 0 {
			break
		}
		i += k
		i = p.colon(i)
	}
	done := 0 // where the last URL ended
	for i := range p.tok {
		t := &p.tok[i]
		switch {
		case t.term != nil && t.term.cues.has(cueNumeral),
			b[t.s] == 'n' && bytes.HasPrefix(p.word(i), []byte("ninety")):
			p.agedWords(i)
		case i > 0 && t.size() == 2 && string(p.word(i)) == "at":
			p.spelt(i)
		}
		if t.piece == 0 && t.s+2 < len(b) && (b[t.s+2] == '-' || b[t.s+2] == ':') {
			p.mac(t.s)
		}
		if i > 0 && !t.number && b[t.s-1] == '.' && t.s >= done && p.tok[i-1].e == t.s-1 {
			done = p.host(i)
		}
	}
}

// is reports whether c is an ASCII letter or digit, or one of more.
func is(c byte, more string) bool {
	return 'a' <= c && c <= 'z' || '0' <= c && c <= '9' || strings.IndexByte(more, c) >= 0
}

// left returns where the letters of any script, the digits and the characters of more
// begin that end right before b[i].
func left(b []byte, i int, more string) int {
	for i > 0 {
		if b[i-1] < utf8.RuneSelf {
			if !is(b[i-1], more) {
				break
			}
			i--
			continue
		}
		r, n := utf8.DecodeLastRune(b[:i])
		if !unicode.IsLetter(r) {
			break
		}
		i -= n
	}
	return i
}

// right returns where the letters of any script, the digits and the characters of more
// end that begin at b[i].
func right(b []byte, i int, more string) int {
	for i < len(b) {
		if b[i] < utf8.RuneSelf {
			if !is(b[i], more) {
				break
			}
			i++
			continue
		}
		r, n := utf8.DecodeRune(b[i:])
		if !unicode.IsLetter(r) {
			break
		}
		i += n
	}
	return i
}

// email reads the address around the @ at b[i].
func (p *page) email(i int) {
	s, e := p.mailbox(i)
	if s < i && p.lex.emails[string(p.fold.b[s:e])] {
		p.emit(s, e, "F", "roster: email", Sure)
		return
	}
	if p.inner {
		return
	}
	domain := p.fold.b[i+1 : e]
	switch {
	case s < i && (bytes.IndexByte(domain, '.') > 0 || len(domain) > 2 && domain[0] == '['):
		p.emit(s, e, "F", "pattern: e-mail", Sure)
	case s < i && len(domain) > 3 && i-s > 3:
		p.emit(s, e, "F", "pattern: e-mail", Possible)
	case s == i:
		p.handle(i)
	}
}

// mailbox returns the start and the end of the address with the @ at b[i] (RFC 5321,
// 4.1.2): s is i without a local part, e is i+1 without a domain.
func (p *page) mailbox(i int) (s, e int) {
	b := p.fold.b
	s, e = left(b, i, ".!#$%&*+-/=?^_{|}~'"), right(b, i+1, ".-")
	for s < i && b[s] < utf8.RuneSelf && !is(b[s], "_") {
		s++
	}
	for e > i+1 && b[e-1] < utf8.RuneSelf && !is(b[e-1], "") {
		e--
	}
	if s == i && i > 0 && b[i-1] == '"' { // "a b"@example.org
		if q := bytes.LastIndexByte(b[:i-1], '"'); q >= 0 && i-q <= 66 {
			s = q
		}
	}
	if e == i+1 && e < len(b) && b[e] == '[' { // an address literal
		if q := bytes.IndexByte(b[e:], ']'); q > 0 && q < 60 {
			e += q + 1
		}
	}
	return s, e
}

// spelt finds an address whose @ is the word "at" at token i, in brackets or with "dot"
// in the domain.
func (p *page) spelt(i int) {
	if i+2 >= len(p.tok) || p.tok[i-1].number && !p.tok[i-1].glued {
		return
	}
	l, r := string(bytes.Trim(p.gap(i), " ")), string(bytes.Trim(p.gap(i+1), " "))
	bracket := (l == "(" || l == "[" || l == "{") && (r == ")" || r == "]" || r == "}")
	dot := string(p.word(i+2)) == "dot" && i+3 < len(p.tok)
	if !bracket && !(l == "" && r == "" && dot) {
		return
	}
	s := left(p.fold.b, p.tok[i-1].e, "._-+")
	e := right(p.fold.b, p.tok[i+1].e, ".-")
	if dot {
		e = p.tok[i+3].e
	}
	p.emit(s, e, "F", "pattern: e-mail", Likely)
}

// handle finds the account name after the @ at b[i].
func (p *page) handle(i int) {
	b := p.fold.b
	e := right(b, i+1, "_.")
	for e > i+1 && b[e-1] == '.' {
		e--
	}
	if e-i < 4 || e-i > 40 || '0' <= b[i+1] && b[i+1] <= '9' || i > 0 && b[i-1] == '/' {
		return
	}
	if t := p.lex.words.look(b[i+1 : e]); t != nil && !t.cues.empty() {
		return // "@clinic"
	}
	p.emit(i, e, "R", "pattern: account name", Likely)
}

// colon finds the URL or the IPv6 address that has its first colon at b[i], and returns
// the index from which to search on.
func (p *page) colon(i int) int {
	if bytes.HasPrefix(p.fold.b[i:], []byte("://")) {
		return p.url(i)
	}
	return p.address6(i)
}

// url finds the URL whose scheme ends before b[i], and returns the index from which to
// search on.
func (p *page) url(i int) int {
	b, s := p.fold.b, i
	for s > 0 && i-s < 12 && is(b[s-1], "+-.") {
		s--
	}
	if s == i {
		return i
	}
	if e := p.urlEnd(i + 3); e > i+4 {
		p.emit(s, e, "N", "pattern: URL", Likely)
		return e - 1
	}
	return i
}

// address6 finds the IPv6 address around the colon at b[i] (RFC 4291, 2.2), and returns
// the index from which to search on.
func (p *page) address6(i int) int {
	b := p.fold.b
	part := func(c byte) bool { return '0' <= c && c <= '9' || 'a' <= c && c <= 'f' || c == ':' || c == '.' }
	s, e := i, i+1
	for s > 0 && part(b[s-1]) && b[s-1] != '.' {
		s--
	}
	for e < len(b) && part(b[e]) {
		e++
	}
	last := e
	for e > i && b[e-1] == '.' {
		e--
	}
	glued := s > 0 && is(b[s-1], "") || last < len(b) && is(b[last], "")
	if e-s >= 3 && e-s <= 45 && bytes.Count(b[s:e], []byte(":")) >= 2 && !glued {
		if a, err := netip.ParseAddr(string(b[s:e])); err == nil && a.Is6() && !a.IsUnspecified() {
			p.emit(s, e, "O", "pattern: IP address", Likely)
		}
	}
	return max(i, last-1)
}

// urlEnd returns the end of the URL that continues at b[e]. Punctuation at its end
// belongs to the sentence.
func (p *page) urlEnd(e int) int {
	b := p.fold.b
	for e < len(b) && b[e] > ' ' && strings.IndexByte("<>\"`{}|\\^", b[e]) < 0 {
		e++
	}
	for e > 0 && strings.IndexByte(".,;:!?)]'", b[e-1]) >= 0 {
		e--
	}
	return e
}

// mac finds six pairs of hexadecimal digits, separated by - or :, at b[s].
func (p *page) mac(s int) {
	b := p.fold.b
	if s+17 > len(b) || b[s+2] != '-' && b[s+2] != ':' || b[s+5] != b[s+2] {
		return
	}
	sep := b[s+2]
	for k, c := range b[s : s+17] {
		if k%3 == 2 {
			if c != sep {
				return
			}
		} else if !('0' <= c && c <= '9' || 'a' <= c && c <= 'f') {
			return
		}
	}
	if s > 0 && b[s-1] == sep || s+17 < len(b) && (b[s+17] == sep || is(b[s+17], "")) {
		return
	}
	p.emit(s, s+17, "M", "pattern: MAC address", Likely)
}

// topLevel holds the top-level domains that distinguish a host without www from an
// abbreviation.
var topLevel = wordSet("toplevel")

// host finds a host that begins with www and has token i as its second label, or
// another host with token i as its last label and a path after it. It returns the end
// of the URL, 0 if there is none.
func (p *page) host(i int) int {
	b := p.fold.b
	s, e := p.tok[i-1].s, p.tok[i].e
	if !bytes.Equal(p.word(i-1), []byte("www")) {
		if !topLevel()[string(p.word(i))] || e+1 >= len(b) || b[e] != '/' || b[e+1] <= ' ' || e-s < 5 {
			return 0
		}
		s = max(left(b, s, ".-"), s-253)
		for !utf8.RuneStart(b[s]) {
			s++
		}
	}
	e = p.urlEnd(e)
	if s == 0 || b[s-1] != '@' && b[s-1] != '/' {
		p.emit(s, e, "N", "pattern: URL", Likely)
	}
	return e
}

// address4 finds IPv4 addresses. After a word for software the same form is a version.
func (p *page) address4(i int) bool {
	if p.tok[i].glued || i > 0 && p.number(i-1) && string(p.gap(i)) == "." {
		return false
	}
	for k := i; k < i+4; k++ {
		if !p.number(k) || k > i && string(p.gap(k)) != "." || p.tok[k].size() > 3 {
			return false
		}
		if v, _ := p.num(k); v > 255 {
			return false
		}
	}
	if p.number(i+4) && string(p.gap(i+4)) == "." || p.before(i, 4).has(cueVersion) {
		return false
	}
	p.emit(p.tok[i].s, p.tok[i+3].e, "O", "pattern: IP address", Likely)
	return true
}
