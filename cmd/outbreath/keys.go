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

// printKeys prints the public keys of a folder: its own with the twelve words, and those it
// trusts.
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

// openKeys opens the key folder. The passphrase is read when a key is first used; a wrong
// one typed at a terminal is asked for again.
func openKeys(u *ui, o *options) (*keys.Folder, error) {
	dir, err := o.dir()
	if err != nil {
		return nil, err
	}
	f, err := keys.Open(dir, func(what string) ([]byte, error) { return passphrase(u, o, what) })
	if _, missing := lstat(dir); notExist(err) && notExist(missing) { // else err names a file in it
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

// interactive reports whether somebody at a terminal can be asked.
func interactive(u *ui) bool { return terminal(u.in) && terminal(u.err) && !u.json }

// askLine asks a question at the terminal, and returns the answer without surrounding
// blanks.
func askLine(u *ui, question string) (string, error) {
	u.ask(false, question)
	return readLine(u)
}

// readSecret reads a line without echo, and restores the terminal however the reading
// ends.
func readSecret(u *ui, fd int) ([]byte, error) {
	before, err := term.GetState(fd)
	if err != nil {
		return nil, err
	}
	secret, err := await(u, func() ([]byte, error) { return term.ReadPassword(fd) })
	fmt.Fprintln(u.err)
	return secret, errors.Join(err, term.Restore(fd, before))
}

// readLine reads one line, with echo. It reads byte by byte, so that what follows remains
// for other readers.
func readLine(u *ui) (line string, err error) {
	err = u.tty.shown(func() (err error) {
		line, err = await(u, func() (string, error) { return typedLine(u) })
		return err
	})
	return line, err
}

// typedLine reads one line of less than 4 KiB, byte by byte.
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

// passphrase reads the passphrase of what from --passphrase-file or, if none is given, from
// the terminal.
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

// passphraseFromFile returns the first line of a file that only the user can read.
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

// leastPassphrase is the minimum length of a new passphrase, in characters.
const leastPassphrase = 12

func longEnough(pass []byte) bool { return utf8.RuneCount(pass) >= leastPassphrase }

// readPrivate reads a secret of at most limit bytes from a file or a pipe that only the
// user owns and can read. A pipe may remain empty for ever, so reading it can be
// interrupted.
func readPrivate(u *ui, path string, limit int64) ([]byte, error) {
	info, err := os.Stat(path) // a shell's <(...) is a link to a pipe
	if err == nil && info.Mode().Type()&^(fs.ModeNamedPipe|fs.ModeDir) != 0 {
		return nil, usagef("name an ordinary file, or a pipe",
			"%s is a device or a socket, not a file; it was not opened", quoted(path))
	}
	return await(u, func() ([]byte, error) { return readOwn(path, limit) })
}

// readOwn is readPrivate without the interrupt.
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

// readBounded reads a file of at most limit bytes named on the command line. It must be an
// ordinary file, not a link.
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
		return nil, usagef("name the file itself", "%s is %s, not an ordinary file; it was not opened", quoted(path),
			refused.Is)
	case errors.As(err, &refused):
		return nil, refused
	case errors.As(err, new(*durable.TooLargeError)):
		return nil, usagef("check that it is the right file", "%s is larger than %d bytes", quoted(path), limit)
	}
	return nil, usagef("check the name and who may read it", "%s cannot be read", quoted(path))
}
