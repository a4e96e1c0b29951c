package rederive_test

import (
	"crypto/md5"
	"crypto/sha256"
	"slices"
	"strings"
	"testing"

	"outbreath/deid/rederive"
	"outbreath/schema/demo"
)

// finds wants a mismatch whose text holds words.
func finds(t *testing.T, r *rederive.Result, words string) {
	t.Helper()
	if r.OK() || !slices.ContainsFunc(r.Mismatches, func(m rederive.Mismatch) bool {
		return strings.Contains(m.What,
			words)
	}) {
		t.Errorf("no mismatch says %q: %v", words, r.Mismatches)
	}
}

// A bag under another key than the site's is nobody's.
func TestOtherKey(t *testing.T) {
	s := newScene(t, options, "keep", nil)
	src := s.source(t)
	for name, key := range map[string][32]byte{"zeros": {}, "another": sha256.Sum256([]byte("another key"))} {
		s.key = key
		s.treat(t, "keep")
		r := compare(t, src, s.bag)
		if r.OK() || r.Generation != "" || r.Sessions != 0 {
			t.Errorf("%s: passes: %+v", name, r)
		}
	}
}

// A key that the site itself uses and that can be guessed.
func TestWeakKeys(t *testing.T) {
	word := func(s string) (key [32]byte) {
		copy(key[:], s)
		return key
	}
	var counting, repeated [32]byte
	for i := range counting {
		counting[i] = byte(3 * i)
		repeated[i] = byte(i % 16 * 11)
	}
	for name, key := range map[string][32]byte{
		"zeros": {}, "ones": [32]byte(slices.Repeat([]byte{0xff}, 32)), "a word": word("password"),
		"the study": word("LARK-2"),
		"the site":  word("weir"), "digest of the study": sha256.Sum256([]byte("LARK-2")),
		"digest of nothing": sha256.Sum256(nil), "digest of both": sha256.Sum256([]byte("LARK-2/WEIR")),
		"twice MD5": [32]byte(append(md5sum("outbreath"), md5sum("outbreath")...)),
		"counting":  counting, "a repetition": repeated, "printable": word("correct horse battery staple 17!"),
	} {
		s := newScene(t, demo.Options{Subjects: 2, Sessions: 2, RecordingSeconds: 5, NoEDF: true}, "keep", nil)
		s.key = key
		s.treat(t, "keep")
		r := compare(t, s.source(t), s.bag)
		t.Run(name, func(t *testing.T) { finds(t, r, "without the site's key") })
	}
}

func md5sum(s string) []byte {
	sum := md5.Sum([]byte(s))
	return sum[:]
}

// A bag of an earlier generation of the key is recognised; one of two is not.
func TestGenerations(t *testing.T) {
	s := newScene(t, options, "keep", nil)
	old := s.bag.clone()
	s.earlier, s.key = [][32]byte{s.key}, sha256.Sum256([]byte("the next generation"))
	s.treat(t, "keep")
	r := compare(t, s.source(t), old)
	if !r.OK() || r.Generation == holds(t, s).Generation {
		t.Errorf("the earlier generation: %v %v", r.Generation, r.Mismatches)
	}
	mixed := s.bag.clone()
	i, k := mixed.find(t, 0, "data/sessions/", ""), old.find(t, 0, "data/sessions/", "")
	mixed[i] = old[k]
	if r := compare(t, s.source(t), mixed.signed()); r.OK() {
		t.Error("a bag of two generations passes")
	}
}

// repeated returns two records of one subject in the bag, and the subject's pseudonym.
func repeated(t *testing.T, b bag) (first, second int, who string) {
	t.Helper()
	seen := map[string]int{}
	for i, e := range b {
		if strings.HasPrefix(e.path, "data/sessions/") {
			_, rest, _ := strings.Cut(string(e.data), `"subject_id": "`)
			if k, ok := seen[rest[:21]]; ok {
				return k, i, rest[:21]
			}
			seen[rest[:21]] = i
		}
	}
	t.Fatal("nobody comes twice")
	return 0, 0, ""
}

func TestOnePerson(t *testing.T) {
	s := newScene(t, options, "keep", nil)
	_, i, who := repeated(t, s.bag)

	b := s.bag.clone()
	b.put(i, []byte(strings.Replace(string(b[i].data), who, "0000-0000-0000-0000-0", 1)))
	finds(t, compare(t, s.source(t), b.signed()), "2 pseudonyms")

	b = s.bag.clone()
	b.put(i, []byte(swapped(t, string(b[i].data), `("started_at": "[0-9]{3})[0-9]`, "${1}0")))
	finds(t, compare(t, s.source(t), b.signed()), "2 shifts")

	b = s.bag.clone()
	for k, e := range b {
		if strings.HasPrefix(e.path, "data/sessions/") && !strings.Contains(string(e.data), who) {
			b.put(k, []byte(swapped(t, string(e.data), `"subject_id": "[^"]*`, `"subject_id": "`+who)))
			break
		}
	}
	finds(t, compare(t, s.source(t), b.signed()), "two subjects have one pseudonym")
}

// Nothing of a subject who has withdrawn may be in the bag.
func TestWithdrawn(t *testing.T) {
	s := newScene(t, options, "keep", nil)
	for _, x := range s.col.Sessions {
		if x.Subject == s.col.Sessions[0].Subject {
			s.leftOut = append(s.leftOut, x.File)
		}
	}
	finds(t, compare(t, s.source(t), s.bag), "withdrawn")
}
