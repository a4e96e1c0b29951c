package keys

import (
	"bytes"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
)

func remember(text string) func([]byte) ([]byte, error) {
	return func([]byte) ([]byte, error) { return []byte(text), nil }
}

// TestState: what was kept is read again, under every later generation of the key,
// and one byte of another, another study's file or another key's is refused.
func TestState(t *testing.T) {
	f := create(t, NewOptions{Role: Site, Name: "WEIR"})
	if got, err := f.State("LARK-2"); got != nil || err != nil {
		t.Fatalf("nothing yet: %q, %v", got, err)
	}
	const text = "one\ntwo\n"
	if err := f.ChangeState("LARK-2", remember(text)); err != nil {
		t.Fatal(err)
	}
	first := readFile(t, f.path("state-LARK-2"))
	for range 3 {
		if got, err := f.State("LARK-2"); err != nil || string(got) != text {
			t.Fatalf("%q, %v", got, err)
		}
		if err := f.Rotate(); err != nil {
			t.Fatal(err)
		}
	}
	last := readFile(t, f.path("state-LARK-2"))
	if bytes.Equal(first, last) {
		t.Error("rotation did not write the state under the new key")
	}
	refused := func(what, study string) {
		t.Helper()
		if got, err := f.State(study); got != nil || !errors.Is(err, ErrState) {
			t.Errorf("%s: %q, %v", what, got, err)
		}
		if err := f.ChangeState(study, remember("x")); !errors.Is(err, ErrState) {
			t.Errorf("%s: changed: %v", what, err)
		}
		if err := f.Rotate(); !errors.Is(err, ErrState) {
			t.Errorf("%s: rotated: %v", what, err)
		}
	}
	for i := range last {
		changed := bytes.Clone(last)
		changed[i] ^= 1
		writeFile(t, f.path("state-LARK-2"), changed, 0o600)
		refused(fmt.Sprint("byte ", i), "LARK-2")
	}
	for n := range last {
		writeFile(t, f.path("state-LARK-2"), last[:n], 0o600)
		refused(fmt.Sprint("cut to ", n), "LARK-2")
	}
	writeFile(t, f.path("state-LARK-2"), first, 0o600) // of an earlier generation: as after a rotation that was cut off
	if got, err := f.State("LARK-2"); err != nil || string(got) != text {
		t.Errorf("of an earlier generation: %q, %v", got, err)
	}
	writeFile(t, f.path("state-WREN-1"), last, 0o600)
	refused("another study's", "WREN-1")
	moved, err := f.SetStateAside("WREN-1")
	if err != nil || !bytes.Equal(readFile(t, f.path(moved)), last) {
		t.Errorf("set aside as %q: %v", moved, err)
	}
	if got, err := f.State("WREN-1"); got != nil || err != nil {
		t.Errorf("set aside: %q, %v", got, err)
	}
	if err := f.ChangeState("../x", remember("x")); err == nil {
		t.Error("a study's code that is a path was taken")
	}
}

// TestStateMAC computes the checksum as the contract says: HMAC-SHA256 (RFC 2104)
// under HKDF-SHA256 (RFC 5869) of the pseudonym key without salt, info
// "outbreath/1/state/" and the study.
func TestStateMAC(t *testing.T) {
	f := create(t, NewOptions{Role: Site, Name: "WEIR"})
	if err := f.ChangeState("LARK-2", remember("text\n")); err != nil {
		t.Fatal(err)
	}
	k, err := f.PseudonymKey()
	if err != nil {
		t.Fatal(err)
	}
	secret := k.bytes()
	key, err := hkdf.Key(sha256.New, secret[:], nil, "outbreath/1/state/LARK-2", 32)
	if err != nil {
		t.Fatal(err)
	}
	h := hmac.New(sha256.New, key)
	h.Write([]byte("text\n"))
	if got, want := string(readFile(t, f.path("state-LARK-2"))), fmt.Sprintf("outbreath-state-1 %x\ntext\n",
		h.Sum(nil)); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// TestStateTogether: changes from many sides at once are all kept, and a failed one
// leaves what was there.
func TestStateTogether(t *testing.T) {
	if !locks(t) {
		t.Skip("this system locks no folder")
	}
	f := create(t, NewOptions{Role: Site, Name: "WEIR"})
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 5 {
				g, err := Open(f.Dir(), nil)
				if err == nil {
					err = g.ChangeState("LARK-2", func(old []byte) ([]byte, error) { return append(old, 'x'), nil })
				}
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	no := errors.New("no")
	if err := f.ChangeState("LARK-2", func([]byte) ([]byte, error) { return []byte("y"), no }); !errors.Is(err, no) {
		t.Error(err)
	}
	if got, err := f.State("LARK-2"); err != nil || string(got) != strings.Repeat("x", 40) {
		t.Errorf("%q, %v", got, err)
	}
	entries, err := os.ReadDir(f.Dir())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".outbreath-") {
			t.Errorf("left: %s", e.Name())
		}
	}
}

// locks reports whether two writers keep each other out.
func locks(t *testing.T) bool {
	f := create(t, NewOptions{Role: Site, Name: "WEIR"})
	unlock, err := f.lock()
	if err != nil {
		t.Fatal(err)
	}
	defer unlock()
	other, err := f.lock()
	if err == nil {
		other()
	}
	return err != nil
}
