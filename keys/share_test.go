package keys

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"filippo.io/age"
	"pgregory.net/rapid"
)

func named(list ...*Share) (out []NamedShare) {
	for _, s := range list {
		out = append(out, NamedShare{s.Name(), s})
	}
	return out
}

// TestThreeOfFive: all ten triples, and every larger set, join to the same key;
// no pair does.
func TestThreeOfFive(t *testing.T) {
	key := NewPseudonymKey([32]byte{0xff, 1, 2, 31: 9})
	shares, err := Split(key, 5, 3)
	if err != nil || len(shares) != 5 {
		t.Fatal(len(shares), err)
	}
	triples := 0
	for set := 1; set < 1<<5; set++ {
		var chosen []*Share
		for i, s := range shares {
			if set>>i&1 == 1 {
				chosen = append(chosen, s)
			}
		}
		got, err := Join(named(chosen...))
		if len(chosen) == 3 {
			triples++
		}
		if len(chosen) >= 3 {
			if err != nil || !got.equal(key) {
				t.Errorf("%v: %v", chosen, err)
			}
			continue
		}
		var missing *MissingSharesError
		if got != nil || !errors.As(err, &missing) || missing.Need-missing.Have != 3-len(chosen) {
			t.Errorf("%v: %v", chosen, err)
		}
	}
	if triples != 10 {
		t.Errorf("%d triples", triples)
	}
	if _, err := Join(named(shares[0], shares[0], shares[1])); !errors.As(err, new(*MissingSharesError)) {
		t.Errorf("the same share twice: %v", err)
	}
}

// TestAnyFlip: no bit of a share can be another one, be it plain, encrypted to a
// custodian's key or under a passphrase, and the share is named.
func TestAnyFlip(t *testing.T) {
	shares, err := Split(NewPseudonymKey([32]byte{7}), 5, 3)
	if err != nil {
		t.Fatal(err)
	}
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	ask := func() ([]byte, error) { return somePass, nil }
	seals := map[string]func(*Share) ([]byte, error){
		"plain":      func(s *Share) ([]byte, error) { return withSum(s.body()), nil },
		"to a key":   func(s *Share) ([]byte, error) { return s.SealTo(id.Recipient()) },
		"passphrase": func(s *Share) ([]byte, error) { return s.SealUnder(somePass) },
	}
	for how, seal := range seals {
		flipped := 0
		for _, s := range shares {
			data, err := seal(s)
			if err != nil {
				t.Fatal(err)
			}
			file := "box/" + s.Name() + ".age"
			for i := range data {
				for bit := range 8 {
					flipped++
					data[i] ^= 1 << bit
					if how == "plain" {
						if _, ok := parseShare(data); ok {
							t.Errorf("%s: bit %d of byte %d changed and not found", s.Name(), bit, i)
						}
					} else if _, err := OpenShare(file, data, ShareIDs{id}, ask); err == nil ||
						!errors.As(err, new(*Error)) || !strings.Contains(err.Error(), s.Name()) {
						t.Errorf("%s, %s: bit %d of byte %d: %v", s.Name(), how, bit, i, err)
					}
					data[i] ^= 1 << bit
				}
			}
			if how != "plain" {
				if again, err := OpenShare(file, data, ShareIDs{id}, ask); err != nil || again.Name() != s.Name() {
					t.Fatalf("%s, %s: as it was, it does not open: %v", s.Name(), how, err)
				}
			}
		}
		t.Logf("%s: %d bits", how, flipped)
		if flipped < 8000 {
			t.Errorf("%s: only %d bits were tried", how, flipped)
		}
	}
}

// TestWrongShare: a share whose checksum holds but whose value is another's is
// found by the commitments; so is one of another split, and it is blamed.
func TestWrongShare(t *testing.T) {
	key := NewPseudonymKey([32]byte{7})
	shares, _ := Split(key, 5, 3)
	other, _ := Split(key, 5, 3)
	body := bytes.Clone(shares[0].body())
	copy(body[shareHead:], shares[1].body()[shareHead:shareHead+scalarBytes])
	if _, ok := parseShare(withSum(body)); ok {
		t.Error("a share with another's value passes")
	}
	_, err := Join(named(shares[0], other[1], shares[2]))
	wantError(t, err, other[1].Name(), "not of the same split")
}

func TestSplitRefuses(t *testing.T) {
	for _, n := range [][2]int{{5, 1}, {2, 3}, {0, 0}, {33, 2}, {5, -1}} {
		_, err := Split(NewPseudonymKey([32]byte{1}), n[0], n[1])
		wantError(t, err, "at least 2")
	}
}

