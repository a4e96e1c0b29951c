package custody

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// A key signs and verifies as SignWith and Signed want it. A keyed hash is
// enough as a signature here, and quick; the scripts use a real one.
type key [32]byte

func newKey() key { return key{1} }

func (k key) sign(text []byte) ([]byte, error) {
	h := hmac.New(sha256.New, k[:])
	h.Write(text)
	return h.Sum(nil), nil
}

func (k key) verify(text, sig []byte) error {
	if want, _ := k.sign(text); !hmac.Equal(want, sig) {
		return ErrText
	}
	return nil
}

// signedJournal writes a journal of n entries, each signed.
func signedJournal(t testing.TB, n int) (path string, all [][]byte) {
	t.Helper()
	path = journalPath(t)
	j, err := readAt(path)
	if err != nil {
		t.Fatal(err)
	}
	j.SignWith(newKey().sign)
	for i := range n {
		if err := j.Append(sample(i)); err != nil {
			t.Fatal(err)
		}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return path, bytes.SplitAfter(bytes.TrimSuffix(data, nil), []byte("\n"))[:n]
}

// covered says how many entries hold, as a check of chain and signature finds.
func covered(path string) (entries, signed int, err error) {
	j, err := readAt(path)
	if err != nil {
		return 0, 0, err
	}
	signed, err = j.Signed(newKey().verify)
	return len(j.Entries), signed, err
}

// rechained writes lines anew from place i on: what somebody does who knows how
// the chain is made, and has no key.
func rechained(t testing.TB, all [][]byte, i int) [][]byte {
	t.Helper()
	j := newJournal("")
	var out [][]byte
	for n, line := range all {
		e, err := parse(line[:len(line)-1])
		if err != nil && n < i {
			t.Fatal(err)
		}
		e.Seq, e.Prev = n+1, j.last
		if n < i {
			j.keep(e, line)
			out = append(out, line)
			continue
		}
		again, err := format(&e)
		if err != nil {
			t.Fatal(err)
		}
		j.keep(e, again)
		out = append(out, again)
	}
	return out
}

// TestEverySignedChange makes every deletion, swap, edit and truncation of one
// line in a signed journal of 200 entries, each also with the rest of the chain
// made good again.
func TestEverySignedChange(t *testing.T) {
	path, all := signedJournal(t, 200)
	if n, signed, err := covered(path); n != 200 || signed != 200 || err != nil {
		t.Fatal(n, signed, err)
	}
	tried := 0
	found := func(what string, changed [][]byte) {
		t.Helper()
		tried++
		if err := os.WriteFile(path, bytes.Join(changed, nil), 0o600); err != nil {
			t.Fatal(err)
		}
		var broken *BrokenError
		var altered *AlteredError
		if n, signed, err := covered(path); !errors.As(err, &broken) && !errors.As(err, &altered) {
			t.Errorf("%s: %d entries, %d signed, %v", what, n, signed, err)
		}
	}
	for i := range all {
		gone := slices.Delete(slices.Clone(all), i, i+1)
		found(fmt.Sprintf("line %d removed", i+1), gone)
		found(fmt.Sprintf("line %d removed, chain made good", i+1), rechained(t, gone, i))

		k := (i + 1 + i%7) % len(all) // neighbours, and lines further apart
		swapped := slices.Clone(all)
		swapped[i], swapped[k] = swapped[k], swapped[i]
		found(fmt.Sprintf("lines %d and %d swapped", i+1, k+1), swapped)
		found(fmt.Sprintf("lines %d and %d swapped, chain made good", i+1, k+1), rechained(t, swapped, min(i, k)))

		edited := slices.Clone(all)
		edited[i] = bytes.Replace(all[i], []byte("coordinator"), []byte("coordinatos"), 1)
		found(fmt.Sprintf("line %d edited", i+1), edited)
		found(fmt.Sprintf("line %d edited, chain made good", i+1), rechained(t, edited, i))

		found(fmt.Sprintf("cut to %d lines", i), all[:i])
	}
	if tried != 7*200 {
		t.Errorf("only %d changes tried", tried)
	}
}

// TestAddedWithoutKey: what is put behind the signed entries is told apart, and
// the next entry with the key says how many there were.
func TestAddedWithoutKey(t *testing.T) {
	path, _ := signedJournal(t, 3)
	j, err := readAt(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 3; i < 5; i++ {
		if err := j.Append(sample(i)); err != nil {
			t.Fatal(err)
		}
	}
	if n, signed, err := covered(path); n != 5 || signed != 3 || err != nil {
		t.Error(n, signed, err)
	}
	if j, err = readAt(path); err != nil {
		t.Fatal(err)
	}
	if _, err := j.Signed(newKey().verify); err != nil {
		t.Fatal(err)
	}
	j.SignWith(newKey().sign)
	for i := 5; i < 7; i++ {
		if err := j.Append(sample(i)); err != nil {
			t.Fatal(err)
		}
	}
	if n, signed, err := covered(path); n != 7 || signed != 7 || err != nil {
		t.Error(n, signed, err)
	}
	if got := j.Entries[5].Facts[FactUnsigned]; got != "2" {
		t.Errorf("the next entry says %q", got)
	}
	if got, ok := j.Entries[6].Facts[FactUnsigned]; ok {
		t.Errorf("the one after says %q", got)
	}
}

func TestWithoutSignature(t *testing.T) {
	path, _ := signedJournal(t, 2)
	if err := os.Remove(path + ".sig"); err != nil {
		t.Fatal(err)
	}
	if _, _, err := covered(path); !errors.Is(err, ErrUnsigned) {
		t.Error(err)
	}
	if n, signed, err := covered(journalPath(t)); n != 0 || signed != 0 || err != nil {
		t.Error("an empty journal:", n, signed, err)
	}
	path, _ = signedJournal(t, 2)
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if _, _, err := covered(path); !errors.As(err, new(*AlteredError)) {
		t.Error("a signature without its journal:", err)
	}
	if err := os.WriteFile(path+".sig", bytes.Repeat([]byte("a"), maxSignature+1), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := covered(path); err == nil || !strings.Contains(err.Error(), "not a signature") {
		t.Error(err)
	}
}

func TestSigningFails(t *testing.T) {
	path, _ := signedJournal(t, 2)
	j, err := readAt(path)
	if err != nil {
		t.Fatal(err)
	}
	fault := errors.New("no key")
	j.SignWith(func([]byte) ([]byte, error) { return nil, fault })
	if err := j.Append(sample(2)); !errors.Is(err, fault) || len(j.Entries) != 3 {
		t.Error(err, len(j.Entries))
	}
	if n, signed, err := covered(path); n != 3 || signed != 2 || err != nil {
		t.Error(n, signed, err)
	}
	j.SignWith(newKey().sign)
	if err := j.Append(sample(3)); err != nil || j.Entries[3].Facts[FactUnsigned] != "1" {
		t.Error(err, j.Entries[3])
	}
	names, err := os.ReadDir(strings.TrimSuffix(path, "custody.jsonl"))
	if err != nil || len(names) != 2 {
		t.Error(names, err)
	}
}

// The note of what was unsigned adds to the facts of an entry, whether it has any or none.
func TestUnsignedNoteKeepsFacts(t *testing.T) {
	for _, facts := range []map[string]string{nil, {}, {"tubes": "12"}} {
		j := journalAt(journalPath(t))
		for i := range 2 {
			if err := j.Append(sample(i)); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := j.Signed(newKey().verify); !errors.Is(err, ErrUnsigned) {
			t.Fatal(err)
		}
		j.SignWith(newKey().sign)
		e := sample(2)
		e.Facts = facts
		if err := j.Append(e); err != nil {
			t.Fatal(err)
		}
		got := j.Entries[2].Facts
		if got[FactUnsigned] != "2" || len(got) != len(facts)+1 || got["tubes"] != facts["tubes"] {
			t.Errorf("%v became %v", facts, got)
		}
		if _, noted := facts[FactUnsigned]; noted {
			t.Error("the caller's map was changed")
		}
	}
}

// Whoever can write the journal must not keep the check busy: no more than 2^30 bytes are hashed in search of the
// text that a signature was made over. The longest 16,384 texts of this journal have that size together: the first
// has 81,919 bytes and each later one 2 less, which makes 65,536 on average.
func TestSignedIsBounded(t *testing.T) {
	const n, tries, bound = 40_000, 16_384, 1 << 30
	path := journalPath(t)
	if err := os.WriteFile(path+".sig", []byte("of another text"), 0o600); err != nil {
		t.Fatal(err)
	}
	j := journalAt(path)
	j.Entries = make([]Entry, n)
	j.text = slices.Concat(bytes.Repeat([]byte("a"), 1_919), bytes.Repeat([]byte("a\n"), n))
	hashed, calls := 0, 0
	_, err := j.Signed(func(text, _ []byte) error {
		hashed += len(text)
		calls++
		return ErrText
	})
	if !errors.As(err, new(*AlteredError)) || hashed != bound || calls != tries {
		t.Errorf("%d bytes in %d texts were hashed, %v", hashed, calls, err)
	}
}

// TestSignedAnyCut: cut at any byte, the journal never holds.
func TestSignedAnyCut(t *testing.T) {
	path, all := signedJournal(t, 5)
	data := bytes.Join(all, nil)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, len(data)-1).Draw(t, "bytes")
		if err := os.WriteFile(path, data[:n], 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, err := covered(path); err == nil {
			t.Fatalf("cut to %d bytes: not found", n)
		}
	})
}
