package main

import (
	"crypto/rand"
	"fmt"
	"io"
	"math/big"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"outbreath/keys"
)

func newKeysTrustCmd(u *ui, o *options) *cobra.Command {
	var t keys.TrustOptions
	var compared string
	c := &cobra.Command{
		Use:   "trust FILE",
		Short: "Trust the public keys that the other side sent",
		Long: `Add the public keys in FILE (public-keys.txt of the other side) to this folder.
At a terminal you are asked for some of the twelve words that the other side reads
to you by telephone (keys show); elsewhere say them with --compared. A key that
was exchanged on the way opens every shipment to whoever exchanged it.
` + statusHelp,
		Example: "  outbreath keys trust public-keys.txt --name WEIR --keys lab-keys\n  outbreath keys trust " +
			"public-keys.txt --expires 2027-12-31",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			f, err := openKeys(u, o)
			if err != nil {
				return err
			}
			data, err := keys.ReadHanded(args[0], 1<<20)
			if err != nil {
				return err
			}
			t.Day = now().Format("2006-01-02")
			t.By, t.File = operatorName(t.By), args[0]
			offered, err := f.Offered(data, t)
			if err != nil {
				return err
			}
			if err := askAgain(u, &t, offered, compared != ""); err != nil {
				return err
			}
			if t.Compared, err = compareWords(u, offered, compared, t.Replace); err != nil {
				return err
			}
			added, err := f.Trust(data, t)
			if err != nil {
				return err
			}
			err = u.result(map[string]any{"ok": true, "trusted": added, "compared": t.Compared}, func(w io.Writer) {
				for _, k := range added {
					word := "now trusted"
					if k.Already {
						word = "was trusted before"
					}
					fmt.Fprintf(w, "%s: %s\n  %s\n", word, describe(k), k.Fingerprint)
				}
			})
			switch {
			case t.Compared:
				u.say("the words agree: the keys are those of the other side")
			case slices.ContainsFunc(added, func(k keys.Trusted) bool { return k.Compared == "" }):
				u.say("to do: nobody has compared these keys. Before anything is sealed to them or believed, compare " +
					"the words with the other side by telephone: run this again at a terminal")
			}
			return err
		},
	}
	c.Flags().StringVar(&t.Name, "name", "", "the site code or laboratory that these keys belong to (default: as "+
		"written in the key)")
	c.Flags().StringVar(&t.Expires, "expires", "", "last day on which the keys are encrypted to and believed, such "+
		"as 2027-12-31")
	c.Flags().StringVar(&t.Reason, "reason", "", "why a key that was revoked here is trusted again, without anything "+
		"about a person")
	c.Flags().StringVar(&t.By, "by", "", "who trusts the keys (default: the user's name on this computer)")
	c.Flags().BoolVar(&t.Replace, "replace", false, "put other keys under this name out of use; only after "+
		"a comparison")
	c.Flags().BoolVar(&t.SSHRecipients, "recipient", false, "the SSH keys in FILE are to be encrypted to, and "+
		"sign nothing")
	c.Flags().StringVar(&compared, "compared", "", "the twelve words as the other side read them, instead of "+
		"being asked")
	return c
}

// askAgain tells of keys that were revoked here, and asks why they are trusted again.
// Somebody must be there to compare the words, or have said them.
func askAgain(u *ui, t *keys.TrustOptions, offered []keys.Trusted, said bool) error {
	for _, k := range offered {
		if k.Revoked == nil {
			continue
		}
		if !said && !interactive(u) {
			return usagef("find out whether the key is its owner's and nobody else's; then run this at a terminal, "+
				"or say the twelve words with --compared, and why it is trusted again with --reason",
				"a key of %s in this file was %s; it is trusted again only after a comparison, and nothing was trusted",
				k.Revoked.Name, k.Revoked)
		}
		if t.Reason != "" {
			continue
		}
		if !interactive(u) {
			return usagef("find out whether the key is its owner's and nobody else's, then say with --reason why it "+
				"is trusted again",
				"a key of %s in this file was %s; nothing was trusted", k.Revoked.Name, k.Revoked)
		}
		u.tell("CAUTION: a key of %s in this file was %s.", k.Revoked.Name, k.Revoked)
		reason, err := askLine(u, "why is it trusted again (nothing about a person)? ")
		if err != nil {
			return err
		}
		if t.Reason = strings.TrimSpace(reason); t.Reason == "" {
			return usagef("run this again when the reason is known", "no reason was given; nothing was trusted")
		}
	}
	return nil
}

