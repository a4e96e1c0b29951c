package keys

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"strings"
)

// Earlier generations of the pseudonym key remain in the folder with the newest one, as
// pseudonym-1.key, pseudonym-2.key and so on: without them the pseudonyms of earlier
// shipments could no longer be traced to subjects.
const maxGenerations = 1000

func generationFile(n int) string { return fmt.Sprintf("pseudonym-%d.key", n) }

// earlier returns the names of the files with earlier generations, oldest first.
func (f *Folder) earlier() ([]string, error) {
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return nil, ioFault(f.dir, "look into the key folder", err)
	}
	var numbers []int
	for _, e := range entries {
		digits, begins := strings.CutPrefix(e.Name(), "pseudonym-")
		digits, ends := strings.CutSuffix(digits, ".key")
		n, err := strconv.Atoi(digits)
		if begins && ends && err == nil && n > 0 && generationFile(n) == e.Name() {
			numbers = append(numbers, n)
		}
	}
	if len(numbers) > maxGenerations {
		return nil, fault(DamagedFile, f.dir, "holds more than %d earlier pseudonym keys", maxGenerations)
	}
	slices.Sort(numbers)
	var names []string
	for i, n := range numbers {
		if n != i+1 {
			return nil, fault(DamagedFile, f.path(generationFile(i+1)),
				"is missing: without it the pseudonyms of earlier shipments cannot be traced")
		}
		names = append(names, generationFile(n))
	}
	return names, nil
}

// Generations reads every generation of the pseudonym key (site). The newest, which new
// shipments use, comes first.
func (f *Folder) Generations() ([]*PseudonymKey, error) {
	newest, err := f.PseudonymKey()
	if err != nil {
		return nil, err
	}
	names, err := f.earlier()
	if err != nil {
		return nil, err
	}
	all, from := []*PseudonymKey{newest}, []string{pseudonymFile}
	for i, name := range slices.Backward(names) {
		k, err := f.pseudonymKey(name)
		if err != nil {
			return nil, err
		}
		same := slices.IndexFunc(all, k.equal)
		switch {
		case same < 0:
			all, from = append(all, k), append(from, name)
		case same == 0 && i == len(names)-1: // an interrupted rotation
		default:
			return nil, fault(LostGeneration, f.path(name),
				"holds the same key as %s, so that one generation is lost", from[same])
		}
	}
	return all, nil
}

// Rotate makes a new generation of the pseudonym key (site) for future shipments, and keeps
// the present one. The new file, under the same passphrase, is written and read back before
// it replaces the old one; a crash in between leaves the old key in use.
func (f *Folder) Rotate() error {
	unlock, err := f.lock()
	if err != nil {
		return err
	}
	defer unlock()
	all, err := f.Generations()
	if err != nil {
		return err
	}
	names, err := f.earlier()
	if err != nil {
		return err
	}
	if len(names) == maxGenerations {
		return fault(FullOfGenerations, f.dir,
			"holds %d earlier pseudonym keys, and no more are kept in one folder", maxGenerations)
	}
	states, err := f.states(all) // first, so that an altered state is refused before anything is changed
	if err != nil {
		return err
	}
	if err := f.keepPresent(names, all[0]); err != nil {
		return err
	}
	var b [32]byte
	rand.Read(b[:])
	newest := NewPseudonymKey(b)
	if err := f.putPseudonymKey(newest); err != nil {
		return err
	}
	return f.renewStates(states, newest) // until then they are valid under the previous generation
}

// keepPresent copies pseudonym.key within the folder as the latest earlier generation,
// unless an interrupted rotation has done so.
func (f *Folder) keepPresent(names []string, present *PseudonymKey) error {
	if len(names) > 0 {
		last, err := f.pseudonymKey(names[len(names)-1])
		if err != nil {
			return err
		}
		if last.equal(present) {
			return nil
		}
	}
	data, _, err := f.read(pseudonymFile, true, maxSecret)
	if err != nil {
		return err
	}
	return f.place(generationFile(len(names)+1), data, present)
}

// putPseudonymKey replaces pseudonym.key with k, plain or under the passphrase, as before.
func (f *Folder) putPseudonymKey(k *PseudonymKey) error {
	path := f.path(pseudonymFile)
	old, _, err := f.read(pseudonymFile, true, maxSecret)
	if err != nil {
		return err
	}
	var pass []byte
	if bytes.HasPrefix(old, ageMagic) {
		if pass, err = f.passphrase(pseudonymFile, "the pseudonym key"); err != nil {
			return err
		}
	}
	data, err := protect(formatPseudonymKey(k), pass)
	if err != nil {
		return ioFault(path, "encrypt the pseudonym key", err)
	}
	return f.place(pseudonymFile, data, k)
}

// place writes data, a file of key k, under name. It reads the data back before the rename,
// so that the file is complete at any time, whether it is the old or the new one.
func (f *Folder) place(name string, data []byte, k *PseudonymKey) error {
	path, tmp := f.path(name), ".outbreath-"+pseudonymFile
	if err := os.Remove(f.path(tmp)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return ioFault(f.path(tmp), "remove what an earlier run left", err)
	}
	if err := writeNew(f.dir, tmp, data, 0o600); err != nil {
		return ioFault(path, "write this file", err)
	}
	read, err := f.pseudonymKey(tmp)
	if err == nil && !read.equal(k) {
		err = fault(BadDisk, path, "does not read back as it was written; the keys were not changed")
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.path(tmp)))
	}
	if err := os.Rename(f.path(tmp), path); err != nil {
		return ioFault(path, "put the key in place", err)
	}
	if err := syncDir(f.dir); err != nil {
		return ioFault(f.dir, "write this folder", err)
	}
	return nil
}
