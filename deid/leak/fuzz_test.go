package leak

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"html"
	"net/url"
	"strings"
	"testing"
	"unicode/utf8"
)

// folds seed the targets below.
var folds = []string{"", "Anne-\nSophie Gr\u00fcnwald", "Gru\u0308nwald \uff11\uff12 A\u200bB",
	"\xff\u0301\u0130\u212a\ufb01", "\u0430\u0435 \u3164\u00ad`\u2028x", "A\u0300\u0301\u20ddB"}

// Folding knows where every byte comes from, and folding twice changes nothing.
func FuzzFold(f *testing.F) {
	for _, s := range folds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var a folded
		a.fold(text)
		for i := range a.b {
			s, e := a.span(i, i+1)
			if s < 0 || s >= e || e > len(text) {
				t.Fatalf("byte %d of %q comes from %d to %d", i, a.b, s, e)
			}
			if utf8.ValidString(text) && (!utf8.RuneStart(text[s]) || e < len(text) && !utf8.RuneStart(text[e])) {
				t.Fatalf("byte %d of %q comes from the middle of a character", i, a.b)
			}
			if i > 0 {
				if before, _ := a.span(i-1, i); before > s {
					t.Fatalf("bytes %d and %d of %q come in another order", i-1, i, a.b)
				}
			}
		}
		if again := foldString(string(a.b)); again != string(a.b) && utf8.ValidString(text) {
			t.Fatalf("%q folds to %q, and that to %q", text, a.b, again)
		}
	})
}

// A stretch of the folded text is what its stretch of the original folds to.
func FuzzSpan(f *testing.F) {
	for i, s := range folds {
		f.Add(s, i, 3)
	}
	f.Fuzz(func(t *testing.T, text string, from, n int) {
		var a folded
		a.fold(text)
		if len(a.b) == 0 || from < 0 || n < 1 {
			return
		}
		s := from % len(a.b)
		e := s + 1 + n%(len(a.b)-s)
		if e > len(a.b) {
			return
		}
		// As far as whole characters go.
		same := func(i, j int) bool {
			p, _ := a.span(i, i+1)
			q, _ := a.span(j, j+1)
			return p == q
		}
		for s > 0 && same(s-1, s) {
			s--
		}
		for e < len(a.b) && same(e-1, e) {
			e++
		}
		start, end := a.span(s, e)
		if got := foldString(text[start:end]); got != string(a.b[s:e]) {
			t.Fatalf("%q folds to %q, where the whole has %q", text[start:end], got, a.b[s:e])
		}
	})
}

// Every escape is read as the standard library reads it.
func FuzzEscapes(f *testing.F) {
	for _, s := range []string{"%41%c3%bc", "=C3=BC=\r\n", "=\n", `\u00fc\x41`, "&#252;&uuml;&amp;", "%", "&;", "=4"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		checkMatches(t, text, scan().Scan(text, nil))
		for i := range len(text) {
			for _, e := range escapes {
				if text[i] != e.sign {
					continue
				}
				got, n := e.read(text[i:])
				if n < 0 || i+n > len(text) || n == 0 && got != "" {
					t.Fatalf("%q, %q: %d bytes", e.name, text[i:], n)
				}
				raw := text[i : i+n]
				switch {
				case n == 0:
				case e.sign == '%':
					if want, err := url.PathUnescape(raw); err != nil || want != got {
						t.Fatalf("%q is %q, want %q", raw, got, want)
					}
				case e.sign == '&':
					if want := html.UnescapeString(raw); want != got {
						t.Fatalf("%q is %q, want %q", raw, got, want)
					}
				case e.sign == '=' && n == 3 && got != "":
					if want, err := hex.DecodeString(raw[1:]); err != nil || string(want) != got {
						t.Fatalf("%q is %q, want %q", raw, got, want)
					}
				}
			}
		}
	})
}

// A roster's number within any other text is found in hexadecimal digits.
func FuzzHex(f *testing.F) {
	f.Add("see ", " there", "x", false)
	f.Add("", "", "", true)
	f.Fuzz(func(t *testing.T, before, after, beside string, upper bool) {
		checkMatches(t, before, scan().Scan(before, nil))
		run := []byte(hex.EncodeToString([]byte(before)))
		plain := make([]byte, len(run)/2)
		if hexText(plain, run) && !bytes.Equal(plain, []byte(before)) {
			t.Fatalf("%q decodes to %q", before, plain)
		}
		planted(t, before, after, beside, func(v string) string {
			if h := hex.EncodeToString([]byte(v)); upper {
				return strings.ToUpper(h)
			} else {
				return h
			}
		})
	})
}

// The same in base64.
func FuzzBase64(f *testing.F) {
	f.Add("see ", " there", "x", false)
	f.Add("", "=", "a b", true)
	f.Fuzz(func(t *testing.T, before, after, beside string, urlSafe bool) {
		checkMatches(t, before, scan().Scan(before, nil))
		planted(t, before, after, beside, func(v string) string {
			if urlSafe {
				return base64.URLEncoding.EncodeToString([]byte(v))
			}
			return base64.StdEncoding.EncodeToString([]byte(v))
		})
	})
}

// planted fails unless an encoded number of the roster is found between two
// texts that blanks keep apart from it.
func planted(t *testing.T, before, after, beside string, encode func(string) string) {
	if !printable([]byte(beside)) || len(beside) > 100 || strings.ContainsAny(beside, "0123456789") {
		beside = "id"
	}
	hidden := encode(beside + " 30417788 ok")
	text := before + " \n" + hidden + "\n " + after
	ms := scan().Scan(text, nil)
	checkMatches(t, text, ms)
	at := len(before) + 2
	for _, m := range ms {
		if m.Start <= at && m.End >= at+len(hidden) || m.Start < at+len(hidden) && m.End > at {
			return
		}
	}
	t.Fatalf("not found in %q", text)
}