const (
	askedWords = 4 // of the twelve; who grinds keys until so many agree has one chance in 495 to be asked for those
	wordTries  = 3
)

// compareWords makes sure that the keys offered are those that the other side
// reads out. It is false where nobody could be asked.
func compareWords(u *ui, offered []keys.Trusted, said string, must bool) (bool, error) {
	words := keys.SpokenWords(offered)
	differ := &rejectedError{"the words differ: the keys in this file are not those that the other side reads out. " +
		"Nothing was trusted",
		"check that the other side reads the twelve words under its own keys (keys show), and that this is its " +
			"newest file; if so, somebody exchanged the keys on the way: " +
			"use no copy of this file, have it sent another way, and tell your privacy officer"}
	if said != "" {
		list := strings.Fields(said)
		if len(list) != len(words) {
			return false, usagef("write the twelve words in their order, with blanks between them",
				"--compared has %d words", len(list))
		}
		for i := range words {
			if !keys.SameWord(list[i], words[i]) {
				return false, differ
			}
		}
		return true, nil
	}
	if !interactive(u) {
		if must {
			return false, usagef("run this at a terminal, or say the twelve words with --compared",
				"keys are replaced only after a comparison")
		}
		return false, nil
	}
	u.tell("This file holds:")
	for _, k := range offered {
		u.tell("  %s", describe(k))
	}
	u.tell("Call the other side at a number that you know already, not one from the message\n" +
		"that the file came with. Let them run keys show and read out their twelve words.\n" +
		"The first four letters of a word are enough. Nobody to call? Press Ctrl-C:\n" +
		"nothing is trusted then.")
	tries := wordTries
	for _, at := range somePlaces(len(words), askedWords) {
		for {
			typed, err := askLine(u, fmt.Sprintf("word %d: ", at+1))
			if err != nil {
				return false, err
			}
			if keys.SameWord(typed, words[at]) {
				break
			}
			if tries--; tries == 0 {
				return false, differ
			}
			u.tell("that is not word %d of this file; let them say it once more, and spell it (%s left)", at+1,
				count(tries, "try"))
		}
	}
	return true, nil
}

// somePlaces chooses k of n places, in rising order, so that nobody can know them before.
func somePlaces(n, k int) []int {
	var places []int
	for i := range n {
		left, err := rand.Int(rand.Reader, big.NewInt(int64(n-i)))
		if err != nil {
			panic(err) // crypto/rand does not fail
		}
		if int(left.Int64()) < k-len(places) {
			places = append(places, i)
		}
	}
	return places
}

func newKeysUntrustCmd(u *ui, o *options) *cobra.Command {
	var r keys.RevokeOptions
	c := &cobra.Command{
		Use:   "untrust NAME",
		Short: "Put the keys of a laboratory or site out of use",
		Long: `Put every key that is trusted under NAME out of use, as a recipient and as a
signer. What was sealed to it stays readable to whoever has its key; what it signed
is not believed any more, and verify says when the key was revoked, by whom and why.
` + statusHelp,
		Example: "  outbreath keys untrust harbour-lab --reason 'their laptop was stolen'",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			f, err := openKeys(u, o)
			if err != nil {
				return err
			}
			r.Day, r.By = now().Format("2006-01-02"), operatorName(r.By)
			gone, err := f.Untrust(args[0], r)
			if err != nil {
				return err
			}
			return u.result(map[string]any{"ok": true, "untrusted": gone}, func(w io.Writer) {
				for _, k := range gone {
					fmt.Fprintf(w, "out of use: %s\n  %s\n", describe(k), k.Fingerprint)
				}
				fmt.Fprintln(w, "Media that were sealed to it before stay readable to its owner: this takes "+
					"nothing back.")
			})
		},
	}
	c.Flags().StringVar(&r.Reason, "reason", "", "why, without anything about a person")
	c.Flags().StringVar(&r.By, "by", "", "who revokes the keys (default: the user's name on this computer)")
	return c
}
