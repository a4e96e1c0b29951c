package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"outbreath/pack"
	"outbreath/pack/place"
	"outbreath/pack/site"
)

type rotateOptions struct{ linkage, collection, reason, by string }

func newKeysRotateCmd(u *ui, o *options) *cobra.Command {
	s := &rotateOptions{}
	c := &cobra.Command{
		Use:   "rotate",
		Short: "Make a new pseudonym key for the shipments to come",
		Long: `Make a new generation of the site's pseudonym key. The old one remains in the folder,
as pseudonym-1.key and so on. Keep copies of all of them: trace and withdraw search
every generation, and an earlier shipment can be traced back only with its own key.
treatment.json in each shipment names its generation (key_id). With --collection and
--reason, the rotation is recorded in the collection's custody.jsonl.

From now on, a subject of both generations has two pseudonyms and two day shifts: the
laboratory sees two people. If the analysis must join them, --linkage writes a list of
old and new pseudonyms, encrypted to the laboratories of recipients.txt and signed.
The reason is kept in the collection's custody.jsonl. The list undoes the separation:
give it only if protocol and consent allow. Subjects who have withdrawn are not on it.
--linkage makes no new key: run it later, with --collection.
` + statusHelp,
		Example: "  outbreath keys rotate --keys site-keys\n" +
			`  outbreath keys rotate --linkage linkage.age --collection week-48 --reason "analysis joins both halves, amendment 3" --keys site-keys`,
		RunE: func(c *cobra.Command, _ []string) error {
			if s.linkage == "" {
				return rotate(u, o, s)
			}
			return writeLinkage(u, o, s)
		},
	}
	f := c.Flags()
	f.StringVar(&s.linkage, "linkage", "", "instead of a new key: write the encrypted list of old and new "+
		"pseudonyms to this file")
	f.StringVar(&s.collection, "collection", "", "the collection whose custody.jsonl keeps it; with --linkage, whose "+
		"subjects are listed")
	f.StringVar(&s.reason, "reason", "", "why; kept in custody.jsonl")
	f.StringVar(&s.by, "by", "", "who asks for it (default: the user's name on this computer)")
	return c
}

// rotate adds a generation to the pseudonym key, and records it in the log of a collection
// if one is named.
func rotate(u *ui, o *options, s *rotateOptions) error {
	log, err := newKeyLog(u, o, s.collection, s.reason, s.by)
	if err != nil {
		return err
	}
	defer log.close()
	f, _, err := siteKey(u, o, true)
	if err != nil {
		return err
	}
	if err := f.Rotate(); err != nil {
		return err
	}
	if err := log.add(f, func(l *site.Log) error { return l.RotateKey(log.entry) }); err != nil {
		return fmt.Errorf("the key was rotated, but that is not in %s: %w", custodyFile, err)
	}
	all, err := f.Generations()
	if err != nil {
		return err
	}
	return u.result(map[string]any{"ok": true, "generations": len(all)}, func(w io.Writer) {
		fmt.Fprintf(w, "new pseudonym key in %s; it holds %s now, and all of them are "+
			"needed\n", quoted(f.Dir()), count(len(all), "generation"))
		fmt.Fprintln(w, "caution: a subject who was in an earlier shipment gets a second pseudonym and another "+
			"day shift in the next one")
		fmt.Fprintln(w, "Next: copy the folder to where its copy is kept, make new shares if the key was split, "+
			"and run review again: decisions on findings count per key.")
		log.remark(w)
	})
}

// writeLinkage logs the reason, then writes the list that joins the pseudonyms of the last
// two generations, encrypted and signed.
func writeLinkage(u *ui, o *options, s *rotateOptions) error {
	if s.collection == "" {
		return usagef("name it with --collection DIR", "--linkage needs the collection whose subjects to list")
	}
	if err := place.Output(s.linkage); err != nil {
		return err
	}
	for _, path := range []string{s.linkage, s.linkage + ".sig"} {
		if _, err := lstat(path); err == nil {
			return usagef("name a file that does not exist", "%s already exists; it is never "+
				"overwritten", quoted(path))
		}
	}
	col, err := loadCollection(u, s.collection)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	entry, err := officerEntry(col, s.by, s.reason)
	if err != nil {
		return err
	}
	folder, err := siteFolder(u, o)
	if err != nil {
		return err
	}
	journal, err := openLog(u, col, folder)
	if err != nil {
		return err
	}
	defer journal.Release()
	list, err := journal.Linkage(entry)
	if err != nil {
		return err
	}
	sayRecipients(u, list.Readers)
	if err := writeSigned(folder, s.linkage, pack.NoticeNamespace, list.Sealed); err != nil {
		return err
	}
	return u.result(map[string]any{"ok": true, "linkage": s.linkage, "before": list.Before, "after": list.After},
		func(w io.Writer) {
			fmt.Fprintf(w, "linkage list: %s, encrypted to the laboratories of recipients.txt and signed in "+
				"%s.sig\n", quoted(s.linkage), quoted(s.linkage))
			fmt.Fprintf(w, "  joins key %s with key %s; the laboratory opens it with: age -d -i "+
				"identity.txt %s\n", list.Before, list.After, quoted(s.linkage))
			fmt.Fprintln(w, "caution: it joins what the new key separated; erase your copy when the laboratory has it")
		})
}
