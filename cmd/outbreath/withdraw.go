package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/place"
	"outbreath/pack/site"
	"outbreath/schema"
)

type withdrawOptions struct{ reason, to, by string }

// A withdrawResult is the JSON form of withdraw.
type withdrawResult struct {
	OK         bool     `json:"ok"`
	Notice     string   `json:"notice"`
	Signature  string   `json:"signature"`
	Pseudonyms []string `json:"pseudonyms"`
	Shipments  []string `json:"shipments"`
	Unlisted   []string `json:"unlisted"` // of those, the ones sealed before their contents were noted
	Tubes      []string `json:"tubes"`
}

func newWithdrawCmd(u *ui, o *options) *cobra.Command {
	s := &withdrawOptions{}
	c := &cobra.Command{
		Use:   "withdraw COLLECTION --reason TEXT --to FILE",
		Short: "Record a withdrawn consent, and write the signed notice for the laboratory",
		Long: `Ask for the subject's id at the terminal, or read it from standard input: it is never
part of the command line. Record the withdrawal in custody.jsonl and the key folder,
and leave the subject out of later seals of every collection of the study. Then write
a signed notice for the laboratory. It holds the subject's pseudonyms under every
generation of the key, the shipments that hold data under them, and the barcodes of
the tubes; nothing else.

Nothing is erased. What happens to records and tubes is for the protocol, the consent
and the law to decide. The notice lists the tubes of this collection only: run
withdraw for every collection of the study that holds the subject.
` + statusHelp,
		Example: `  outbreath withdraw week-48 --reason "consent withdrawn in writing" --to notice.json --keys site-keys`,
		Args:    cobra.ExactArgs(1),
		RunE:    func(c *cobra.Command, args []string) error { return runWithdraw(u, o, s, args[0]) },
	}
	c.Flags().StringVar(&s.reason, "reason", "", "why, without anything about a person; kept in custody.jsonl")
	c.Flags().StringVar(&s.to, "to", "", "file of the notice; its signature is written next to it, as FILE.sig")
	c.Flags().StringVar(&s.by, "by", "", "who records it (default: the user's name on this computer)")
	return c
}

// runWithdraw logs the withdrawal of one subject, then writes the notice.
func runWithdraw(u *ui, o *options, s *withdrawOptions, dir string) error {
	if s.to == "" {
		return usagef("name the file of the notice with --to FILE", "withdraw needs --to FILE")
	}
	if err := place.Output(s.to); err != nil {
		return err
	}
	for _, path := range []string{s.to, s.to + ".sig"} {
		if _, err := lstat(path); err == nil {
			return usagef("name a file that does not exist", "%s already exists; a notice is never "+
				"overwritten", quoted(path))
		}
	}
	col, err := loadCollection(u, dir)
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
	if _, err := lookAtLog(u, col, folder); err != nil && !tornOnly(err) { // before asking for the id in vain
		return err
	}
	id, err := oneSubject(u, col) // before the log is locked: others would wait for a person
	if err != nil {
		return err
	}
	journal, err := openLog(u, col, folder)
	if err != nil {
		return err
	}
	defer journal.Release()
	// The log comes first: even if the notice cannot be written, the subject is left out, and
	// withdraw can be run again.
	done, err := journal.WithdrawSubject(id, entry)
	if err != nil {
		return err
	}
	if err := writeSigned(folder, s.to, pack.NoticeNamespace, done.Notice.Encode()); err != nil {
		return fmt.Errorf("the withdrawal is recorded and later seals leave the subject out, but the notice was "+
			"not written; run withdraw again: %w", err)
	}
	if done.Strangers {
		u.say("caution: this collection has records of subjects who are not in roster.csv; if one is this " +
			"subject's under a wrong id, its tubes are missing from the notice")
		u.say("  to do: run check, which names them; correct their ids, and run withdraw again for a complete notice")
	}
	r := &withdrawResult{OK: true, Notice: s.to, Signature: s.to + ".sig", Pseudonyms: done.Pseudonyms,
		Shipments: nonNil(done.Shipments), Unlisted: nonNil(done.Unlisted), Tubes: nonNil(done.Tubes)}
	return u.result(r, func(w io.Writer) { r.print(w, folder.Name()) })
}

func (r *withdrawResult) print(w io.Writer, site string) {
	fmt.Fprintf(w, "recorded: later seals, of any collection of this study, leave the subject out\n")
	fmt.Fprintf(w, "  pseudonyms: %s\n  shipments:  %s\n  tubes:  "+
		"    %s\n", words(r.Pseudonyms), words(r.Shipments), words(r.Tubes))
	if len(r.Unlisted) > 0 {
		fmt.Fprintf(w, "  of these shipments it is not known whether they hold the subject's "+
			"data: %s\n", words(r.Unlisted))
	}
	fmt.Fprintf(w, "notice: %s, signed in %s\n", quoted(r.Notice), quoted(r.Signature))
	if site == "" {
		site = "SITE"
	}
	fmt.Fprintf(w, "Next: send both files to the laboratory, which checks them with\n  ssh-keygen -Y verify -f "+
		"allowed_signers -I %s -n %s -s %s < %s\nRun withdraw for the study's other collections too: each names "+
		"its own tubes.\n", site, pack.NoticeNamespace, quoted(r.Signature), quoted(r.Notice))
}

// oneSubject asks for the subject's id, and returns it as the roster has it.
func oneSubject(u *ui, col *schema.Collection) (id string, err error) {
	typed, err := askSubject(u)
	if err != nil {
		return "", err
	}
	id, err = site.SubjectOf(col, typed)
	if errors.As(err, new(*schema.QueriesError)) {
		u.tell("this id may belong to two people; nothing was written")
	}
	return id, err
}

// askSubject reads the subject's id: at a terminal without echo, otherwise from standard
// input, which must hold exactly one line.
func askSubject(u *ui) (string, error) {
	var line string
	if in, ok := u.in.(*os.File); ok && term.IsTerminal(int(in.Fd())) {
		u.ask(true, "subject id, as in roster.csv (it is not shown): ")
		b, err := readSecret(u, int(in.Fd()))
		if err != nil {
			return "", errors.New("the subject id could not be read from the terminal")
		}
		line = string(b)
	} else {
		text, err := io.ReadAll(io.LimitReader(u.in, 4096))
		if err != nil {
			return "", errors.New("the subject id could not be read from standard input")
		}
		line = strings.Trim(string(text), " \t\r\n\ufeff")
	}
	if strings.ContainsAny(line, "\r\n\u2028\u2029") || len(line) > 1000 {
		return "", usagef("give one id at a time: run withdraw once for each, with a notice "+
			"of its own", "standard input holds more than one line; nothing was written")
	}
	if line = strings.TrimSpace(line); line == "" {
		return "", usagef("type it when asked, or give it on standard input; never as an "+
			"argument", "no subject id was given")
	}
	return line, nil
}

// writeSigned signs text, and writes it and the signature as new files path and path.sig.
func writeSigned(f *keys.Folder, path, namespace string, text []byte) error {
	sig, err := f.Sign(namespace, text)
	if err != nil {
		return err
	}
	return writePair(path, text, sig, 0o644)
}
