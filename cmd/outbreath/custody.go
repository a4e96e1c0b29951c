package main

import (
	"fmt"
	"io"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"outbreath/pack/custody"
)

func newCustodyCmd(u *ui, _ *options) *cobra.Command {
	return &cobra.Command{
		Use:     "custody COLLECTION",
		Short:   "Show what happened to each shipment",
		Long:    "Show custody.jsonl, after checking that its chain of entries is unbroken.\n" + statusHelp,
		Example: "  outbreath custody week-48",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			col, err := loadCollection(args[0])
			if err != nil {
				return err
			}
			col.Root.Close()
			j, err := custody.Read(filepath.Join(args[0], custodyFile))
			if err != nil {
				return err
			}
			return u.result(map[string]any{"ok": true, "entries": nonNil(j.Entries)}, func(w io.Writer) {
				rows := [][]string{{"WHEN (UTC)", "WHO", "SHIPMENT", "WHAT", "WHY"}}
				for _, e := range j.Entries {
					rows = append(rows, []string{e.When.Format(time.DateTime), e.Who, e.Shipment, e.What, e.Why})
				}
				table(w, rows)
				fmt.Fprintf(w, "%s; the chain is unbroken\n", count(len(j.Entries), "entry"))
			})
		},
	}
}
