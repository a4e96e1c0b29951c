package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"outbreath/keys"
)

// keysNewOptions are the flags of keys new.
type keysNewOptions struct {
	role, name            string
	classic, noPassphrase bool
	identity, signing     string // files
	recipient             string
}

func newKeysNewCmd(u *ui, o *options) *cobra.Command {
	s := &keysNewOptions{}
	c := &cobra.Command{
		Use:   "new --role site|lab --name NAME",
		Short: "Make a new key folder",
		Long: `Make a new key folder: complete or not at all, and never over an existing one. At a
terminal you are asked for what the options leave open, and a strong passphrase is
suggested. The folder contains a page to print, ` + keepFile + `.
` + statusHelp,
		Example: "  outbreath keys new --role site --name WEIR\n" +
			"  outbreath keys new --role lab --name harbour-lab --keys lab-keys",
		RunE: func(c *cobra.Command, _ []string) error { return s.run(u, o) },
	}
	f := c.Flags()
	f.StringVar(&s.role, "role", "", "whose folder: site or lab")
	f.StringVar(&s.name, "name", "", "the site code, or a short name of the laboratory")
	f.BoolVar(&s.classic, "classic", false, "laboratory: an X25519 key, for tools older than age 1.3")
	f.StringVar(&s.identity, "identity", "", "laboratory: file with an existing key, "+
		"an OpenSSH private key or an age identity; it is copied")
	f.StringVar(&s.recipient, "recipient", "",
		"laboratory: the recipient (age1...) of an identity in a hardware token")
	f.StringVar(&s.signing, "signing-key", "",
		".pub file of the key to sign with, which an ssh-agent holds; the key is not copied")
	f.BoolVar(&s.noPassphrase, "no-passphrase", false, "write the keys without a passphrase")
	return c
}

// run makes the folder, prints its public keys and what to do with them.
func (s *keysNewOptions) run(u *ui, o *options) error {
	if err := askRoleAndName(u, &s.role, &s.name); err != nil {
		return err
	}
	if s.role != string(keys.Site) && s.role != string(keys.Lab) {
		return usagef("give --role site at a study site, --role lab at the laboratory", "--role must be site or lab")
	}
	if s.classic && s.role != string(keys.Lab) {
		return usagef("leave out --classic: the laboratory's key decides", "--classic is for a laboratory's key")
	}
	dir, err := o.dir()
	if err != nil {
		return err
	}
	n := keys.NewOptions{Role: keys.Role(s.role), Name: s.name, Classic: s.classic, Recipient: s.recipient}
	defer func() {
		clear(n.Identity)
		clear(n.Passphrase)
	}()
	if err := s.read(&n); err != nil {
		return err
	}
	if !s.noPassphrase {
		if n.Passphrase, err = choosePassphrase(u, o); err != nil {
			return err
		}
	}
	f, err := keys.Create(dir, n)
	if err != nil {
		return err
	}
	sheet, err := writeKeepSheet(f)
	if err != nil {
		return err
	}
	if err := printKeys(u, f); err != nil {
		return err
	}
	u.say("print %s, and keep copies as it says", quoted(sheet))
	u.say("give %s to the other side; then read your twelve words to them by telephone",
		quoted(f.Dir()+string(os.PathSeparator)+"public-keys.txt"))
	if s.noPassphrase {
		u.say("caution: these keys have no passphrase; whoever can read the folder can use them")
	}
	return nil
}

// read reads the existing keys that the options name.
func (s *keysNewOptions) read(n *keys.NewOptions) (err error) {
	if s.identity != "" {
		if n.Identity, err = keys.ReadSecret(s.identity); err != nil {
			return err
		}
	}
	if s.signing != "" {
		read := keys.ReadSecret
		if strings.HasSuffix(s.signing, ".pub") { // the private key is in an agent
			read = func(path string) ([]byte, error) { return keys.ReadHanded(path, 64<<10) }
		}
		n.Signing, err = read(s.signing)
	}
	return err
}

// askRoleAndName asks, at a terminal, for what the command line leaves open.
func askRoleAndName(u *ui, role, name *string) error {
	if !interactive(u) {
		return nil
	}
	if *role == "" {
		u.tell("A site's folder holds the key of the pseudonyms and signs shipments; a\nlaboratory's opens them.")
		answer, err := askLine(u, "Whose keys are these, site or lab? ")
		if err != nil {
			return err
		}
		*role = strings.ToLower(answer)
	}
	if *name == "" && (*role == string(keys.Site) || *role == string(keys.Lab)) {
		what := "The other side knows these keys by a name. Site code, as in study.json: "
		if *role == string(keys.Lab) {
			what = "The sites know these keys by a name. Short name of the laboratory, such as harbour-lab: "
		}
		answer, err := askLine(u, what)
		if err != nil {
			return err
		}
		*name = answer
	}
	return nil
}

