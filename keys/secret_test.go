package keys

import (
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
)

// shows reports whether text holds the first eight bytes of secret in a form that
// fmt or JSON might give them.
func shows(text string, secret []byte) bool {
	b := secret[:8]
	lower := strings.ToLower(text)
	var decimal, goHex []string
	for _, c := range b {
		decimal = append(decimal, fmt.Sprint(c))
		goHex = append(goHex, fmt.Sprintf("0x%x", c))
	}
	return strings.Contains(text, string(b)) ||
		strings.Contains(lower, hex.EncodeToString(b)) ||
		strings.Contains(text, base64.StdEncoding.EncodeToString(secret)[:10]) ||
		strings.Contains(text, strings.Join(decimal, " ")) ||
		strings.Contains(text, strings.Join(decimal, ",")) ||
		strings.Contains(lower, strings.Join(goHex, ", "))
}

// printings shows v in every way that a log line or a message might.
func printings(v any) map[string]string {
	out := map[string]string{}
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%X", "%d"} {
		out[verb] = fmt.Sprintf(verb, v)
		out["nested "+verb] = fmt.Sprintf(verb, struct{ inner any }{v})
		out["slice "+verb] = fmt.Sprintf(verb, []any{v})
	}
	j, err := json.Marshal(map[string]any{"v": v})
	out["json"] = fmt.Sprint(string(j), err)
	var log strings.Builder
	slog.New(slog.NewTextHandler(&log, nil)).Info("x", "v", v)
	slog.New(slog.NewJSONHandler(&log, nil)).Info("x", "v", v)
	out["slog"] = log.String()
	return out
}

func TestNothingSecretIsPrinted(t *testing.T) {
	pass := []byte("correct tube barcode")
	site := create(t, NewOptions{Role: Site, Name: "07", Passphrase: pass})
	key, err := site.PseudonymKey()
	if err != nil {
		t.Fatal(err)
	}
	raw := key.bytes()
	plain := create(t, NewOptions{Role: Site, Name: "07"})
	sshKey, err := ssh.ParseRawPrivateKey(readFile(t, plain.path(signingFile)))
	if err != nil {
		t.Fatal(err)
	}
	signer := signerOf(t, plain)
	type embedded struct{ Key PseudonymKey }

	type secretCase struct {
		name   string
		v      any
		secret []byte
	}
	tests := []secretCase{
		{"folder", site, pass},
		{"folder value", *site, pass},
		{"options", NewOptions{Role: Site, Passphrase: pass}, pass},
		{"pseudonym key", key, raw[:]},
		{"pseudonym key value", *key, raw[:]},
		{"pseudonym key in a struct", embedded{*key}, raw[:]},
		{"pseudonym key in an unexported field", struct{ k PseudonymKey }{*key}, raw[:]},
		{"signer", signer, rawEd25519(t, sshKey)},
		{"signer pointer", &signer, rawEd25519(t, sshKey)},
	}
	for _, classic := range []bool{false, true} {
		lab := create(t, NewOptions{Role: Lab, Classic: classic})
		ids, err := lab.Identities()
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(readFile(t, lab.path(identityPlain)))), "\n")
		secret := []byte(strings.TrimPrefix(strings.TrimPrefix(lines[len(lines)-1], "AGE-SECRET-KEY-PQ-1"),
			"AGE-SECRET-KEY-1"))
		tests = append(tests, secretCase{"identities", ids, secret}, secretCase{"identity", ids[0], secret})
	}
	for _, tt := range tests {
		for how, text := range printings(tt.v) {
			if _, options := tt.v.(NewOptions); options && strings.HasPrefix(how, "nested") {
				continue // its fields are exported: whoever hides it in another struct holds it
			}
			if shows(text, tt.secret) {
				t.Errorf("%s: %s shows the secret", tt.name, how)
			}
		}
	}

	// The search itself must find what is there.
	for how, text := range printings(raw[:]) {
		if !shows(text, raw[:]) && !strings.HasSuffix(how, "%q") && !strings.HasSuffix(how, "%s") && how != "slog" {
			t.Errorf("control: %s of the bare bytes is not recognised: %s", how, text)
		}
	}
}

func TestPlaceholders(t *testing.T) {
	k := NewPseudonymKey([32]byte{1})
	for _, s := range []string{k.String(), k.GoString(), fmt.Sprint(k), fmt.Sprintf("%#v", k), fmt.Sprintf("%x", *k)} {
		if s != "(pseudonym key)" {
			t.Errorf("prints %q", s)
		}
	}
}
