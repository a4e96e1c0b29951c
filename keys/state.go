package keys

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"
)

// For each study a site's folder keeps a state that must not be lost or reverted, in a file
// state-STUDY with mode 0600. Its first line is
//
//	outbreath-state-1 HMAC
//
// with the HMAC-SHA256 (64 hexadecimal digits) of everything that follows, under the key
// that [State] derives for the study. The rest is the caller's. A file is accepted under any
// generation of the pseudonym key, and written under the newest.
const (
	statePrefix = "state-"
	stateHeader = "outbreath-state-1 "
)

// MaxState bounds the state of a study, in bytes: enough for some 200,000 sessions.
const MaxState = 64 << 20

// ErrState is behind the error about a state file that was altered or damaged, or that
// belongs to another pseudonym key (errors.Is).
var ErrState = errors.New("the state does not fit the key")

var stateStudy = regexp.MustCompile(`^[0-9A-Za-z-]+$`).MatchString

func stateFile(study string) (string, error) {
	if !stateStudy(study) {
		return "", errors.New("the study's code cannot be part of a file's name")
	}
	return statePrefix + study, nil
}

// State returns what [Folder.ChangeState] stored for study, at most [MaxState] bytes, or nil
// if there is nothing yet. It is the file state-STUDY, authenticated with a key derived from
// the pseudonym key. The error is an *[Error], with [ErrState] behind it if the file was not
// written with a key of this folder.
func (f *Folder) State(study string) ([]byte, error) {
	all, err := f.Generations()
	if err != nil {
		return nil, err
	}
	return f.readState(study, all)
}

// readState reads the state of study if one of the keys in all authenticates it.
func (f *Folder) readState(study string, all []*PseudonymKey) ([]byte, error) {
	name, err := stateFile(study)
	if err != nil {
		return nil, err
	}
	data, found, err := f.read(name, true, MaxState)
	if err != nil || !found {
		return nil, err
	}
	line, body, _ := bytes.Cut(data, []byte("\n"))
	sum, ok := bytes.CutPrefix(line, []byte(stateHeader))
	mac, bad := hex.DecodeString(string(sum))
	if ok && bad == nil {
		for _, k := range all {
			if hmac.Equal(mac, stateMAC(k, study, body)) {
				return body, nil
			}
		}
	}
	return nil, &Error{Fault: BadState, Path: f.path(name), cause: ErrState,
		Message: "was changed, is damaged, or belongs to another pseudonym key"}
}

// stateMAC returns the HMAC-SHA256 of a state under the key derived for its study.
func stateMAC(k *PseudonymKey, study string, body []byte) []byte {
	key := k.Derive(State, study)
	h := hmac.New(sha256.New, key[:])
	h.Write(body)
	return h.Sum(nil)
}

// ChangeState replaces the state of study with what change returns for the old one, which is
// nil if there was none. The folder is locked while it does, so two processes cannot undo
// each other's change. At any time the file is either the old or the new one. If change
// returns an error, nothing is changed and that error is returned; any other error is an
// *[Error].
func (f *Folder) ChangeState(study string, change func(old []byte) ([]byte, error)) error {
	unlock, err := f.await()
	if err != nil {
		return err
	}
	defer unlock()
	all, err := f.Generations()
	if err != nil {
		return err
	}
	old, err := f.readState(study, all)
	if err != nil {
		return err
	}
	body, err := change(old)
	if err != nil {
		return err
	}
	return f.putState(study, all[0], body)
}

func (f *Folder) putState(study string, newest *PseudonymKey, body []byte) error {
	name, err := stateFile(study)
	if err != nil {
		return err
	}
	data := fmt.Appendf(nil, "%s%x\n%s", stateHeader, stateMAC(newest, study, body), body)
	if len(data) > MaxState {
		return fault(FullState, f.path(name), "has no room for more (%d bytes at most)", MaxState)
	}
	return f.replace(name, data, 0o600)
}

// SetStateAside renames the state file of a study to aside-1-state-STUDY, or the next free
// number, where it remains as evidence. It returns the new name, or "" if there is no state.
func (f *Folder) SetStateAside(study string) (moved string, err error) {
	unlock, err := f.await()
	if err != nil {
		return "", err
	}
	defer unlock()
	name, err := stateFile(study)
	if err != nil {
		return "", err
	}
	if _, err := os.Lstat(f.path(name)); errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	for n := 1; ; n++ {
		moved = fmt.Sprintf("aside-%d-%s", n, name)
		if _, err := os.Lstat(f.path(moved)); err == nil {
			continue
		}
		if err := os.Rename(f.path(name), f.path(moved)); err != nil {
			return "", ioFault(f.path(name), "set this file aside", err)
		}
		return moved, syncDir(f.dir)
	}
}

// Studies returns the codes of the studies for which the folder keeps a state, sorted.
func (f *Folder) Studies() ([]string, error) {
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return nil, ioFault(f.dir, "look into the key folder", err)
	}
	var list []string
	for _, e := range entries {
		if study, ok := strings.CutPrefix(e.Name(), statePrefix); ok && stateStudy(study) {
			list = append(list, study)
		}
	}
	return list, nil
}

// states returns every state of the folder by study.
func (f *Folder) states(all []*PseudonymKey) (map[string][]byte, error) {
	studies, err := f.Studies()
	if err != nil {
		return nil, err
	}
	out := map[string][]byte{}
	for _, study := range studies {
		if out[study], err = f.readState(study, all); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// renewStates rewrites every state under the newest key.
func (f *Folder) renewStates(states map[string][]byte, newest *PseudonymKey) error {
	var studies []string
	for study := range states {
		studies = append(studies, study)
	}
	slices.Sort(studies)
	for _, study := range studies {
		if err := f.putState(study, newest, states[study]); err != nil {
			return err
		}
	}
	return nil
}
