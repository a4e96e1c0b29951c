package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"outbreath/keys"
	"outbreath/pack/place"
)

type joinOptions struct {
	to, passphrases string
	identities      []string
	noPassphrase    bool
}

func newKeysJoinCmd(u *ui, o *options) *cobra.Command {
	s := &joinOptions{}
	c := &cobra.Command{
		Use:   "join SHARE...",
		Short: "Join the shares of a pseudonym key",
		Long: `Join shares that keys split made: their files, or text files with the letters or the
scanned code of their sheets. Each custodian types the passphrase when asked, or you
name the share's identity file. A wrong or damaged share is named. With too few
shares, only the number that is missing is reported.

With --to FILE the key is written to that file, as the pseudonym.key of a key folder.
Without it, the shares are only compared with the key of the folder: try that once a
year.
` + statusHelp,
		Example: "  outbreath keys join shares/*.age --keys site-keys\n  outbreath keys join a.age b.age c.txt --to " +
			"site-keys/pseudonym.key",
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error { return runJoin(u, o, s, args) },
	}
	f := c.Flags()
	f.StringVar(&s.to, "to", "", "write the pseudonym key to this new file")
	f.StringArrayVar(&s.identities, "identity", nil, "age identity file of a custodian (repeatable)")
	f.StringVar(&s.passphrases, "share-passphrases", "", "file with the shares' passphrases, one per line, in the "+
		"order of the files")
	f.BoolVar(&s.noPassphrase, "no-passphrase", false, "write the key without a passphrase")
	return c
}

// runJoin joins the shares, and writes the key or compares it with those of the folder.
func runJoin(u *ui, o *options, s *joinOptions, files []string) error {
	if err := place.Output(s.to); err != nil {
		return err
	}
	if s.to != "" {
		if _, err := lstat(s.to); err == nil {
			return usagef("name a file that does not exist; move an old one elsewhere, never erase it",
				"%s already exists; a key is never overwritten", quoted(s.to))
		}
	}
	shares, err := s.open(u, files)
	if err != nil {
		return err
	}
	key, err := keys.Join(shares)
	var missing *keys.MissingSharesError
	if errors.As(err, &missing) {
		if err := u.result(map[string]any{"ok": false, "shares": missing.Have, "needed": missing.Need,
			"missing": missing.Need - missing.Have}, func(w io.Writer) {
			fmt.Fprintln(w, missing.Error())
		}); err != nil {
			return err
		}
	}
	if err != nil {
		return err
	}
	if s.to != "" {
		return s.write(u, o, key, shares[0].Set)
	}
	f, _, err := siteKey(u, o, true)
	if err != nil {
		return err
	}
	all, err := f.Generations()
	if err != nil {
		return err
	}
	for i, k := range all {
		if k.Same(key) {
			return u.result(map[string]any{"ok": true, "set": shares[0].Set, "generation": len(all) - i,
				"generations": len(all)}, func(w io.Writer) {
				fmt.Fprintf(w, "the shares of set %s join to the pseudonym key of this folder (generation %d of %d)\n",
					shares[0].Set, len(all)-i, len(all))
			})
		}
	}
	return usagef("write it to a file with --to FILE, and ask the privacy officer which study it is for",
		"the shares of set %s join to a key that is not in this folder", shares[0].Set)
}

// open reads every share before it reports errors, so that all wrong files are named at
// once.
func (s *joinOptions) open(u *ui, files []string) ([]keys.NamedShare, error) {
	var ids keys.ShareIDs
	for _, path := range s.identities {
		data, err := keys.ReadSecret(path)
		if err != nil {
			return nil, err
		}
		list, err := keys.ShareIdentities(data)
		if err != nil {
			return nil, err
		}
		ids = append(ids, list...)
	}
	var passphrases [][]byte
	if s.passphrases != "" {
		var err error
		if passphrases, err = passphraseLines(u, s.passphrases); err != nil {
			return nil, err
		}
		if len(passphrases) != len(files) {
			return nil, usagef("write one passphrase per line, in the order of the files",
				"there are %d shares and %d passphrases", len(files), len(passphrases))
		}
	}
	var out []keys.NamedShare
	var wrong []error
	for i, path := range files {
		data, err := keys.ReadHanded(path, 64<<10)
		if err != nil {
			wrong = append(wrong, err)
			continue
		}
		var share *keys.Share
		for range 5 {
			share, err = keys.OpenShare(path, data, ids, func() ([]byte, error) {
				if passphrases != nil {
					return passphrases[i], nil
				}
				return passphrase(u, &options{}, quoted(filepath.Base(path)))
			})
			if passphrases != nil || !terminal(u.in) || !errors.Is(err, keys.ErrPassphrase) {
				break
			}
			u.tell("that is not the passphrase")
		}
		if err != nil {
			wrong = append(wrong, err)
			continue
		}
		out = append(out, keys.NamedShare{File: path, Share: share})
	}
	return out, errors.Join(wrong...)
}

// write protects the joined key with a new passphrase, and writes it to s.to.
func (s *joinOptions) write(u *ui, o *options, key *keys.PseudonymKey, set string) error {
	var pass []byte
	if !s.noPassphrase {
		var err error
		if pass, err = newPassphrase(u, o); err != nil {
			return err
		}
	}
	data, err := keys.ProtectPseudonymKey(key, pass)
	if err != nil {
		return err
	}
	if err := keys.WriteSecret(s.to, data); err != nil {
		return err
	}
	return u.result(map[string]any{"ok": true, "set": set, "file": s.to}, func(w io.Writer) {
		fmt.Fprintf(w, "the shares of set %s join; the pseudonym key is in %s\n", set, quoted(s.to))
		fmt.Fprintln(w, "Next: put it into the site's key folder, under the folder's own passphrase, and check a "+
			"pseudonym of an earlier shipment with trace before anything is sealed.")
		fmt.Fprintln(w, "caution: a rebuilt key folder does not know which numbers were given and who has "+
			"withdrawn. Put back its files state-STUDY from a copy; if there is none,\nask the privacy officer to run "+
			"custody COLLECTION --restored for every collection of the study before the next seal.")
	})
}
