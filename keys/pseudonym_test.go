package keys

import (
	"bytes"
	"crypto/hkdf"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestHMAC checks HKDF's extraction, which is HMAC-SHA-256 with the salt as its
// key (RFC 5869 section 2.2), against the vectors of RFC 4231 section 4.
func TestHMAC(t *testing.T) {
	repeat := strings.Repeat
	for _, tt := range []struct{ name, key, data, want string }{
		{"4.2", repeat("0b", 20), hex.EncodeToString([]byte("Hi There")),
			"b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"},
		{"4.3", hex.EncodeToString([]byte("Jefe")), hex.EncodeToString([]byte("what do ya want for nothing?")),
			"5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"},
		{"4.4", repeat("aa", 20), repeat("dd", 50), "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"},
		{"4.5", "0102030405060708090a0b0c0d0e0f10111213141516171819", repeat("cd", 50),
			"82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"},
		{"4.6 (128 bits)", repeat("0c", 20), hex.EncodeToString([]byte("Test With Truncation")),
			"a3b6167473100ee06e0c796c2955552b"},
		{"4.7", repeat("aa", 131), hex.EncodeToString([]byte("Test Using Larger Than Block-Size Key - Hash Key First")),
			"60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"},
		{"4.8", repeat("aa", 131), hex.EncodeToString([]byte("This is a test using a larger than block-size key and " +
			"a larger than block-size data. The key needs to be hashed before being used by the HMAC algorithm.")),
			"9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"},
	} {
		got, err := hkdf.Extract(sha256.New, unhex(t, tt.data), unhex(t, tt.key))
		if err != nil {
			t.Fatal(err)
		}
		if want := unhex(t, tt.want); !bytes.Equal(got[:len(want)], want) {
			t.Errorf("RFC 4231 %s: %x", tt.name, got)
		}
	}
}

// TestHKDF checks hkdf.Key, which Derive uses, against RFC 5869 appendix A.
func TestHKDF(t *testing.T) {
	span := func(from, to int) []byte {
		var b []byte
		for i := from; i <= to; i++ {
			b = append(b, byte(i))
		}
		return b
	}
	for _, tt := range []struct {
		name            string
		ikm, salt, info []byte
		want            string
	}{
		{"A.1", bytes.Repeat([]byte{0x0b}, 22), span(0, 0x0c), span(0xf0, 0xf9),
			"3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865"},
		{"A.2", span(0, 0x4f), span(0x60, 0xaf), span(0xb0, 0xff),
			"b11e398dc80327a1c8e7f78c596a49344f012eda2d4efad8a050cc4c19afa97c59045a99cac7827271cb41c65e590e09da3275600c2f09b8367793a9aca3db71cc30c58179ec3e87c14c01d5c1f3434f1d87"},
		{"A.3", bytes.Repeat([]byte{0x0b}, 22), nil, nil,
			"8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d9d201395faa4b61a96c8"},
	} {
		want := unhex(t, tt.want)
		got, err := hkdf.Key(sha256.New, tt.ikm, tt.salt, string(tt.info), len(want))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("RFC 5869 %s: %x", tt.name, got)
		}
	}
}

var allPurposes = []Purpose{Subject, Session, Operator, ShiftDay, Finding, Label, State, Source, Look}

// TestDeriveOpenSSL recomputes derived keys with the openssl command.
func TestDeriveOpenSSL(t *testing.T) {
	needTool(t, "openssl")
	var b [32]byte
	for i := range b {
		b[i] = byte(i * 7)
	}
	k := NewPseudonymKey(b)
	seen := map[[32]byte]bool{}
	for _, study := range []string{"LARK-2", "LARK-3"} {
		for _, p := range allPurposes {
			got := k.Derive(p, study)
			out, err := run(t, "", nil, "openssl", "kdf", "-keylen", "32", "-kdfopt", "digest:SHA256",
				"-kdfopt", "hexkey:"+hex.EncodeToString(b[:]), "-kdfopt", "info:outbreath/1/"+string(p)+"/"+study,
				"HKDF")
			if err != nil {
				t.Fatal(err)
			}
			want := strings.ToLower(strings.ReplaceAll(strings.TrimSpace(string(out)), ":", ""))
			if hex.EncodeToString(got[:]) != want {
				t.Errorf("%s, %s: %x, openssl %s", p, study, got, want)
			}
			if seen[got] {
				t.Errorf("%s, %s: key derived twice", p, study)
			}
			seen[got] = true
		}
	}
}

// TestDeriveFixed needs no outside program: values computed by OpenSSL 3.0.19
// (openssl kdf ... HKDF, as above) for the key 00 07 0e ... d9.
func TestDeriveFixed(t *testing.T) {
	var b [32]byte
	for i := range b {
		b[i] = byte(i * 7)
	}
	for p, want := range derivedByOpenSSL {
		if got := NewPseudonymKey(b).Derive(p, "LARK-2"); hex.EncodeToString(got[:]) != want {
			t.Errorf("%s: %x", p, got)
		}
	}
}

func TestPseudonymKeyText(t *testing.T) {
	digits := "00ff" + strings.Repeat("3c", 30)
	good := "outbreath-pseudonym-key-1\n" + digits + "\n"
	k, ok := parsePseudonymKey([]byte(good))
	if !ok {
		t.Fatal("the contract's form is refused")
	}
	if fmt.Sprintf("%x", k.bytes()) != digits || string(formatPseudonymKey(k)) != good {
		t.Error("read or written wrongly")
	}
	bad := map[string]string{
		"upper case":         strings.ToUpper(digits),
		"header upper case":  strings.ToUpper(good[:25]) + good[25:],
		"no final line feed": good[:len(good)-1],
		"two line feeds":     good + "\n",
		"CRLF":               strings.ReplaceAll(good, "\n", "\r\n"),
		"byte-order mark":    "\xef\xbb\xbf" + good,
		"digit missing":      strings.Replace(good, "3c", "3", 1),
		"digit more":         strings.Replace(good, "3c", "3cc", 1),
		"no digit":           strings.Replace(good, "3c", "3g", 1),
		"upper-case digit":   strings.Replace(good, "3c", "3C", 1),
		"version 2":          strings.Replace(good, "key-1", "key-2", 1),
		"digits only":        digits + "\n",
	}
	for name, text := range bad {
		if _, ok := parsePseudonymKey([]byte(text)); ok {
			t.Errorf("%s: accepted", name)
		}
	}
	for n := range len(good) {
		if _, ok := parsePseudonymKey([]byte(good[:n])); ok {
			t.Errorf("cut after %d bytes: accepted", n)
		}
	}
}

var derivedByOpenSSL = map[Purpose]string{
	Subject:  "a586681c9a3a43d79a3ac617da6bf0c16cef31e0e59e2f842ee4bc22aa541623",
	Session:  "c5c8894bb4b823f18da0c654aaccc9b070d97212ff1884e9fcff71656004fd8e",
	Operator: "e7d91c4184f7af873a50da96ca0c06140cc3e463b1718d672e4d96140d9c83fd",
	ShiftDay: "1c5e1d000d166fef5d9755551a05907a6763a4f86a2e653e89a24538928883b6",
	Finding:  "4ce67c50ed438dec741c0f9ca1917b1eb2a8de67072eefb90dd9588b75ab59ef",
	Label:    "e6cb7fce03ac6617745ffb5ea6c39ed8235f9de32495f001ba70f030f4f130fb",
}
