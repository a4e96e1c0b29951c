package leak

import (
	"bytes"
	"encoding/binary"
	"slices"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// A folded text is a text without the differences of case, accents, compatibility forms
// and invisible characters. Spellings that look alike are equal when folded.
//
// Byte i of b comes from the bytes start[i] to end[i] of the original, which are one
// character with its combining marks. Both slices are nil if the original is ASCII;
// byte i then comes from byte i.
type folded struct {
	b          []byte
	start, end []int
	buf        [2][]int // memory of start and end, reused
}

// span returns the byte offsets in the original of b[s:e]; s < e.
func (f *folded) span(s, e int) (int, int) {
	if f.start == nil {
		return s, e
	}
	return f.start[s], f.end[e-1]
}

// fold folds text into f, and reuses f's memory.
func (f *folded) fold(text string) {
	f.b, f.start, f.end = append(slices.Grow(f.b[:0], len(text)+8), text...), nil, nil // see wordEnd
	if i := foldASCII(f.b); i < len(text) {
		f.b = f.b[:i]
		f.foldRest(text, i)
	}
}

// foldASCII folds b in place, eight bytes at a time, up to the first byte that is not
// ASCII, and returns the index of that byte.
func foldASCII(b []byte) int {
	const ones = 0x0101010101010101
	i := 0
	for ; i+8 <= len(b); i += 8 {
		x := binary.LittleEndian.Uint64(b[i:])
		if x&(0x80*ones) != 0 {
			break
		}
		// The high bit of each byte is set in the first sum if 'A' <= c, in the second if 'Z' < c.
		capital := (x + (0x80-'A')*ones) &^ (x + (0x80-'Z'-1)*ones) & (0x80 * ones)
		binary.LittleEndian.PutUint64(b[i:], x|capital>>2)
	}
	for ; i < len(b) && b[i] < utf8.RuneSelf; i++ {
		b[i] = lower[b[i]]
	}
	for k := 0; ; k++ {
		n := bytes.IndexByte(b[k:i], '`')
		if n < 0 {
			return i
		}
		k += n
		b[k] = '\''
	}
}

// foldRest folds text from i on, the index of the first character outside ASCII.
func (f *folded) foldRest(text string, i int) {
	n := len(text) + 8 // the folded text is seldom longer than the original
	f.start, f.end = slices.Grow(f.buf[0][:0], n), slices.Grow(f.buf[1][:0], n)
	defer func() { f.buf = [2][]int{f.start, f.end} }()
	for k := range i {
		f.start, f.end = append(f.start, k), append(f.end, k+1)
	}
	table := foldTable()
	for i < len(text) {
		if c := text[i]; c < utf8.RuneSelf {
			f.b = append(f.b, lower[c])
			f.start = append(f.start, i)
			i++
			f.end = append(f.end, i)
			continue
		}
		r, n := utf8.DecodeRuneInString(text[i:])
		var s string
		switch {
		case r == utf8.RuneError && n == 1:
			s = "\x1a" // invalid UTF-8 separates words
		case r < tableEnd:
			s = table[r]
		default:
			s = foldRune(r)
		}
		if s == "" { // invisible, or a combining mark of the character before
			if unicode.In(r, unicode.Mn, unicode.Me) {
				for k := len(f.end) - 1; k >= 0 && len(f.b) > 0 && f.start[k] == f.start[len(f.b)-1]; k-- {
					f.end[k] = i + n
				}
			}
			i += n
			continue
		}
		for k := range len(s) {
			f.b = append(f.b, s[k])
			f.start = append(f.start, i)
			f.end = append(f.end, i+n)
		}
		i += n
	}
}

// foldString returns s folded.
func foldString(s string) string {
	var f folded
	f.fold(s)
	return string(f.b)
}

var lower = func() (t [utf8.RuneSelf]byte) {
	for c := range t {
		t[c] = byte(unicode.ToLower(rune(c)))
	}
	t['`'] = '\''
	return t
}()

const tableEnd = 0x2100 // Latin, Greek, Cyrillic, Vietnamese, punctuation

var foldTable = sync.OnceValue(func() (t *[tableEnd]string) {
	t = new([tableEnd]string)
	for r := range t {
		t[r] = foldRune(rune(r))
	}
	return t
})

// foldRune returns r folded: its compatibility decomposition without marks and format
// characters, in lower case, with look-alikes of Latin letters replaced by these.
func foldRune(r rune) string {
	var out []byte
	for _, r := range norm.NFKD.String(string(r)) {
		if unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf) {
			continue
		}
		r = unicode.ToLower(r)
		if s, ok := extra[r]; ok {
			out = append(out, s...)
			continue
		}
		if unicode.In(r, unicode.Nd) {
			r = '0' + digitValue(r)
		}
		if unicode.In(r, unicode.Mn, unicode.Me) { // of a capital with a dot, say
			continue
		}
		out = utf8.AppendRune(out, r)
	}
	return string(out)
}

// digitValue returns the value of a decimal digit of any script.
func digitValue(r rune) rune {
	for _, t := range unicode.Nd.R16 {
		if rune(t.Lo) <= r && r <= rune(t.Hi) {
			return (r - rune(t.Lo)) % 10
		}
	}
	for _, t := range unicode.Nd.R32 {
		if rune(t.Lo) <= r && r <= rune(t.Hi) {
			return (r - rune(t.Lo)) % 10
		}
	}
	return 0
}

// extra holds the replacements that NFKD lacks: letters with a stroke and ligatures,
// punctuation with an ASCII equivalent, and Cyrillic and Greek letters that look like a
// Latin letter. The roster is folded in the same way: names in those scripts still
// match themselves.
var extra = map[rune]string{
	'ø': "o", 'ł': "l", 'đ': "d", 'ð': "d", 'þ': "th", 'æ': "ae",
	'œ': "oe", 'ß': "ss", 'ı': "i", 'ħ': "h", 'ŧ': "t", 'ŋ': "n",
	'ĸ': "k", 'ƒ': "f", 'ɨ': "i", 'ʉ': "u", 'ə': "e", 'ɐ': "a", 'ƶ': "z",
	'ƀ': "b", 'ɓ': "b", 'ɗ': "d", 'ŀ': "l", 'ɫ': "l", 'ɑ': "a", 'ɡ': "g",
	'‘': "'", '’': "'", '‚': "'", '‛': "'", 'ʼ': "'", 'ʹ': "'",
	'′': "'", '´': "'", '`': "'", 'ʻ': "'", 'ʿ': "'", 'ʾ': "'",
	'‐': "-", '‑': "-", '‒': "-", '–': "-", '—': "-", '―': "-", '−': "-", '­': "", '⁃': "-",
	'\u2028': "\n", '\u2029': "\n", '\u0085': "\n", '\u00a0': " ", 'ㅤ': "",
	'а': "a", 'в': "b", 'е': "e", 'ѕ': "s", 'і': "i", 'ј': "j", 'к': "k",
	'м': "m", 'н': "h", 'о': "o", 'р': "p", 'с': "c", 'т': "t",
	'у': "y", 'х': "x", 'һ': "h", 'ԁ': "d", 'ԛ': "q", 'ԝ': "w", 'ӏ': "l", 'ґ': "r", 'ь': "b",
	'α': "a", 'β': "b", 'ε': "e", 'ζ': "z", 'η': "h", 'ι': "i", 'κ': "k",
	'μ': "m", 'ν': "v", 'ο': "o", 'ρ': "p", 'τ': "t", 'υ': "y", 'χ': "x",
	'ς': "σ",
}
