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
		Long: `Add the public keys in FILE (the other side's public-keys.txt) to this folder. At a
terminal you are asked for some of the twelve words that the other side reads to you
by telephone (keys show); elsewhere give all of them with --compared. Whoever swaps a
key on the way can open every shipment.
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
	c.Flags().StringVar(&t.Expires, "expires", "", "last day on which the keys are used, such "+
		"as 2027-12-31")
	c.Flags().StringVar(&t.Reason, "reason", "", "why a key that was revoked here is trusted again, without anything "+
		"about a person")
	c.Flags().StringVar(&t.By, "by", "", "who trusts the keys (default: the user's name on this computer)")
	c.Flags().BoolVar(&t.Replace, "replace", false, "replace the keys trusted under this name; only after "+
		"a comparison")
	c.Flags().BoolVar(&t.SSHRecipients, "recipient", false, "use the SSH keys in FILE as recipients only, not "+
		"as signers")
	c.Flags().StringVar(&compared, "compared", "", "the twelve words as the other side read them, instead of "+
		"being asked")
	return c
}

// askAgain reports keys that were revoked here, and asks for the reason to trust them
// again. said means that --compared gave the words; otherwise somebody at the terminal
// must compare them.
func askAgain(u *ui, t *keys.TrustOptions, offered []keys.Trusted, said bool) error {
	for _, k := range offered {
		if k.Revoked == nil {
			continue
		}
		if !said && !interactive(u) {
			return usagef("find out whether only its owner has the key; then run this at a terminal, "+
				"or give the twelve words with --compared, and the reason to trust it again with --reason",
				"a key of %s in this file was %s; it is trusted again only after a comparison, and nothing was trusted",
				k.Revoked.Name, k.Revoked)
		}
		if t.Reason != "" {
			continue
		}
		if !interactive(u) {
			return usagef("find out whether only its owner has the key, then give the reason to trust it again with "+
				"--reason",
				"a key of %s in this file was %s; nothing was trusted", k.Revoked.Name, k.Revoked)
		}
		u.tell("CAUTION: a key of %s in this file was %s.", k.Revoked.Name, k.Revoked)
		reason, err := askLine(u, "Reason to trust it again (no personal details): ")
		if err != nil {
			return err
		}
		if t.Reason = strings.TrimSpace(reason); t.Reason == "" {
			return usagef("run this again when you know the reason", "no reason was given; nothing was trusted")
		}
	}
	return nil
}

const (
	askedWords = 4 // of twelve; whoever tries keys until four words agree has 1 chance in 495 that those are asked
	wordTries  = 3
)

// compareWords makes sure that the keys offered are those whose words the other side reads
// out. It returns false if nobody could be asked, which is an error if must is set.
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
			return false, usagef("write the twelve words in order, with blanks between them",
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
			return false, usagef("run this at a terminal, or give the twelve words with --compared",
				"keys are replaced only after a comparison")
		}
		return false, nil
	}
	u.tell("This file holds:")
	for _, k := range offered {
		u.tell("  %s", describe(k))
	}
	u.tell("Call the other side at a number that you know already, not one from the message\n" +
		"that the file came with. Ask them to run keys show and to read out their twelve words.\n" +
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
			u.tell("that is not word %d of this file; ask them to repeat it and spell it (%s left)", at+1,
				count(tries, "try"))
		}
	}
	return true, nil
}

// somePlaces returns k of n places in ascending order, at random: nobody can predict them.
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
		Short: "Revoke the keys of a laboratory or site",
		Long: `Revoke every key that is trusted under NAME, as a recipient and as a signer. What was
sealed to it remains readable to whoever has the key. What it signed is no longer
believed, and verify reports when the key was revoked, by whom and why.
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
					fmt.Fprintf(w, "revoked: %s\n  %s\n", describe(k), k.Fingerprint)
				}
				fmt.Fprintln(w, "Media that were sealed to it before remain readable to its owner: this takes "+
					"nothing back.")
			})
		},
	}
	c.Flags().StringVar(&r.Reason, "reason", "", "why, without anything about a person")
	c.Flags().StringVar(&r.By, "by", "", "who revokes the keys (default: the user's name on this computer)")
	return c
}