// choosePassphrase suggests a passphrase at a terminal. The suggestion is the only secret
// that is ever shown: on the terminal only, to be written down, and it is wiped from the
// screen before the next question.
func choosePassphrase(u *ui, o *options) ([]byte, error) {
	if o.passphraseFile != "" || !interactive(u) {
		return newPassphrase(u, o)
	}
	u.tell("A passphrase protects the keys if somebody copies the folder. Without it the\n" +
		"keys are lost: write it down.")
	suggested := keys.SuggestPassphrase()
	for {
		const offer = "Suggested (7 words out of 2,048, chosen by this computer: 77 bits):\n\n    %s\n\n"
		text := fmt.Sprintf(offer, suggested)
		question := "Enter: written down, use it    n: suggest another    o: type my own  "
		u.ask(true, text+question)
		answer, err := readHidden(u)
		wipeLines(u, text+question)
		switch {
		case err != nil:
			clear(suggested)
			return nil, err
		case strings.EqualFold(answer, "n"):
			clear(suggested)
			suggested = keys.SuggestPassphrase()
			continue
		case strings.EqualFold(answer, "o"):
			clear(suggested)
			return newPassphrase(u, o)
		case strings.Join(strings.Fields(answer), " ") == string(suggested):
			u.tell("right; now type it once more, from your paper")
		case answer != "":
			u.tell("press Enter, n or o; here are the words again")
			continue
		}
		for range 5 {
			typed, err := passphrase(u, o, "the new keys, from your paper")
			if err != nil {
				return nil, err
			}
			if bytes.Equal(bytes.Join(bytes.Fields(typed), []byte(" ")), suggested) {
				clear(typed)
				return suggested, nil
			}
			clear(typed)
			u.tell("that is not the suggested passphrase; look at your paper")
		}
		clear(suggested)
		return nil, usagef("run keys new again; it suggests another passphrase",
			"what was typed is not the suggested passphrase; no key was made")
	}
}

// readHidden reads an answer without echo: it may be the secret on the screen.
func readHidden(u *ui) (string, error) {
	if u.tty == nil {
		return readLine(u)
	}
	defer fmt.Fprintln(u.err)
	return await(u, func() (string, error) { return typedLine(u) })
}

// wipeLines clears text, and the line below it on which Enter was typed, from the screen.
func wipeLines(u *ui, text string) {
	width := 80
	if f, ok := u.err.(*os.File); ok {
		if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
			width = w
		}
	}
	rows := 0
	for line := range strings.SplitSeq(text, "\n") {
		rows += max(1, (len(line)+width-1)/width)
	}
	fmt.Fprintf(u.err, "\x1b[%dA\r\x1b[J", rows)
}

// newPassphrase asks for a new passphrase twice, and again if it is too short or the two
// differ. With --passphrase-file nobody is asked.
func newPassphrase(u *ui, o *options) ([]byte, error) {
	if o.passphraseFile != "" {
		pass, err := passphraseFromFile(u, o.passphraseFile)
		if err == nil && !longEnough(pass) {
			return nil, tooShort("the passphrase in the file")
		}
		return pass, err
	}
	what := fmt.Sprintf("the new keys (at least %d characters; several words are best)", leastPassphrase)
	for range 5 {
		first, err := passphrase(u, o, what)
		if errors.Is(err, errNoPassphrase) {
			return nil, usagef("run this at a terminal, name a file with --passphrase-file, or give --no-passphrase",
				"a passphrase is needed, and nobody can be asked for one here")
		}
		if err != nil {
			return nil, err
		}
		if !longEnough(first) {
			u.tell("that is too short")
			continue
		}
		again, err := passphrase(u, o, "the new keys, once more")
		if err != nil {
			return nil, err
		}
		if bytes.Equal(first, again) {
			return first, nil
		}
		u.tell("the two differ; type both again")
	}
	return nil, usagef("write a passphrase down first, then run the command again",
		"no passphrase was long enough and typed the same twice; no key was made")
}

// tooShort is the error about a passphrase that is too short; what says which one.
func tooShort(what string) error {
	return usagef("choose several words", "%s is too short: it needs at least %d characters", what, leastPassphrase)
}
