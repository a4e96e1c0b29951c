package keys

import (
	"crypto/sha256"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
)

const today = "2026-11-25"

// TestSpokenWords: the words are those of BIP-39 for the first 132 bits, which is
// what its own test vectors show for 128 bits and 4 bits of checksum (trezor's
// vectors.json, named in bip-0039: entropy 7f7f... is "legal winner thank year
// wave sausage worth useful legal winner thank yellow").
func TestSpokenWords(t *testing.T) {
	for entropy, want := range map[byte]string{
		0x7f: "legal winner thank year wave sausage worth useful legal winner thank yellow",
		0x80: "letter advice cage absurd amount doctor acoustic avoid letter advice cage above",
		0x00: "abandon abandon abandon abandon abandon abandon abandon abandon abandon abandon abandon about",
		0xff: "zoo zoo zoo zoo zoo zoo zoo zoo zoo zoo zoo wrong",
	} {
		var sum [32]byte
		for i := range 16 {
			sum[i] = entropy
		}
		checksum := sha256.Sum256(sum[:16])
		sum[16] = checksum[0] // BIP-39: its first four bits follow
		if got := strings.Join(spoken(sum), " "); got != want {
			t.Errorf("%x: %s", entropy, got)
		}
	}
	seen := map[string]bool{}
	for _, w := range wordList {
		four := w[:min(4, len(w))]
		if seen[four] {
			t.Errorf("two words begin with %q", four)
		}
		seen[four] = true
	}
	if len(seen) != 2048 {
		t.Errorf("%d words", len(seen))
	}
}

func TestSameWord(t *testing.T) {
	for typed, same := range map[string]bool{"canyon": true, " CANYON ": true, "cany": true, "can": false,
		"candy": false, "": false, "canyons": false} {
		if SameWord(typed, "canyon") != same {
			t.Errorf("%q", typed)
		}
	}
	if SameWord("act", "action") || !SameWord("act", "act") {
		t.Error("a word of three letters")
	}
}

// The words of keys together can be made with stock tools.
func TestSpokenWordsByStockTools(t *testing.T) {
	needTool(t, "sha256sum")
	lab := create(t, NewOptions{Role: Lab, Name: "tern-lab"})
	own, _, err := lab.Public()
	if err != nil {
		t.Fatal(err)
	}
	lines := []string{own[0].Fingerprint, own[1].Fingerprint}
	slices.Sort(lines)
	out, err := run(t, "", []byte("outbreath-keys-1\n"+strings.Join(lines, "\n")+"\n"), "sha256sum")
	if err != nil {
		t.Fatal(err)
	}
	words := SpokenWords(own)
	hex := string(out[:33]) // 132 bits
	bits := ""
	for _, c := range hex {
		d := strings.IndexRune("0123456789abcdef", c)
		for k := 3; k >= 0; k-- {
			bits += string("01"[d>>k&1])
		}
	}
	for i, w := range words {
		n := 0
		for _, b := range bits[11*i : 11*i+11] {
			n = 2*n + int(b-'0')
		}
		if wordList[n] != w {
			t.Errorf("word %d is %s, by sha256sum %s", i+1, w, wordList[n])
		}
	}
}

func TestSuggestPassphrase(t *testing.T) {
	a, b := SuggestPassphrase(), SuggestPassphrase()
	if string(a) == string(b) || len(strings.Fields(string(a))) != 7 {
		t.Error("not two passphrases of seven words")
	}
	for _, w := range strings.Fields(string(a)) {
		if !slices.Contains(wordList, w) {
			t.Error("a word that is in no list")
		}
	}
}

