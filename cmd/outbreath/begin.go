package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"outbreath/schema"
)

func newBeginCmd(u *ui, _ *options) *cobra.Command {
	var study, site string
	c := &cobra.Command{
		Use:   "begin DIR --study CODE --site CODE",
		Short: "Lay out an empty collection folder",
		Long: "Lay out an empty collection: study.json, the roster's header row, a record to\ncopy, and " +
			"START-HERE.html, a page that explains them.\n" + statusHelp,
		Example: "  outbreath begin week-48 --study LARK-2 --site WEIR",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if study == "" || site == "" {
				return usagef("give both codes as the protocol writes them", "begin needs --study and --site")
			}
			if err := schema.Begin(args[0], study, site); err != nil {
				return err
			}
			return u.result(map[string]any{"ok": true, "folder": args[0]}, func(w io.Writer) {
				fmt.Fprintf(w, "%s is ready.\nNext: open START-HERE.html in it, write the contact into study.json, "+
					"fill roster.csv,\nand put a record of each session into sessions/.\n", quoted(args[0]))
			})
		},
	}
	c.Flags().StringVar(&study, "study", "", "study code")
	c.Flags().StringVar(&site, "site", "", "site code")
	return c
}
