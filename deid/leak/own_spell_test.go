package leak_test

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"strings"
	"unicode"
	"unicode/utf16"
)

// The ways in which a name or a number is written by people and machines; each is this sample's
// own, none is taken from the engine.

var (
	dropMarks = strings.NewReplacer("ä", "a", "ö", "o", "ü", "u", "Ä", "A", "Ö", "O", "Ü", "U", "ß", "ss", "é", "e",
		"è", "e", "ê", "e", "â", "a", "ç", "c",
		"î", "i", "ô", "o", "å", "a", "Å", "A", "í", "i", "Í", "I", "ñ", "n", "á", "a", "Á", "A", "ó", "o", "ò", "o",
		"ã", "a", "õ", "o", "ł", "l", "Ł", "L",
		"ś", "s", "ż", "z", "Ż", "Z", "ą", "a", "ę", "e", "ń", "n", "ć", "c", "ø", "o", "Ø", "O", "æ", "ae", "Æ", "Ae",
		"ř", "r", "š", "s", "Š", "S",
		"ž", "z", "ě", "e", "ů", "u", "ý", "y", "č", "c", "ň", "n", "Ó", "O", "É", "E")
	germanise = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "Ä", "Ae", "Ö", "Oe", "Ü", "Ue", "ß", "ss", "å",
		"aa", "Å", "Aa", "ø", "oe", "Ø", "Oe", "æ", "ae", "Æ", "Ae")
	// Cyrillic, UTS #39 confusables
	lookalike = strings.NewReplacer("a", "а", "e", "е", "o", "о", "c", "с", "p", "р", "x", "х")
	nicknames = map[string]string{"William": "Bill", "Elizabeth": "Liz", "Margaret": "Peggy", "Robert": "Bob",
		"Katherine": "Kate", "Thomas": "Tom",
		"Jennifer": "Jenny", "Michael": "Mike", "Patricia": "Pat", "Andrew": "Andy", "Edward": "Ted",
		"Giuseppe": "Beppe", "Wolfgang": "Wolfi",
		"Alessandro": "Sandro", "Małgorzata": "Gosia", "José": "Pepe", "Concepción": "Concha", "Pieter": "Piet",
		"Agnieszka": "Aga"}
)

func plain(s string) string { return dropMarks.Replace(s) }

func wide(s string) string {
	return strings.Map(func(c rune) rune {
		if c > ' ' && c < 0x7f {
			return c + 0xfee0
		}
		return c
	}, s)
}

// typo makes one edit inside the longest token: a swap, a loss, a doubling or another letter, never
// of the first letter.
func typo(r *rand.Rand, s string) string {
	c := []rune(s)
	i := 2 + r.IntN(len(c)-3)
	switch r.IntN(4) {
	case 0:
		if c[i] != c[i-1] {
			c[i], c[i-1] = c[i-1], c[i]
			return string(c)
		}
		fallthrough
	case 1:
		return string(c[:i]) + string(c[i+1:])
	case 2:
		return string(c[:i]) + string(c[i]) + string(c[i:])
	}
	if c[i] == 'k' {
		return string(c[:i]) + "t" + string(c[i+1:])
	}
	return string(c[:i]) + "k" + string(c[i+1:])
}

func initials(p person) string { return string([]rune(p.given)[:1]) + ". " + p.family }

func onlyDigits(s string) string {
	return strings.Map(func(c rune) rune {
		if c >= '0' && c <= '9' {
			return c
		}
		return -1
	}, s)
}

// national is a phone number without its country prefix, with the trunk zero.
func national(p person) string {
	_, rest, _ := strings.Cut(p.phone, " ")
	if p.lang == "es" || p.lang == "it" || p.lang == "pt" || p.lang == "pl" || p.lang == "da" || p.lang == "cs" ||
		p.lang == "el" {
		return rest
	}
	return "0" + rest
}

// regroup writes the digits of s in groups of n with sep between.
func regroup(s, sep string, n int) string {
	d, out := onlyDigits(s), ""
	for i := range d {
		if i > 0 && i%n == 0 {
			out += sep
		}
		out += d[i : i+1]
	}
	return out
}

func qp(s string) string {
	var b strings.Builder
	for _, c := range []byte(s) {
		if c > 0x7e || c == '=' {
			fmt.Fprintf(&b, "=%02X", c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}

func percent(s string) string {
	var b strings.Builder
	for _, c := range []byte(s) {
		if c > 0x7e || c <= ' ' || c == '@' {
			fmt.Fprintf(&b, "%%%02X", c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}

func spacedHex(s string) string {
	out := make([]string, len(s))
	for i := range len(s) {
		out[i] = fmt.Sprintf("%02x", s[i])
	}
	return strings.Join(out, " ")
}

func utf16LE(s string) string {
	var b strings.Builder
	for _, u := range utf16.Encode([]rune(s)) {
		b.WriteByte(byte(u))
		b.WriteByte(byte(u >> 8))
	}
	return b.String()
}

func uEscapes(s string) string {
	var b strings.Builder
	for _, u := range utf16.Encode([]rune(s)) {
		fmt.Fprintf(&b, `\u%04x`, u)
	}
	return b.String()
}

func digests(r *rand.Rand, s string) string {
	m, h1, h2 := md5.Sum([]byte(s)), sha1.Sum([]byte(s)), sha256.Sum256([]byte(s))
	sum := [][]byte{m[:], h1[:], h2[:]}[r.IntN(3)]
	if r.IntN(3) == 0 {
		return base64.StdEncoding.EncodeToString(sum)
	}
	return hex.EncodeToString(sum)
}

// birth writes a birth date in one of the forms people use.
func birth(r *rand.Rand, p person, months string) string {
	d, m, y := p.born.Day(), int(p.born.Month()), p.born.Year()
	month := strings.Fields(months)[m-1]
	switch r.IntN(9) {
	case 0:
		return p.born.Format("2006-01-02")
	case 1:
		return p.born.Format("02.01.2006")
	case 2:
		return fmt.Sprintf("%d/%d/%d", d, m, y)
	case 3:
		return p.born.Format("02.01.06")
	case 4:
		return p.born.Format("20060102")
	case 5:
		return fmt.Sprintf("%d. %s %d", d, month, y)
	case 6:
		return p.born.Format("02-Jan-2006")
	case 7:
		return p.born.Format("02 01 2006")
	}
	return fmt.Sprintf("%d %s %d", d, month, y)
}

func swapCase(s string) string {
	if len(s)%2 == 0 {
		return strings.ToUpper(s)
	}
	return strings.ToLower(s)
}

func hasMarks(s string) bool { return plain(s) != s }

func latin(s string) bool {
	for _, c := range s {
		if unicode.IsLetter(c) && !unicode.Is(unicode.Latin, c) {
			return false
		}
	}
	return true
}
