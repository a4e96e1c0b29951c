package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
)

// options are the flags that every command takes.
type options struct {
	keysDir        string
	passphraseFile string
}

// statusHelp ends the help of every command.
var statusHelp = "\n" + strings.TrimRight(filled(statusList(), ""), "\n")

func newRootCmd(u *ui) *cobra.Command {
	o := &options{}
	root := &cobra.Command{
		Use:   "outbreath",
		Short: "Get breath-sampling session data to the laboratory, with its tubes and without its subjects' names",
		Long: `outbreath gets a site's session records and recordings to the analysis
laboratory: checked, pseudonymised, sealed on removable media, and verified on
arrival against the tubes in the box.

  site coordinator   begin, check, review, seal, custody
  lab intake         verify, open
  privacy officer    plan, audit, trace, withdraw

A clean check means that no listed pattern was found. It is no legal
determination of de-identification: the privacy officer, the ethics committee,
the protocol and local law decide.
` + statusHelp,
		Example:       "  outbreath demo DIR        the whole job on an invented study, step by step",
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.CompletionOptions.DisableDefaultCmd = true
	f := root.PersistentFlags()
	f.StringVar(&o.keysDir, "keys", "", "key folder (default: outbreath in the user's configuration folder)")
	f.StringVar(&o.passphraseFile, "passphrase-file", "", "read the passphrase from the first line of this file")
	f.BoolVar(&u.json, "json", false, "print one JSON document on standard output")
	f.BoolVar(&u.quiet, "quiet", false, "no progress, no remarks")
	root.Flags().Bool("version", false, "print which program this is: version, commit, Go, and the modules in it "+
		"with their sums")
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return usagef("see outbreath help "+c.Name(), "%s", flagMessage(err))
	})
	root.AddCommand(
		newBeginCmd(u, o), newFillCmd(u, o), newEnterCmd(u, o), newPlanCmd(u, o), newCheckCmd(u, o),
		newReviewCmd(u, o), newSealCmd(u, o),
		newCustodyCmd(u, o),
		newVerifyCmd(u, o), newOpenCmd(u, o), newTraceCmd(u, o), newWithdrawCmd(u, o), newAuditCmd(u, o),
		newKeysCmd(u, o), newDemoCmd(u, o),
	)
	root.SetHelpCommand(newHelpCmd(u, root))
	setTemplates(root)
	wrapArgs(u, root)
	return root
}

// wrapArgs replaces the library's errors about arguments by usage errors. The library's
// texts may repeat an argument, and somebody may have typed an identifier there: only the
// kind of mistake is reported.
func wrapArgs(u *ui, c *cobra.Command) {
	for _, sub := range c.Commands() {
		wrapArgs(u, sub)
		args := sub.Args
		if args == nil {
			args = cobra.NoArgs
		}
		sub.Args = func(c *cobra.Command, a []string) error {
			if args(c, a) != nil {
				do := "see outbreath help " + strings.TrimPrefix(c.CommandPath(), "outbreath ")
				if len(a) > 1 { // most often one name that the shell split at a blank
					do = `put a file name with a blank in it into quotation marks, "like this"; or ` + do
				}
				return usagef(do, "%s: wrong number of arguments; use: %s", c.CommandPath(), c.UseLine())
			}
			return nil
		}
		if sub.RunE == nil {
			sub.RunE = func(c *cobra.Command, a []string) error {
				if err := c.Help(); err != nil {
					return err
				}
				return statusError(exitUsage)
			}
		}
	}
	if c.Parent() == nil {
		c.Args = cobra.ArbitraryArgs
		c.RunE = func(c *cobra.Command, a []string) error {
			if asked, _ := c.Flags().GetBool("version"); asked && len(a) == 0 {
				return printVersion(u)
			}
			if len(a) > 0 {
				return usagef(near(c, a)+"outbreath help lists the commands and topics", "there is no such command")
			}
			return c.Help()
		}
	}
}

// flagMessage takes the option's name from a library message, and drops the rest, which may
// quote what was typed.
func flagMessage(err error) string {
	text := err.Error()
	for _, w := range strings.Fields(text) {
		w = strings.Trim(w, `",:`)
		if strings.HasPrefix(w, "--") {
			name, _, _ := strings.Cut(w, "=")
			return "the option " + name + " is unknown or its value is not usable"
		}
	}
	return "an option is unknown or its value is missing"
}

// dir returns the key folder's path.
func (o *options) dir() (string, error) {
	if o.keysDir != "" {
		return o.keysDir, nil
	}
	base, err := os.UserConfigDir()
	if err != nil {
		return "", usagef("name the key folder with --keys DIR", "there is no configuration folder for this user")
	}
	return filepath.Join(base, "outbreath"), nil
}

// notExist reports whether err means that a file is missing.
func notExist(err error) bool { return errors.Is(err, os.ErrNotExist) }
