package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"outbreath/keys"
	"outbreath/pack/durable"
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
		PersistentPreRun: func(*cobra.Command, []string) { ownFilesOnly() },
	}
	c.AddCommand(newKeysNewCmd(u, o), newKeysShowCmd(u, o), newKeysTrustCmd(u, o), newKeysUntrustCmd(u, o),
		newKeysRotateCmd(u, o), newKeysSplitCmd(u, o), newKeysJoinCmd(u, o))
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

// printKeys shows the public side of a folder.
func printKeys(u *ui, f *keys.Folder) error {
	own, trusted, err := f.Public()
	if err != nil {
		return err
	}
	doc := map[string]any{"ok": true, "role": f.Role(), "folder": f.Dir(), "own": own, "trusted": nonNil(trusted),
		"words": keys.SpokenWords(own)}
	return u.result(doc, func(w io.Writer) {
		fmt.Fprintf(w, "key folder of a %s: %s\n", f.Role(), quoted(f.Dir()))
		fmt.Fprintln(w, "twelve words for the telephone, of the own keys together:")
		for i, word := range keys.SpokenWords(own) {
			fmt.Fprintf(w, "    %2d %-8s", i+1, word) // no word has more than eight letters
			if i%4 == 3 {
				fmt.Fprintln(w)
			}
		}
		for _, group := range []struct {
			head string
			list []keys.Trusted
		}{{"own keys, to read out:", own}, {"trusted keys of others:", trusted}} {
			fmt.Fprintln(w, group.head)
			if len(group.list) == 0 {
				fmt.Fprintln(w, "  none yet: use keys trust FILE")
			}
			for _, t := range group.list {
				fmt.Fprintf(w, "  %s\n    %s\n    %s\n", describe(t), t.Fingerprint, strings.Join(t.Groups, " "))
				switch {
				case !t.Already:
				case t.Compared == "":
					fmt.Fprintln(w, "    not compared yet: run keys trust again at a terminal, with the other side "+
						"on the telephone")
				default:
					fmt.Fprintf(w, "    compared on %s\n", t.Compared)
				}
				if t.Expires != "" {
					fmt.Fprintf(w, "    used until %s\n", t.Expires)
				}
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
	if _, missing := lstat(dir); notExist(err) && notExist(missing) { // else a file of it is missing, as err says
		return nil, usagef("make one with keys new, or name it with --keys DIR", "there is no key folder at %s",
			quoted(dir))
	}
	if err == nil {
		if o.passphraseFile == "" && terminal(u.in) {
			f.AskAgain(func(what string) ([]byte, error) {
				u.tell("that is not the passphrase")
				return passphrase(u, o, what)
			})
		}
		f.UsePlugins(pluginUI(u))
		f.UseAgent(dialAgent())
	}
	return f, err
}

// interactive says whether somebody sits at a terminal and can be asked.
func interactive(u *ui) bool { return terminal(u.in) && terminal(u.err) && !u.json }

// askLine asks a question at the terminal and reads the answer, without blanks around it.
func askLine(u *ui, question string) (string, error) {
	u.ask(false, question)
	return readLine(u)
}

// readSecret reads a line that is not shown. Whatever ends it, the terminal shows
// again what is typed.
func readSecret(u *ui, fd int) ([]byte, error) {
	before, err := term.GetState(fd)
	if err != nil {
		return nil, err
	}
	secret, err := await(u, func() ([]byte, error) { return term.ReadPassword(fd) })
	fmt.Fprintln(u.err)
	return secret, errors.Join(err, term.Restore(fd, before))
}

// readLine reads one line, byte by byte, so that what follows is left for others. What
// is typed is shown.
func readLine(u *ui) (line string, err error) {
	err = u.tty.shown(func() (err error) {
		line, err = await(u, func() (string, error) { return typedLine(u) })
		return err
	})
	return line, err
}

func typedLine(u *ui) (string, error) {
	var line []byte
	one := make([]byte, 1)
	for len(line) < 4<<10 {
		n, err := u.in.Read(one)
		if n == 1 && one[0] == '\n' {
			return strings.TrimSpace(string(line)), nil
		}
		line = append(line, one[:n]...)
		if err != nil {
			return "", usagef("run the command again", "the answer could not be read; nothing was changed")
		}
	}
	return "", usagef("run the command again", "the answer is too long; nothing was changed")
}

var errNoPassphrase = errors.New("no passphrase at hand")

// passphrase reads it from --passphrase-file, else from the terminal.
func passphrase(u *ui, o *options, what string) ([]byte, error) {
	if o.passphraseFile != "" {
		return passphraseFromFile(u, o.passphraseFile)
	}
	in, ok := u.in.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) {
		return nil, fmt.Errorf("%w: %w", errNoPassphrase, usagef("run this at a terminal, or name a file with "+
			"--passphrase-file", "%s has a passphrase, and nobody can be asked for it here", what))
	}
	u.ask(true, "passphrase of "+what+": ")
	return readSecret(u, int(in.Fd()))
}

func passphraseFromFile(u *ui, path string) ([]byte, error) {
	data, err := readPrivate(u, path, 4096)
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

// leastPassphrase is how many characters a new passphrase has, typed or from a file.
const leastPassphrase = 12

func longEnough(pass []byte) bool { return utf8.RuneCount(pass) >= leastPassphrase }

// readPrivate reads a small file with a secret, or a pipe with one: it must be the
// user's own, and nobody else's to read. A pipe may stay empty for ever, so that its
// reader listens to an interrupt.
func readPrivate(u *ui, path string, limit int64) ([]byte, error) {
	info, err := os.Stat(path) // a shell's <(...) is a link to a pipe
	if err == nil && info.Mode().Type()&^(fs.ModeNamedPipe|fs.ModeDir) != 0 {
		return nil, usagef("name an ordinary file, or a pipe",
			"%s is a device or a socket and no file; it was not opened", quoted(path))
	}
	return await(u, func() ([]byte, error) { return readOwn(path, limit) })
}

func readOwn(path string, limit int64) ([]byte, error) {
	f, err := os.Open(path)
	if notExist(err) {
		return nil, usagef("check the name", "there is no file %s", quoted(path))
	}
	if err != nil {
		return nil, usagef("check the name and who may read it", "%s cannot be read", quoted(path))
	}
	defer f.Close()
	if err := keys.CheckOwn(path, f); err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		return nil, usagef("check that it is a file and not a folder", "%s cannot be read", quoted(path))
	}
	if int64(len(data)) > limit {
		return nil, usagef("check that it is the right file", "%s is larger than %d bytes", quoted(path), limit)
	}
	return data, nil
}

// readBounded reads a whole small file named on the command line: a plain one, no link.
func readBounded(path string, limit int64) ([]byte, error) {
	if path == os.DevNull {
		return nil, nil // an empty file by its usual name
	}
	root, name, err := durable.At(path)
	var data []byte
	if err == nil {
		defer root.Close()
		data, err = durable.Read(root, name, limit)
	}
	var refused *durable.Refusal
	switch {
	case err == nil:
		return data, nil
	case notExist(err):
		return nil, usagef("check the name", "there is no file %s", quoted(path))
	case errors.As(err, &refused) && refused.Is != "":
		return nil, usagef("name the file itself", "%s is %s and no plain file; it was not opened", quoted(path),
			refused.Is)
	case errors.As(err, &refused):
		return nil, refused
	case errors.As(err, new(*durable.TooLargeError)):
		return nil, usagef("check that it is the right file", "%s is larger than %d bytes", quoted(path), limit)
	}
	return nil, usagef("check the name and who may read it", "%s cannot be read", quoted(path))
}
