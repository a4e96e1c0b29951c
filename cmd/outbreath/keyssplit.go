package main

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"outbreath/keys"
	"outbreath/pack/durable"
	"outbreath/pack/place"
	"outbreath/pack/site"
	"outbreath/pack/symbol"
)

type splitOptions struct {
	shares, threshold       int
	to                      string
	recipients, passphrases string
	collection, reason, by  string
}

func newKeysSplitCmd(u *ui, o *options) *cobra.Command {
	s := &splitOptions{}
	c := &cobra.Command{
		Use:   "split --shares N --threshold K --to DIR",
		Short: "Split the pseudonym key among custodians",
		Long: `Split the site's pseudonym key into N shares. Any K of them join to the key (Shamir's
scheme); fewer reveal nothing about it. Each share has its own file, under a
passphrase that its custodian types here or encrypted to the custodian's age recipient
(--recipients), and a sheet to print with the same content as a QR code and as letters.
The sheets need the passphrase or the identity too.

Give each custodian one share, and keep no two in one place. The key folder is not
changed. After keys rotate, split the new key as well and keep the old shares: they
join to the old key, which the earlier shipments need. With --collection and --reason,
the split is recorded in the collection's custody.jsonl.
` + statusHelp,
		Example: "  outbreath keys split --shares 5 --threshold 3 --to shares --keys site-keys",
		RunE:    func(c *cobra.Command, _ []string) error { return runSplit(u, o, s) },
	}
	f := c.Flags()
	f.IntVar(&s.shares, "shares", 0, "how many shares")
	f.IntVar(&s.threshold, "threshold", 0, "how many of them are needed to join to the key")
	f.StringVar(&s.to, "to", "", "a new folder for the shares")
	f.StringVar(&s.recipients, "recipients", "", "file with the custodians' age recipients, one per line, instead of "+
		"passphrases")
	f.StringVar(&s.passphrases, "share-passphrases", "", "file with the custodians' passphrases, one per line, where "+
		"nobody can be asked")
	f.StringVar(&s.collection, "collection", "", "the collection whose custody.jsonl keeps it")
	f.StringVar(&s.reason, "reason", "", "why; kept in custody.jsonl")
	f.StringVar(&s.by, "by", "", "who asks for it (default: the user's name on this computer)")
	return c
}

// A madeShare is one share, as split prints it.
type madeShare struct {
	Name  string `json:"name"`
	File  string `json:"file"`
	Sheet string `json:"sheet"`
	data  []byte
	page  []byte
}

// runSplit splits the key, protects each share, and writes files and sheets into a new
// folder.
func runSplit(u *ui, o *options, s *splitOptions) error {
	if s.to == "" || s.shares == 0 || s.threshold == 0 {
		return usagef("for example: keys split --shares 5 --threshold 3 --to shares",
			"split needs --shares, --threshold and --to")
	}
	if err := place.Output(s.to); err != nil {
		return err
	}
	if _, err := lstat(s.to); err == nil {
		return usagef("name a folder that does not exist yet", "%s already exists; it was not touched", quoted(s.to))
	}
	if s.recipients != "" && s.passphrases != "" {
		return usagef("give one of them", "--recipients and --share-passphrases exclude each other")
	}
	log, err := newKeyLog(u, o, s.collection, s.reason, s.by)
	if err != nil {
		return err
	}
	defer log.close()
	f, key, err := siteKey(u, o, true)
	if err != nil {
		return err
	}
	shares, err := keys.Split(key, s.shares, s.threshold)
	if err != nil {
		return err
	}
	seal, err := s.sealer(u, o)
	if err != nil {
		return err
	}
	var made []madeShare
	for _, sh := range shares {
		data, err := seal(sh)
		if err != nil {
			return err
		}
		page, err := shareSheet(sh, data)
		if err != nil {
			return err
		}
		name := sh.Name()
		made = append(made, madeShare{name, filepath.Join(s.to, name+".age"), filepath.Join(s.to, name+".html"), data,
			page})
	}
	if err := log.add(f, func(l *site.Log) error {
		return l.SplitKey(shares[0].Set, s.shares, s.threshold, log.entry)
	}); err != nil {
		return err
	}
	if err := writeShares(s.to, made); err != nil {
		return err
	}
	return u.result(map[string]any{"ok": true, "set": shares[0].Set, "threshold": s.threshold, "shares": made},
		func(w io.Writer) {
			fmt.Fprintf(w, "%d shares in %s; any %d of them join to the pseudonym key, fewer reveal nothing about it\n",
				len(made), quoted(s.to), s.threshold)
			for _, m := range made {
				fmt.Fprintf(w, "  %s\n", quoted(filepath.Base(m.File)))
			}
			fmt.Fprintf(w, "Next: try it, with outbreath keys join and %d of the files; print the sheets; give each "+
				"custodian one file and its sheet; then erase this folder.\n", s.threshold)
			log.remark(w)
		})
}

