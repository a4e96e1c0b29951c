package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"outbreath/keys"
)

func newKeysCmd(u *ui, o *options) *cobra.Command {
	c := &cobra.Command{
		Use:   "keys",
		Short: "Make, show and exchange keys",
		Long: `A site's folder holds the pseudonym key (whoever has it can link pseudonyms to
subjects), the signing key and the laboratory's public key. A laboratory's
folder holds the identity that opens shipments. Keep the folder apart from the
collection and from the medium, and keep a copy of the pseudonym key in a safe
place: without it the study's pseudonyms can never be made again.
` + statusHelp,
	}
	c.AddCommand(newKeysNewCmd(u, o), newKeysShowCmd(u, o), newKeysTrustCmd(u, o), newKeysRotateCmd(u, o), newKeysSplitCmd(u, o), newKeysJoinCmd(u, o))
	return c
}

func newKeysNewCmd(u *ui, o *options) *cobra.Command {
	var (
		role, name            string
		classic, noPassphrase bool
	)
	c := &cobra.Command{
		Use:     "new --role site|lab --name NAME",
		Short:   "Make a new key folder",
		Long:    "Make a new key folder: whole or not at all, and never over an existing one.\n" + statusHelp,
		Example: "  outbreath keys new --role site --name WEIR\n  outbreath keys new --role lab --name harbour-lab --keys lab-keys",
		RunE: func(c *cobra.Command, _ []string) error {
			if role != string(keys.Site) && role != string(keys.Lab) {
				return usagef("say --role site at a study site, --role lab at the laboratory", "--role must be site or lab")
			}
			if classic && role != string(keys.Lab) {
				return usagef("leave --classic away: the laboratory's key decides", "--classic is for a laboratory's key")
			}
			dir, err := o.dir()
			if err != nil {
				return err
			}
			var pass []byte
			if !noPassphrase {
				if pass, err = newPassphrase(u, o); err != nil {
					return err
				}
			}
			f, err := keys.Create(dir, keys.NewOptions{Role: keys.Role(role), Name: name, Classic: classic, Passphrase: pass})
			if err != nil {
				return err
			}
			if err := printKeys(u, f); err != nil {
				return err
			}
			u.say("give %s to the other side, then compare the fingerprints by telephone", quoted(f.Dir()+string(os.PathSeparator)+"public-keys.txt"))
			if noPassphrase {
				u.say("caution: these keys have no passphrase; whoever can read the folder can use them")
			}
			return nil
		},
	}
	c.Flags().StringVar(&role, "role", "", "whose folder: site or lab")
	c.Flags().StringVar(&name, "name", "", "the site code, or a short name of the laboratory")
	c.Flags().BoolVar(&classic, "classic", false, "laboratory: an X25519 key, for tools older than age 1.3")
	c.Flags().BoolVar(&noPassphrase, "no-passphrase", false, "write the keys without a passphrase")
	return c
}

func newKeysShowCmd(u *ui, o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "show",
		Short:   "Show the public keys of the folder and those it trusts",
		Long:    "Show fingerprints to read out over the telephone. No secret is printed.\n" + statusHelp,
		Example: "  outbreath keys show --keys lab-keys",
		RunE: func(c *cobra.Command, _ []string) error {
			f, err := openKeys(u, o)
			if err != nil {
				return err
			}
			return printKeys(u, f)
		},
	}
}

func newKeysTrustCmd(u *ui, o *options) *cobra.Command {
	var name string
	c := &cobra.Command{
		Use:   "trust FILE",
		Short: "Trust the public keys that the other side sent",
		Long: `Add the public keys in FILE (public-keys.txt of the other side) to this folder.
Compare the fingerprints by telephone before anything is sealed: a key that was
exchanged on the way opens every shipment to whoever exchanged it.
` + statusHelp,
		Example: "  outbreath keys trust public-keys.txt --name WEIR --keys lab-keys",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			f, err := openKeys(u, o)
			if err != nil {
				return err
			}
			data, err := readBounded(args[0], 1<<20)
			if err != nil {
				return err
			}
			added, err := f.Trust(data, name)
			if err != nil {
				return err
			}
			err = u.result(map[string]any{"ok": true, "trusted": added}, func(w io.Writer) {
				for _, t := range added {
					word := "now trusted"
					if t.Already {
						word = "was trusted before"
					}
					fmt.Fprintf(w, "%s: %s\n  %s\n", word, describe(t), t.Fingerprint)
				}
			})
			u.say("to do: compare each fingerprint with the other side by telephone now")
			return err
		},
	}
	c.Flags().StringVar(&name, "name", "", "the site code or laboratory that these keys belong to (default: as written in the key)")
	return c
}

