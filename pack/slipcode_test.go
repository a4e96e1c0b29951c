package pack

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestSlipCode(t *testing.T) {
	// SHA-256 of "abc": FIPS 180-2, appendix B.1.
	const digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	c := SlipCode{"WEIR-0012", digest}
	const text = "OUTBREATH1 WEIR-0012 BA7816BF8F01CFEA414140DE5DAE2223B00361A396177A9CB410FF61F20015AD"
	if got := c.Format(); got != text {
		t.Errorf("%s", got)
	}
	if g := c.Groups(); len(g) != 16 || strings.Join(g, "") != strings.ToUpper(digest) {
		t.Errorf("%v", g)
	}
	for _, typed := range []string{
		text, strings.ToLower("outbreath1") + " WEIR-0012 " + digest, " " + text + "\r\n",
		"OUTBREATH1 WEIR-0012 " + strings.Join(c.Groups(), " "), "OUTBREATH1 WEIR-0012 " + strings.Join(c.Groups(),
			"-"),
		strings.NewReplacer("A414140", "A4l4I4O").Replace(text),
	} {
		if got, err := ParseSlipCode(typed); err != nil || got != c {
			t.Errorf("%q: %v, %v", typed, got, err)
		}
	}
	for name, bad := range map[string]string{
		"nothing": "", "other word": strings.Replace(text, "1", "2", 1), "no digest": "OUTBREATH1 WEIR-0012",
		"no number": "OUTBREATH1 " + digest,
		"short":     text[:len(text)-1], "long": text + "0", "other digits": text[:len(text)-1] + "G",
		"other number": "OUTBREATH1 WEIR-12 " + digest,
		"very long":    text + strings.Repeat(" ", 400),
	} {
		if got, err := ParseSlipCode(bad); err == nil {
			t.Errorf("%s: taken for %v", name, got)
		} else if strings.Contains(err.Error(), "BA78") {
			t.Errorf("%s: content in %v", name, err)
		}
	}
}

func TestSlipCodeBothWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sum := sha256.Sum256(rapid.SliceOf(rapid.Byte()).Draw(t, "archive"))
		c := SlipCode{rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9-]{0,15}-[0-9]{4}`).Draw(t, "number"),
			hex.EncodeToString(sum[:])}
		if got, err := ParseSlipCode(c.Format()); err != nil || got != c {
			t.Errorf("%v read as %v, %v", c, got, err)
		}
	})
}

func FuzzSlipCode(f *testing.F) {
	f.Add("OUTBREATH1 WEIR-0012 " + strings.Repeat("0", 64))
	f.Fuzz(func(t *testing.T, text string) {
		c, err := ParseSlipCode(text)
		if err != nil {
			return
		}
		if again, err := ParseSlipCode(c.Format()); err != nil || again != c {
			t.Errorf("%v read again as %v, %v", c, again, err)
		}
	})
}

// The digest of several parts is what sha256sum says of its own lines:
// `sha256sum A.001 A.002 | sha256sum`.
func TestArchiveDigest(t *testing.T) {
	one := []Part{{Name: "a", SHA256: "00"}}
	if got := ArchiveDigest(one); got != "00" {
		t.Error(got)
	}
	// printf 'ab' | tee a b >/dev/null; sha256sum a b | sha256sum (GNU coreutils 9.1)
	const ab = "fb8e20fc2e4c3f248c60c39bd652f3c1347298bb977b8b4d5903b85055620603"
	if got, want := ArchiveDigest([]Part{{Name: "a", SHA256: ab}, {Name: "b", SHA256: ab}}),
		"a60550834305ea991edc56ef3c955070b3b32c94cc9b4988b4a10f214745d8d5"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}