// sealer returns the function that protects one share: for its recipient, under its
// passphrase from the file, or under one that its custodian types.
func (s *splitOptions) sealer(u *ui, o *options) (func(*keys.Share) ([]byte, error), error) {
	switch {
	case s.recipients != "":
		data, err := keys.ReadHanded(s.recipients, 1<<20)
		if err != nil {
			return nil, err
		}
		list, err := keys.ShareRecipients(data)
		if err != nil {
			return nil, err
		}
		if len(list) != s.shares {
			return nil, usagef("write one age recipient per line, a different one for each custodian",
				"there are %d shares and %d different recipients", s.shares, len(list))
		}
		return func(sh *keys.Share) ([]byte, error) { return sh.SealTo(list[sh.Index-1]) }, nil
	case s.passphrases != "":
		list, err := passphraseLines(u, s.passphrases)
		if err != nil {
			return nil, err
		}
		if len(list) != s.shares {
			return nil, usagef("write one passphrase per line", "there are %d shares and %d passphrases", s.shares,
				len(list))
		}
		for i, pass := range list {
			if !longEnough(pass) {
				return nil, tooShort(fmt.Sprintf("passphrase %d of the file", i+1))
			}
		}
		return func(sh *keys.Share) ([]byte, error) { return sh.SealUnder(list[sh.Index-1]) }, nil
	}
	ask := *o
	ask.passphraseFile = "" // that is the folder's passphrase, not a custodian's
	return func(sh *keys.Share) ([]byte, error) {
		u.say("share %d of %d: its custodian types a passphrase of their own now", sh.Index, sh.Total)
		pass, err := newPassphrase(u, &ask)
		if err != nil {
			return nil, err
		}
		defer clear(pass)
		return sh.SealUnder(pass)
	}, nil
}

// passphraseLines reads a file of passphrases, one per line; empty lines are skipped.
func passphraseLines(u *ui, path string) ([][]byte, error) {
	data, err := readPrivate(u, path, 1<<20)
	if err != nil {
		return nil, err
	}
	var out [][]byte
	for line := range bytes.Lines(data) {
		if line = bytes.TrimRight(line, "\r\n"); len(line) > 0 {
			out = append(out, line)
		}
	}
	return out, nil
}

// writeShares makes the folder of shares, complete or not at all.
func writeShares(dir string, made []madeShare) (err error) {
	above, name, err := durable.At(dir)
	var tmp *os.Root
	var tmpName string
	if err == nil {
		defer above.Close()
		tmp, tmpName, err = durable.NewFolder(above, ".outbreath-shares-")
	}
	if err != nil {
		return usagef("name a place that you may write to", "%s cannot be made", quoted(dir))
	}
	defer tmp.Close()
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("%s was not written: %w", quoted(dir), err), durable.RemoveFolder(above, tmp,
				tmpName))
		}
	}()
	for _, m := range made {
		for path, data := range map[string][]byte{m.File: m.data, m.Sheet: m.page} {
			if err := durable.WriteNew(tmp, filepath.Base(path), data, 0o600); err != nil {
				return err
			}
		}
	}
	return durable.NameFolder(above, tmp, tmpName, name, func(from, to string) error {
		return durable.Rename(above, from, to)
	})
}

var sharePage = template.Must(template.ParseFS(pages, "html/share.html.tmpl"))

// shareSheet returns the page to print for one custodian: the share's file as a QR code and
// as letters.
func shareSheet(s *keys.Share, data []byte) ([]byte, error) {
	letters := keys.Letters(data)
	doc := map[string]any{"Share": s, "Name": s.Name(), "Letters": letters}
	// The code holds the letters as they are typed. If it is too large, the sheet has only letters.
	if code, err := symbol.QR(strings.TrimSpace(strings.ReplaceAll(letters, " ", ""))); err == nil {
		doc["Size"], doc["Path"] = code.Width, code.Path
	}
	var b bytes.Buffer
	err := sharePage.Execute(&b, doc)
	return b.Bytes(), err
}