// printKeys shows the public side of a folder.
func printKeys(u *ui, f *keys.Folder) error {
	own, trusted, err := f.Public()
	if err != nil {
		return err
	}
	doc := map[string]any{"ok": true, "role": f.Role(), "folder": f.Dir(), "own": own, "trusted": nonNil(trusted)}
	return u.result(doc, func(w io.Writer) {
		fmt.Fprintf(w, "key folder of a %s: %s\n", f.Role(), quoted(f.Dir()))
		for _, group := range []struct {
			head string
			list []keys.Trusted
		}{{"own keys, to read out:", own}, {"trusted keys of others:", trusted}} {
			fmt.Fprintln(w, group.head)
			if len(group.list) == 0 {
				fmt.Fprintln(w, "  none yet: use keys trust FILE")
			}
			for _, t := range group.list {
				fmt.Fprintf(w, "  %s\n    %s\n", describe(t), t.Fingerprint)
			}
		}
	})
}

// describe names a public key in a few words, for example "signer WEIR (ssh-ed25519)".
func describe(t keys.Trusted) string {
	if t.Name == "" {
		return fmt.Sprintf("%s (%s)", t.Kind, t.Type)
	}
	return fmt.Sprintf("%s %s (%s)", t.Kind, t.Name, t.Type)
}

// openKeys opens the key folder; the passphrase is asked for when it is needed.
func openKeys(u *ui, o *options) (*keys.Folder, error) {
	dir, err := o.dir()
	if err != nil {
		return nil, err
	}
	f, err := keys.Open(dir, func(what string) ([]byte, error) { return passphrase(u, o, what) })
	if notExist(err) {
		return nil, usagef("make one with keys new, or name it with --keys DIR", "there is no key folder at %s", quoted(dir))
	}
	return f, err
}

var errNoPassphrase = errors.New("no passphrase at hand")

// passphrase reads it from --passphrase-file, else from the terminal.
func passphrase(u *ui, o *options, what string) ([]byte, error) {
	if o.passphraseFile != "" {
		return passphraseFromFile(o.passphraseFile)
	}
	in, ok := u.in.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) {
		return nil, fmt.Errorf("%w: %w", errNoPassphrase, usagef("run this at a terminal, or name a file with --passphrase-file", "%s has a passphrase, and nobody can be asked for it here", what))
	}
	fmt.Fprintf(u.err, "passphrase of %s: ", what)
	p, err := term.ReadPassword(int(in.Fd()))
	fmt.Fprintln(u.err)
	return p, err
}

func passphraseFromFile(path string) ([]byte, error) {
	data, err := readBounded(path, 4096)
	if err != nil {
		return nil, err
	}
	line, _, _ := bytes.Cut(data, []byte("\n"))
	line = bytes.TrimSuffix(line, []byte("\r"))
	if len(line) == 0 {
		return nil, usagef("write the passphrase into its first line", "the passphrase file is empty")
	}
	return line, nil
}

// newPassphrase asks twice.
func newPassphrase(u *ui, o *options) ([]byte, error) {
	if o.passphraseFile != "" {
		return passphraseFromFile(o.passphraseFile)
	}
	const what = "the new keys (at least 12 characters; several words are best)"
	first, err := passphrase(u, o, what)
	if err != nil {
		if errors.Is(err, errNoPassphrase) {
			return nil, usagef("run this at a terminal, name a file with --passphrase-file, or say --no-passphrase", "a passphrase is needed, and nobody can be asked for one here")
		}
		return nil, err
	}
	if len(first) < 12 {
		return nil, usagef("choose at least 12 characters, best several words", "the passphrase is too short")
	}
	again, err := passphrase(u, o, "the new keys, once more")
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(first, again) {
		return nil, usagef("run keys new again and type the same passphrase twice", "the two passphrases differ; no key was made")
	}
	return first, nil
}

// readBounded reads a whole small file named on the command line.
func readBounded(path string, limit int64) ([]byte, error) {
	f, err := os.Open(path)
	if notExist(err) {
		return nil, usagef("check the name", "there is no file %s", quoted(path))
	}
	if err != nil {
		return nil, usagef("check the name and who may read it", "%s cannot be read", quoted(path))
	}
	defer f.Close()
	data, err := io.ReadAll(bufio.NewReader(io.LimitReader(f, limit+1)))
	if err != nil {
		return nil, usagef("check that it is a file and not a folder", "%s cannot be read", quoted(path))
	}
	if int64(len(data)) > limit {
		return nil, usagef("check that it is the right file", "%s is larger than %d bytes", quoted(path), limit)
	}
	return data, nil
}
