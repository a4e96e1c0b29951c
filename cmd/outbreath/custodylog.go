package main

import (
	"errors"
	"fmt"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/pack/durable"
)

const (
	custodyFile      = "custody.jsonl"
	custodyNamespace = "custody@outbreath"
)

// openLog reads custody.jsonl of the collection in dir, checks its chain and
// its signature with the site's key folder, and has every entry signed that is
// added. Commands that add one begin here. A last line that was not written to its
// end, as after a power cut, is set aside first, and the log says so: it was never
// signed, so nothing rests on it.
func openLog(u *ui, dir string, f *keys.Folder) (*custody.Journal, error) {
	root, err := durable.OpenFolder(dir) // stays open as long as the journal lives
	if err != nil {
		return nil, err
	}
	j, err := custody.Read(root, custodyFile)
	torn := ""
	if errors.As(err, new(*custody.TornError)) {
		if torn, err = custody.Repair(root, custodyFile); err != nil {
			return nil, err
		}
		u.say("remark: the last line of %s was not written to its end; it is now in %s: keep it", custodyFile, torn)
		j, err = custody.Read(root, custodyFile)
	}
	if err != nil {
		return nil, err
	}
	signed, err := j.Signed(ownSignature(f))
	var other *keys.SignatureError
	switch {
	case errors.Is(err, custody.ErrUnsigned):
		u.say("remark: %s was not signed so far; it is from now on", custodyFile)
	case errors.As(err, &other) && other.Reason == keys.UnknownSigner:
		u.say("remark: %s was %s; if you did not change the site's key, stop and tell the privacy officer", custodyFile, other.Message)
	case err != nil:
		return nil, err
	case signed < len(j.Entries):
		u.say("remark: %s at the end of %s had no signature yet; the next entry says so", count(len(j.Entries)-signed, "entry"), custodyFile)
	}
	j.SignWith(func(text []byte) ([]byte, error) { return f.Sign(custodyNamespace, text) })
	if torn != "" {
		err := j.Append(custody.Entry{When: now(), Who: operatorName(""), What: "repaired",
			Why: "the last line was not written to its end and was set aside", Facts: map[string]string{"file": torn}})
		if err != nil {
			return nil, err
		}
	}
	return j, nil
}

// ownSignature checks a signature with the folder's own public key.
func ownSignature(f *keys.Folder) func(text, sig []byte) error {
	return func(text, sig []byte) error {
		err := f.VerifyOwn(text, sig, custodyNamespace)
		if e := new(keys.SignatureError); errors.As(err, &e) && e.Reason == keys.DataChanged {
			return custody.ErrText
		}
		return err
	}
}

// A logCheck is what custody --check found of a log whose chain is whole.
type logCheck struct {
	Entries int    `json:"entries"`
	Signed  int    `json:"signed"` // from the first
	Head    string `json:"head"`   // SHA-256 of the last line
	Detail  string `json:"detail"`

	status int
}

// checkLog checks the signature of a journal with the site's key folder.
func checkLog(j *custody.Journal, f *keys.Folder) (*logCheck, error) {
	signed, err := j.Signed(ownSignature(f))
	c := &logCheck{Entries: len(j.Entries), Signed: signed, Head: j.Head()}
	var other *keys.SignatureError
	switch {
	case errors.Is(err, custody.ErrUnsigned):
		c.status = exitResolve
		c.Detail = "the chain is unbroken, but there is no signature: an earlier version wrote the log, or the signature was removed; compare the entries with your papers and receipts; the next seal signs the log"
	case errors.As(err, &other):
		c.status = exitRejected
		c.Detail = fmt.Sprintf("the log is %s; if the site's key was changed since, check with the old one, else change nothing and tell the privacy officer", other.Message)
		if other.Reason == keys.NotSignature {
			c.Detail = fmt.Sprintf("%s.sig is no signature, or is damaged; change nothing and tell the privacy officer", custodyFile)
		}
	case err != nil:
		return nil, err
	case signed < len(j.Entries):
		c.status = exitResolve
		c.Detail = fmt.Sprintf("the first %s are as they were signed: nothing was changed, removed or reordered among them; the last %d have no signature yet: look whether you know them; the next seal signs them and says how many they were", count(signed, "entry"), len(j.Entries)-signed)
	case signed == 0:
		c.Detail = "the log has no entry yet"
	default:
		c.Detail = fmt.Sprintf("all %s are as they were signed: nothing was changed, removed or reordered", count(signed, "entry"))
	}
	return c, nil
}
