package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/keys"
	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/sessionlog"
	"outbreath/schema/sheet"
)

// demoStep is one command of the demo, and its result.
type demoStep struct {
	Who     string `json:"who"`
	Why     string `json:"why"`
	Command string `json:"command"`
	Status  int    `json:"status"`
	args    []string
	words   string // key folder whose words are compared
}

func newDemoCmd(u *ui, _ *options) *cobra.Command {
	return &cobra.Command{
		Use:   "demo DIR",
		Short: "Run the whole job on an invented study, showing each command",
		Long: `In DIR, make an invented collection, keys for its site and its laboratory, and a
folder that plays the medium. Then run the whole job on them and show the command of
each step, which you can repeat by hand. The demo's keys have no passphrase: never
use them for anything else.
` + statusHelp,
		Example: "  outbreath demo try-it",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return runDemo(c, u, args[0])
		},
	}
}

// runDemo makes the invented folders, and runs one command after another on them until one
// fails.
func runDemo(c *cobra.Command, u *ui, dir string) error {
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return usagef("name a folder that does not exist yet", "%s is not empty; it was not touched", quoted(dir))
	}
	at := func(name string) string { return filepath.Join(dir, name) }
	if err := os.MkdirAll(at("media"), 0o755); err != nil {
		return fmt.Errorf("the demo folder cannot be made: %w", err)
	}
	truth, err := demo.Write(at("collection"), demo.Options{Start: time.Now().AddDate(0, 0, -10)}) // fresh tubes
	if err != nil {
		return fmt.Errorf("the invented collection cannot be written: %w", err)
	}
	if err := logOf(at("collection"), at("log.xlsx")); err != nil {
		return fmt.Errorf("the invented log cannot be written: %w", err)
	}
	var box []string
	for _, s := range truth.Sessions {
		box = append(box, s.Tubes...)
	}
	if err := os.WriteFile(at("box.txt"), []byte(strings.Join(box, "\n")+"\n"), 0o644); err != nil {
		return fmt.Errorf("the invented tube list cannot be written: %w", err)
	}
	u.say("invented study %s, site %s: %s, %s, %s in %s", demo.Study, demo.Site, count(len(truth.Roster), "subject"),
		count(len(truth.Sessions), "session"), count(len(box), "tube"), quoted(at("collection")))

	site, lab := at("site-keys"), at("lab-keys")
	shipment := filepath.Join(at("media"), demo.Site+"-0001")
	steps := []*demoStep{
		{Who: "site", Why: "the site makes its keys", args: []string{"keys", "new", "--role", "site", "--name",
			demo.Site, "--no-passphrase", "--keys", site}},
		{Who: "lab", Why: "the laboratory makes its keys", args: []string{"keys", "new", "--role", "lab", "--name",
			"harbour-lab", "--no-passphrase", "--keys", lab}},
		{Who: "site", Why: "the site trusts the laboratory's public keys", args: []string{"keys", "trust",
			filepath.Join(lab, "public-keys.txt"), "--keys", site}, words: lab},
		{Who: "lab", Why: "the laboratory trusts the site's public key", args: []string{"keys", "trust",
			filepath.Join(site, "public-keys.txt"), "--keys", lab}, words: site},
		{Who: "privacy officer", Why: "how is each field treated?", args: []string{"plan", at("collection")}},
		{Who: "site coordinator", Why: "make the records from the log of the week", args: []string{"fill",
			at("collection"), "--from", at("log.xlsx"), "--yes"}},
		{Who: "site coordinator", Why: "is the folder ready to seal?", args: []string{"check",
			at("collection"), "--keys", site}},
		{Who: "privacy officer", Why: "a page to read and sign", args: []string{"audit", at("collection"), "--report",
			at("audit.html"), "--keys", site}},
		{Who: "site coordinator", Why: "seal it onto the medium, with the tubes in the box", args: []string{"seal",
			at("collection"), "--to", at("media"), "--tubes", at("box.txt"), "--keys", site}},
		{Who: "lab intake", Why: "is it what was sent, and are the tubes in the box?", args: []string{"verify",
			shipment, "--tubes", at("box.txt"), "--keys", lab}},
		{Who: "lab intake", Why: "unpack it for the analysis", args: []string{"open", shipment, "--into", at("opened"),
			"--keys", lab}},
	}
	for _, s := range steps {
		if s.words != "" {
			words, err := ownWords(s.words)
			if err != nil {
				return err
			}
			s.args = append(s.args, "--compared", words)
		}
		s.Command = "outbreath " + strings.Join(quoteAll(s.args), " ")
		out := u.out
		if u.json {
			out = io.Discard
		} else {
			fmt.Fprintf(u.out, "\n# %s: %s\n$ %s\n", s.Who, s.Why, s.Command)
		}
		s.Status = run(c.Context(), append(s.args, "--quiet"), strings.NewReader(""), out, u.err) // nobody is asked
		if s.Status != exitOK {
			fmt.Fprintf(u.err, "outbreath: error: the demo stopped at: %s\n", s.Command)
			return statusError(s.Status)
		}
	}
	return u.result(map[string]any{"ok": true, "folder": dir, "steps": steps}, func(w io.Writer) {
		fmt.Fprintf(w, "\nDone. Look into %s: the page audit.html, the sealed shipment in media, and what the "+
			"laboratory sees in opened.\nAll people, codes and numbers in it are invented.\n", quoted(dir))
	})
}

// logOf takes the records out of an invented collection, and writes the workbook log from
// which fill makes them again.
func logOf(collection, log string) error {
	c, err := schema.Load(collection)
	if err != nil {
		return err
	}
	defer c.Root.Close()
	var records []*schema.Node
	for _, s := range c.Sessions {
		records = append(records, s.Doc)
	}
	var book bytes.Buffer
	if err := sheet.Write(&book, sessionlog.BookOf(c.Plan, c.Study, records, c.Roster)); err != nil {
		return err
	}
	if err := os.WriteFile(log, book.Bytes(), 0o600); err != nil {
		return err
	}
	for _, s := range c.Sessions {
		if err := c.Root.Remove(s.File); err != nil {
			return err
		}
	}
	return nil
}

// ownWords returns the words that the owner of a key folder reads out.
func ownWords(dir string) (string, error) {
	f, err := keys.Open(dir, nil)
	if err != nil {
		return "", err
	}
	own, _, err := f.Public()
	return strings.Join(keys.SpokenWords(own), " "), err
}

func quoteAll(args []string) []string {
	out := make([]string, len(args))
	for i, a := range args {
		out[i] = quoted(a)
	}
	return out
}