func TestShareForRecipient(t *testing.T) {
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	shares, _ := Split(NewPseudonymKey([32]byte{1}), 2, 2)
	sealed, err := shares[0].SealTo(id.Recipient())
	if err != nil {
		t.Fatal(err)
	}
	ids, err := ShareIdentities([]byte("# mine\n" + id.String() + "\n"))
	if err != nil {
		t.Fatal(err)
	}
	if s, err := OpenShare("a", sealed, ids, nil); err != nil || s.Name() != shares[0].Name() {
		t.Error(s, err)
	}
	_, err = OpenShare("a", sealed, nil, nil)
	wantError(t, err, string(LockedShare))
	stranger, _ := age.GenerateX25519Identity()
	_, err = OpenShare("a", sealed, []age.Identity{stranger}, nil)
	wantError(t, err, "another custodian's")
}

func TestSharesArePrintedWithoutValue(t *testing.T) {
	shares, _ := Split(NewPseudonymKey([32]byte{1}), 3, 2)
	value := shares[0].body()[shareHead : shareHead+scalarBytes]
	for _, text := range []string{fmt.Sprint(shares[0]), fmt.Sprintf("%+v", *shares[0]), fmt.Sprintf("%#v", shares[0]),
		fmt.Sprintf("%x", shares[0])} {
		if strings.Contains(text, fmt.Sprintf("%x", value[:4])) || !strings.Contains(text, "share-") {
			t.Errorf("%q", text)
		}
	}
}

// TestLetters: what is printed reads back, and a mistyped character is found in
// its line.
func TestLetters(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOfN(rapid.Byte(), 1, 700).Draw(t, "data")
		text := Letters(data)
		typed := strings.NewReplacer(" ", "").Replace(strings.ToLower(text))
		got, err := ParseLetters("sheet", []byte(typed))
		if err != nil || !bytes.Equal(got, data) {
			t.Fatal(err)
		}
		lines := strings.SplitAfter(text, "\n")
		lines = lines[:len(lines)-1]
		n := rapid.IntRange(0, len(lines)-1).Draw(t, "line")
		row := []byte(lines[n])
		at := rapid.IntRange(4, len(row)-4).Draw(t, "at")
		if row[at] == ' ' {
			return
		}
		was := row[at]
		row[at] = rapid.SampledFrom([]byte("0123456789ABCDEFGHJKMNPQRSTVWXYZ")).Draw(t, "mistyped")
		if row[at] == was {
			return
		}
		lines[n] = string(row)
		if _, err := ParseLetters("sheet", []byte(strings.Join(lines, ""))); err == nil ||
			!strings.Contains(err.Error(), "line "+lineNumber(n+1)) {
			t.Fatalf("line %d: %v", n+1, err)
		}
	})
}

// TestSharesOfVersion1: shares that the first version made, committed, join in
// every later one. The passphrase and the key are for this test alone.
func TestSharesOfVersion1(t *testing.T) {
	key := NewPseudonymKey([32]byte{0: 0x5a, 15: 0xc3, 31: 0x01})
	pass := []byte("dry reeds by the weir")
	dir := filepath.Join("testdata", "shares", "v1")
	files, err := filepath.Glob(filepath.Join(dir, "share-*"))
	if err != nil {
		t.Fatal(err)
	}
	if os.Getenv("MAKE_SHARES") != "" && len(files) == 0 {
		makeShares(t, key, pass, dir)
		files, _ = filepath.Glob(filepath.Join(dir, "share-*"))
	}
	if len(files) != 5 {
		t.Fatalf("%d shares in %s", len(files), dir)
	}
	var shares []NamedShare
	for _, file := range files {
		s, err := OpenShare(file, readFile(t, file), nil, func() ([]byte, error) { return pass, nil })
		if err != nil {
			t.Fatal(err)
		}
		shares = append(shares, NamedShare{file, s})
	}
	for a := range shares {
		for b := range a {
			for c := range b {
				if got, err := Join([]NamedShare{shares[a], shares[b], shares[c]}); err != nil || !got.equal(key) {
					t.Errorf("shares %d, %d, %d: %v", a, b, c, err)
				}
			}
		}
	}
}

// makeShares writes the committed shares: four files and one as letters.
func makeShares(t *testing.T, key *PseudonymKey, pass []byte, dir string) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	shares, err := Split(key, 5, 3)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range shares {
		data, err := s.SealUnder(pass)
		if err != nil {
			t.Fatal(err)
		}
		name := s.Name() + ".age"
		if i == 4 {
			name, data = s.Name()+".txt", []byte(Letters(data))
		}
		writeFile(t, filepath.Join(dir, name), data, 0o644)
	}
}

func FuzzParseLetters(f *testing.F) {
	f.Add([]byte(Letters([]byte("age-encryption.org/v1\n-> scrypt"))))
	f.Add([]byte("001 ABCD 0"))
	f.Fuzz(func(t *testing.T, data []byte) {
		out, err := ParseLetters("", data)
		if err != nil {
			return
		}
		if again, err := ParseLetters("", []byte(Letters(out))); err != nil || !bytes.Equal(again, out) {
			t.Fatal("what was read does not write and read back", err)
		}
	})
}
