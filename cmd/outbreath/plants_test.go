package main

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
)

// An alteration is one change to a bag, which is sealed again with the site's own keys.
type alteration struct {
	name string
	in   string // the file: one of its name, or a word that plantedIn explains
	re   string // its first match is replaced
	with string
	do   func(u *unsealed) // instead of in, re and with
}

// names returns the payload files below dir with an ending, sorted.
func (u *unsealed) names(dir, ending string) []string {
	return slices.DeleteFunc(u.payload(), func(name string) bool {
		return !strings.HasPrefix(name, "data/"+dir) || !strings.HasSuffix(name, ending)
	})
}

// plantedIn returns the name of the file that in means.
func (u *unsealed) plantedIn(in string) string {
	switch in {
	case "record":
		return u.names("sessions/", ".json")[0]
	case "csv":
		return u.names("recordings/", ".csv")[0]
	case "edf":
		return u.names("recordings/", ".edf")[0]
	}
	return in
}

// apply makes the change. It reports whether the bag, or what is around it, is now another one.
func (p alteration) apply(u *unsealed) bool {
	if p.do != nil {
		p.do(u)
		return true
	}
	name := u.plantedIn(p.in)
	old := u.files[name]
	re := regexp.MustCompile(p.re)
	at := re.FindSubmatchIndex(old)
	if at == nil {
		return false
	}
	changed := slices.Concat(old[:at[0]], re.Expand(nil, []byte(p.with), old, at), old[at[1]:])
	u.files[name] = changed
	return !bytes.Equal(old, changed)
}

// TestPlants alters a bag and seals it again with the site's own keys: verify must reject the shipment, or the
// audit against the source must find the change. Unchanged, the shipment passes both.
func TestPlants(t *testing.T) {
	j := varied(t, "shifted")
	j.seal(t)
	if status, screen := j.audited(t); status != 0 {
		t.Fatalf("the unchanged shipment does not pass\n%s", screen)
	}
	var rejected, found, missed atomic.Int64
	t.Run("each", func(t *testing.T) {
		step := max(1, len(alterations)/many(6, len(alterations)))
		for i := 0; i < len(alterations); i += step {
			p := alterations[i]
			t.Run(p.name, func(t *testing.T) {
				t.Parallel()
				u := unseal(t, j.shipment, j.lab)
				if !p.apply(u) {
					t.Fatal("nothing is changed: choose the place anew")
				}
				again := *j
				again.shipment = u.seal(t, t.TempDir(), j.site, j.lab)
				if status, _, _ := runHere("verify", again.shipment, "--keys", j.lab); status == 3 {
					rejected.Add(1)
					t.Log("verify rejects it")
				} else if status, screen := again.audited(t); status != 0 {
					found.Add(1)
					t.Log("the audit finds it")
				} else if why := survives[p.name]; why != "" {
					missed.Add(1)
					t.Logf("not found, because %s", why)
				} else {
					missed.Add(1)
					t.Errorf("neither verify nor the audit finds it\n%s", screen)
				}
			})
		}
	})
	t.Logf("verify rejects %d, the audit finds %d, %d not found", rejected.Load(), found.Load(), missed.Load())
	if rejected.Load()+found.Load() == 0 {
		t.Error("nothing was found")
	}
}

// first replaces the first old of a file.
func first(in, old, new string) func(*unsealed) {
	return func(u *unsealed) {
		name := u.plantedIn(in)
		u.files[name] = bytes.Replace(u.files[name], []byte(old), []byte(new), 1)
	}
}

// overwrite overwrites the bytes of a file from an offset; from the end if it is negative.
func overwrite(in string, at int, text string) func(*unsealed) {
	return func(u *unsealed) {
		b := bytes.Clone(u.files[u.plantedIn(in)])
		if at < 0 {
			at += len(b)
		}
		copy(b[at:], text)
		u.files[u.plantedIn(in)] = b
	}
}

// add puts text before or behind a file.
func add(in, before, behind string) func(*unsealed) {
	return func(u *unsealed) {
		name := u.plantedIn(in)
		u.files[name] = slices.Concat([]byte(before), u.files[name], []byte(behind))
	}
}

// bit changes the lowest bit of a byte.
func bit(in string, at int) func(*unsealed) {
	return func(u *unsealed) {
		b := bytes.Clone(u.files[u.plantedIn(in)])
		b[at] ^= 1
		u.files[u.plantedIn(in)] = b
	}
}

// exchanged exchanges the contents of two files.
func exchanged(dir, ending string) func(*unsealed) {
	return func(u *unsealed) {
		n := u.names(dir, ending)
		u.files[n[0]], u.files[n[1]] = u.files[n[1]], u.files[n[0]]
	}
}

// swapped exchanges the first matches of a pattern in the records of two sessions in which they differ.
func swapped(pattern string) func(*unsealed) {
	re := regexp.MustCompile(pattern)
	return func(u *unsealed) {
		n := u.names("sessions/", ".json")
		a := re.Find(u.files[n[0]])
		for _, name := range n[1:] {
			if b := re.Find(u.files[name]); a != nil && b != nil && !bytes.Equal(a, b) {
				u.files[n[0]], u.files[name] = bytes.Replace(u.files[n[0]], a, b, 1),
					bytes.Replace(u.files[name], b, a, 1)
				return
			}
		}
		panic("no two records differ in " + pattern)
	}
}

// lines exchanges two lines of a file.
func lines(in string, i, k int) func(*unsealed) {
	return func(u *unsealed) {
		l := bytes.SplitAfter(u.files[u.plantedIn(in)], []byte("\n"))
		l[i], l[k] = l[k], l[i]
		u.files[u.plantedIn(in)] = bytes.Join(l, nil)
	}
}

// renewed replaces old by new everywhere in one file.
func renewed(in, old, new string) func(*unsealed) {
	return func(u *unsealed) {
		name := u.plantedIn(in)
		u.files[name] = bytes.ReplaceAll(u.files[name], []byte(old), []byte(new))
	}
}

// gone removes the first file below dir with an ending.
func gone(dir, ending string) func(*unsealed) {
	return func(u *unsealed) { delete(u.files, u.names(dir, ending)[0]) }
}

// stored stores a file once more under another name.
func stored(in, as string) func(*unsealed) {
	return func(u *unsealed) { u.files[as] = u.files[u.plantedIn(in)] }
}
