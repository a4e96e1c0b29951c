package deid

import (
	"bytes"
	"encoding/base32"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math/big"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"outbreath/keys"
	"outbreath/schema"

	"pgregory.net/rapid"
)

func testKey() *keys.PseudonymKey {
	var b [32]byte
	for i := range b {
		b[i] = byte(7 * i)
	}
	return keys.NewPseudonymKey(b)
}

// The pseudonym and the shift are made a second time by OpenSSL (HKDF by
// "openssl kdf", HMAC by "openssl mac") and by the arithmetic of math/big.
func TestPseudonymAgainstOpenSSL(t *testing.T) {
	ssl := tool(t, "openssl")
	run := func(stdin string, args ...string) []byte {
		t.Helper()
		cmd := exec.Command(ssl, args...)
		cmd.Stdin = strings.NewReader(stdin)
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("openssl %s: %v", args[0], err)
		}
		return out
	}
	var key [32]byte
	for i := range key {
		key[i] = byte(7 * i)
	}
	mac := func(purpose, canonical string) []byte {
		derived := run("", "kdf", "-keylen", "32", "-kdfopt", "digest:SHA256", "-kdfopt",
			"hexkey:"+hex.EncodeToString(key[:]),
			"-kdfopt", "hexinfo:"+hex.EncodeToString([]byte("outbreath/1/"+purpose+"/LARK-2")), "-binary", "HKDF")
		return run(canonical, "mac", "-digest", "SHA256", "-macopt", "hexkey:"+hex.EncodeToString(derived),
			"-binary", "HMAC")
	}
	p := NewPseudonymiser(keys.NewPseudonymKey(key), "LARK-2")
	for _, test := range []struct {
		purpose, id, canonical string
		make                   func(string) (string, error)
	}{
		{"subject", "S-0007", "s0007", p.Subject},
		{"subject", "\uff33 0008", "s0008", p.Subject},
		{"session", "LARK/2026-1", "lark20261", p.Session},
		{"operator", "Stra\u00dfe", "strasse", operatorOf(p)},
	} {
		sum := mac(test.purpose, test.canonical)
		if len(sum) != 32 {
			t.Fatalf("openssl gave %d bytes", len(sum))
		}
		got, err := test.make(test.id)
		if want := byHand(sum[:10]); err != nil || got != want {
			t.Errorf("%s: %s, %v, want %s", test.purpose, got, err, want)
		}
		if test.purpose == "subject" {
			days, err := p.ShiftDays(test.id)
			n := new(big.Int).SetBytes(mac("shift", test.canonical)[:8])
			if want := 1 + int(n.Mod(n, big.NewInt(364)).Int64()); err != nil || days != want {
				t.Errorf("shift: %d, %v, want %d", days, err, want)
			}
		}
	}
}

// byHand encodes 80 bits with big integers, and takes the check character from
// the formula of ISO/IEC 7064 written as one sum over powers of two.
func byHand(b []byte) string {
	const digits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ" // ULID specification
	n := new(big.Int).SetBytes(b)
	body := make([]byte, 16)
	for i := 15; i >= 0; i-- {
		var d big.Int
		n.DivMod(n, big.NewInt(32), &d)
		body[i] = digits[d.Int64()]
	}
	p := 36
	for _, c := range body {
		v := int(c - '0')
		if c >= 'A' {
			v = int(c-'A') + 10
		}
		s := (p + v) % 36
		if s == 0 {
			s = 36
		}
		p = 2 * s % 37
	}
	for c := 0; c < 36; c++ { // the character that makes the whole sum 1
		if (p+c)%36 == 1 {
			body = append(body, "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"[c])
			break
		}
	}
	s := string(body)
	return s[:4] + "-" + s[4:8] + "-" + s[8:12] + "-" + s[12:16] + "-" + s[16:]
}

func TestCheckCharacter(t *testing.T) {
	for body, want := range map[string]byte{
		"A12425GABC1234002": 'M', // python-stdnum documentation, stdnum.iso7064.mod_37_36
		"A1B":               '5', // worked by hand: P 36, S 10, P 20, S 21, P 5, S 16, P 32; (1-32) mod 36
		"SITE07A0042":       'X', // computed with python-stdnum's method
		"7Q4K9M":            '4',
	} {
		if got := keys.Check3736(body); got != want {
			t.Errorf("%s: %c, want %c", body, got, want)
		}
	}
}

// ISO/IEC 7064 promises that every single wrong character is found.
func TestCheckFindsEverySubstitution(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOfN(rapid.Byte(), 10, 10).Draw(t, "b")
		body := []byte(crockford.EncodeToString(b))
		check := keys.Check3736(string(body))
		i := rapid.IntRange(0, 15).Draw(t, "i")
		for _, c := range []byte(crockfordAlphabet) {
			changed := bytes.Clone(body)
			changed[i] = c
			if c != body[i] && keys.Check3736(string(changed)) == check {
				t.Fatalf("%s and %s have the same check character", body, changed)
			}
		}
	})
}

// The bits are packed as RFC 4648 packs them: its vectors (section 10,
// "fooba") hold once the alphabets are exchanged, and order is kept as in
// base32hex (section 7).
func TestCrockfordPacking(t *testing.T) {
	const rfc = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
	if crockfordAlphabet != "0123456789ABCDEFGHJKMNPQRSTVWXYZ" { // ULID specification
		t.Error("not Crockford's alphabet")
	}
	got := crockford.EncodeToString([]byte("foobafooba"))
	want := strings.Map(func(r rune) rune { return rune(crockfordAlphabet[strings.IndexRune(rfc, r)]) },
		"MZXW6YTBMZXW6YTB")
	if got != want {
		t.Errorf("%s, want %s", got, want)
	}
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOfN(rapid.Byte(), 10, 10).Draw(t, "b")
		std := base32.StdEncoding.EncodeToString(b)
		want := strings.Map(func(r rune) rune { return rune(crockfordAlphabet[strings.IndexRune(rfc, r)]) }, std)
		if got := crockford.EncodeToString(b); got != want {
			t.Fatalf("%s, want %s", got, want)
		}
	})
}

