package keys

import (
	"os"
	"testing"
)

func TestRotate(t *testing.T) {
	for name, pass := range map[string][]byte{"plain": nil, "with passphrase": somePass} {
		t.Run(name, func(t *testing.T) {
			f := create(t, NewOptions{Role: Site, Name: "07", Passphrase: pass})
			var kept []*PseudonymKey // newest first
			for range 3 {
				k, err := f.PseudonymKey()
				if err != nil {
					t.Fatal(err)
				}
				kept = append([]*PseudonymKey{k}, kept...)
				if err := f.Rotate(); err != nil {
					t.Fatal(err)
				}
			}
			f, err := Open(f.dir, ask(pass, nil))
			if err != nil {
				t.Fatal(err)
			}
			all, err := f.Generations()
			if err != nil || len(all) != 4 {
				t.Fatalf("%d generations, %v", len(all), err)
			}
			for i, k := range all[1:] {
				if !k.equal(kept[i]) {
					t.Errorf("generation %d is another key", i+1)
				}
			}
			if all[0].equal(all[1]) {
				t.Error("the new key is the old one")
			}
			if pass != nil {
				for _, name := range []string{pseudonymFile, generationFile(1), generationFile(3)} {
					if secretLine(string(readFile(t, f.path(name)))) != "" {
						t.Errorf("%s is not under the passphrase", name)
					}
				}
			}
		})
	}
}

// TestRotateCutOff: the old key was kept, the new one not yet made.
func TestRotateCutOff(t *testing.T) {
	f := create(t, NewOptions{Role: Site})
	writeFile(t, f.path(generationFile(1)), readFile(t, f.path(pseudonymFile)), 0o600)
	writeFile(t, f.path(".outbreath-"+pseudonymFile), []byte("half a "), 0o600)
	if all, err := f.Generations(); err != nil || len(all) != 1 {
		t.Fatalf("%d generations, %v", len(all), err)
	}
	if err := f.Rotate(); err != nil {
		t.Fatal(err)
	}
	all, err := f.Generations()
	if err != nil || len(all) != 2 {
		t.Fatalf("%d generations, %v", len(all), err)
	}
	if _, err := os.Stat(f.path(generationFile(2))); err == nil {
		t.Error("the same key was kept twice")
	}
}

func TestRotateIsAlone(t *testing.T) {
	f := create(t, NewOptions{Role: Site})
	unlock, err := f.lock()
	if err != nil {
		t.Fatal(err)
	}
	wantError(t, f.Rotate(), "another command is changing this key folder")
	unlock()
	if err := f.Rotate(); err != nil {
		t.Fatal(err)
	}
}