// A key under a known name is refused, and replaces the old one only when told to.
func TestReplace(t *testing.T) {
	site := create(t, NewOptions{Role: Site, Name: "07"})
	old := create(t, NewOptions{Role: Lab, Name: "tern-lab"})
	anew := create(t, NewOptions{Role: Lab, Name: "tern-lab"})
	trust(t, site, readFile(t, old.path(publicFile)), "")
	before := readFile(t, site.path(recipientsFile))
	_, err := site.Trust(readFile(t, anew.path(publicFile)), TrustOptions{Day: today})
	if err == nil || !strings.Contains(err.Error(), "somebody put their own keys in between") ||
		err.(*Error).Fault != ChangedKey || err.(*Error).Name != "tern-lab" {
		t.Fatal(err)
	}
	if string(readFile(t, site.path(recipientsFile))) != string(before) {
		t.Fatal("refused, but written")
	}
	if _, err := site.Trust(readFile(t, anew.path(publicFile)), TrustOptions{Day: today, Replace: true,
		Compared: true}); err != nil {
		t.Fatal(err)
	}
	_, trusted, err := site.Public()
	if err != nil || len(trusted) != 2 {
		t.Fatal(trusted, err)
	}
	own, _, _ := anew.Public()
	for i := range own {
		if trusted[i].Fingerprint != own[i].Fingerprint || trusted[i].Compared != today ||
			trusted[i].Name != "tern-lab" {
			t.Errorf("%+v", trusted[i])
		}
	}
	for _, file := range []string{recipientsFile, allowedFile} {
		if text := string(readFile(t, site.path(file))); strings.Count(text, "# replaced "+today+": ") != 1 {
			t.Errorf("%s:\n%s", file, text)
		}
	}
	if got := SpokenWords(trusted); !slices.Equal(got, SpokenWords(own)) {
		t.Errorf("%v, the laboratory reads %v", got, SpokenWords(own))
	}
}

func TestUntrust(t *testing.T) {
	site := create(t, NewOptions{Role: Site, Name: "07"})
	for _, name := range []string{"tern-lab", "second-lab"} {
		trust(t, site, readFile(t, create(t, NewOptions{Role: Lab, Name: name}).path(publicFile)), "")
	}
	gone, err := site.Untrust("tern-lab", RevokeOptions{Day: today, By: "P. Officer", Reason: "stolen"})
	if err != nil || len(gone) != 2 {
		t.Fatal(gone, err)
	}
	_, left, err := site.Public()
	if err != nil || len(left) != 2 || left[0].Name != "second-lab" || left[1].Name != "second-lab" {
		t.Fatal(left, err)
	}
	if _, err := site.Untrust("tern-lab", RevokeOptions{Day: today, By: "P. Officer", Reason: "stolen"}); err == nil {
		t.Error("taken out twice")
	}
}

func TestRecipientsByName(t *testing.T) {
	site := create(t, NewOptions{Role: Site, Name: "07"})
	for name, expires := range map[string]string{"tern-lab": "", "officer": "2026-11-24", "second-lab": today} {
		data := readFile(t, create(t, NewOptions{Role: Lab, Name: name}).path(publicFile))
		if _, err := site.Trust(data, TrustOptions{Day: "2026-01-01", Expires: expires}); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		names []string
		n     int
		want  string // in the error
	}{
		{[]string{"tern-lab"}, 1, ""},
		{[]string{"tern-lab", "second-lab"}, 2, ""},
		{[]string{"officer"}, 0, "officer expired on 2026-11-24"},
		{nil, 0, "officer expired on 2026-11-24"},
		{[]string{"tern-lab", "nobody"}, 0, "nobody is named as a recipient in study.json"},
	} {
		got, known, err := site.Recipients(tt.names, today)
		if tt.want == "" && (err != nil || len(got) != tt.n || len(known) != tt.n) || tt.want != "" &&
			(err == nil || !strings.Contains(err.Error(), tt.want)) {
			t.Errorf("%v: %d, %v", tt.names, len(got), err)
		}
	}
}