var pseudonymForm = regexp.MustCompile(`^([0-9A-HJKMNP-TV-Z]{4}-){4}[0-9A-Z]$`)

func TestPseudonymProperties(t *testing.T) {
	key := testKey()
	rapid.Check(t, func(t *rapid.T) {
		p := NewPseudonymiser(key, "LARK-2")
		id := rapid.StringMatching(`[A-Za-z]{1,3}[-/ _]?[0-9]{1,6}`).Draw(t, "id")
		subject, err := p.Subject(id)
		if err != nil || len(subject) != 21 || !pseudonymForm.MatchString(subject) {
			t.Fatalf("%q, %v", subject, err)
		}
		same, err := p.Subject(" " + strings.ToUpper(strings.ReplaceAll(id, "-", "/")) + ".")
		if err != nil || same != subject {
			t.Fatalf("another spelling gives %q, %v, not %q", same, err, subject)
		}
		session, err1 := p.Session(id)
		operator, err2 := p.Code("operator", id)
		elsewhere, err3 := NewPseudonymiser(key, "LARK-3").Subject(id)
		if err := errors.Join(err1, err2, err3); err != nil {
			t.Fatal(err)
		}
		if session == subject || operator == subject || session == operator || elsewhere == subject {
			t.Fatal("purposes or studies share a pseudonym")
		}
		days, err := p.ShiftDays(id)
		again, err2 := p.ShiftDays(strings.ToLower(id) + "-")
		if err != nil || err2 != nil || days < 1 || days > 364 || again != days {
			t.Fatalf("shift %d, %v and %d, %v", days, err, again, err2)
		}
		typed := strings.NewReplacer("0", "o", "1", "l").Replace(strings.ToLower(subject[:19])) + subject[19:]
		if parsed, err := ParsePseudonym(typed); err != nil || parsed != subject {
			t.Fatalf("ParsePseudonym(%q) = %q, %v", typed, parsed, err)
		}
	})
}

// The shift is spread over all of 1 to 364: a bias would help to undo it.
func TestShiftSpread(t *testing.T) {
	p := NewPseudonymiser(testKey(), "LARK-2")
	var count [365]int
	const n = 364 * 100
	for i := range n {
		var id [4]byte
		binary.BigEndian.PutUint32(id[:], uint32(i))
		days, err := p.ShiftDays(hex.EncodeToString(id[:]))
		if err != nil || days < 1 || days > 364 {
			t.Fatal(days, err)
		}
		count[days]++
	}
	chi := 0.0
	for _, c := range count[1:] {
		chi += float64((c-100)*(c-100)) / 100
	}
	if chi > 460 { // chi-squared with 363 degrees of freedom passes 460 once in 2,500 (from memory); the key is fixed
		t.Errorf("chi-squared is %.0f", chi)
	}
}

func operatorOf(p *Pseudonymiser) func(string) (string, error) {
	return func(id string) (string, error) { return p.Code("operator", id) }
}

func TestPseudonymRefuses(t *testing.T) {
	p := NewPseudonymiser(testKey(), "LARK-2")
	for id, want := range map[string]error{"": schema.ErrEmptyID, "- -": schema.ErrEmptyID,
		"S\u0378": schema.ErrUnassigned} {
		for _, f := range []func(string) (string, error){p.Subject, p.Session, operatorOf(p)} {
			if got, err := f(id); got != "" || !errors.Is(err, want) {
				t.Errorf("%+q: %q, %v", id, got, err)
			}
		}
		if _, err := p.ShiftDays(id); !errors.Is(err, want) {
			t.Errorf("shift of %+q: %v", id, err)
		}
	}
}

func TestCollision(t *testing.T) {
	p := NewPseudonymiser(testKey(), "LARK-2")
	p.mac = func(key [32]byte, id string) [32]byte { return key } // every identifier alike
	for _, id := range []string{"S-1", "s1", "S 1"} {
		if _, err := p.Subject(id); err != nil {
			t.Fatalf("one identifier, spelt %q: %v", id, err)
		}
	}
	if _, err := p.Session("S-2"); err != nil {
		t.Errorf("another purpose: %v", err)
	}
	got, err := p.Subject("S-2")
	var collision *CollisionError
	if got != "" || !errors.As(err, &collision) || collision.Purpose != keys.Subject {
		t.Fatalf("%q, %v", got, err)
	}
	if strings.Contains(err.Error(), "S-2") || strings.Contains(err.Error(), "s1") {
		t.Error("the message gives an identifier away")
	}
}

func TestParsePseudonymRefuses(t *testing.T) {
	p := NewPseudonymiser(testKey(), "LARK-2")
	good, err := p.Subject("S-1")
	if err != nil {
		t.Fatal(err)
	}
	if got, err := ParsePseudonym(strings.ReplaceAll(good, "-", " ")); err != nil || got != good {
		t.Fatal(got, err)
	}
	wrong := "0"
	if good[20:] == "0" {
		wrong = "1"
	}
	for _, text := range []string{"", "S-0007", good[:20], good + "0", good[:20] + wrong, "U" + good[1:],
		"\u00c9" + good[2:]} {
		if got, err := ParsePseudonym(text); err == nil || got != "" {
			t.Errorf("%q is accepted", text)
		} else if len(text) > 5 && strings.Contains(err.Error(), text) {
			t.Errorf("the message repeats the text")
		}
	}
}