// A day that is no date would let an expired key through, or leave a line in revoked.txt that nobody can read
// again, so that the folder opens no more.
func TestTodayIsADate(t *testing.T) {
	site := create(t, NewOptions{Role: Site, Name: "07"})
	data := readFile(t, create(t, NewOptions{Role: Lab, Name: "tern-lab"}).path(publicFile))
	if _, err := site.Trust(data, TrustOptions{Day: "2026-01-01", Expires: "2026-11-24"}); err != nil {
		t.Fatal(err)
	}
	more := readFile(t, create(t, NewOptions{Role: Lab, Name: "second-lab"}).path(publicFile))
	whole := func() string {
		var all strings.Builder
		for _, name := range listing(t, site.Dir()) {
			all.WriteString(name + "\n" + string(readFile(t, site.path(name))))
		}
		return all.String()
	}
	before := whole()
	for _, day := range []string{"", "today", "2026-1-1", "2026-02-30", "2026-11-25T00:00:00Z", "2026-11-25\n"} {
		_, _, err := site.Recipients(nil, day)
		_, err1 := site.Trust(more, TrustOptions{Day: day})
		_, err2 := site.Offered(more, TrustOptions{Day: day})
		_, err3 := site.Untrust("tern-lab", RevokeOptions{Day: day, By: "P. Officer"})
		for what, err := range map[string]error{"Recipients": err, "Trust": err1, "Offered": err2, "Untrust": err3} {
			if e, ok := errors.AsType[*Error](err); !ok || e.Fault != BadDay {
				t.Errorf("%s, %q: %v", what, day, err)
			}
		}
	}
	if whole() != before {
		t.Error("the folder was changed")
	}
}

func TestContactsRefuses(t *testing.T) {
	site := create(t, NewOptions{Role: Site, Name: "07"})
	good := "SHA256:" + strings.Repeat("A", 43) + " lab 2026-11-25 - -\n"
	for name, text := range map[string]string{
		"four words": good[:len(good)-3], "no fingerprint": "lab" + good, "a short one": strings.Replace(good, "AAAA",
			"AA", 1),
		"no name": strings.Replace(good, " lab ", " l/b ", 1), "no date": strings.Replace(good, "11-25", "13-25", 1),
		"too many": strings.Repeat(good, maxContacts+1),
	} {
		if err := os.WriteFile(site.path(contactsFile), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, _, err := site.Public(); !errors.As(err, new(*Error)) || !strings.Contains(err.Error(), "contacts.txt") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := os.WriteFile(site.path(contactsFile), []byte(good), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, _, err := site.Public(); err != nil {
		t.Error(err)
	}
}

// FuzzContacts: what is read is written and read again as the same.
func FuzzContacts(f *testing.F) {
	f.Add([]byte("# x\nSHA256:" + strings.Repeat("A", 43) + " lab 2026-11-25 - 2027-01-01\r\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		list, err := parseContacts("", data)
		if err != nil {
			return
		}
		var b strings.Builder
		for _, c := range list {
			b.WriteString(c.format() + "\n")
		}
		again, err := parseContacts("", []byte(b.String()))
		if err != nil || !slices.Equal(again, list) {
			t.Errorf("%v\n%v\n%v", list, again, err)
		}
	})
}

// FuzzParseRevoked: no panic; what is read is a key that is revoked still.
func FuzzParseRevoked(f *testing.F) {
	r := Revocation{Fingerprint: "SHA256:AAAA", Name: "tern-lab", Day: "2026-11-25", By: "P. Officer", Reason: "stolen"}
	again := r
	again.again = true
	f.Add([]byte(revokedIntro + r.format() + "\n"))
	f.Add([]byte(r.format() + "\n" + again.format() + "\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		list, err := parseRevoked("revoked.txt", data)
		for fingerprint, r := range list {
			if err != nil || r.again || r.Fingerprint != fingerprint || r.By == "" ||
				!strings.HasPrefix(fingerprint, "SHA256:") {
				t.Errorf("%v, %v", r, err)
			}
		}
	})
}
