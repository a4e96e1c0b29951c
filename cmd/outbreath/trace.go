package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"outbreath/deid"
)

// A traceResult is the JSON form of trace.
type traceResult struct {
	OK        bool     `json:"ok"`
	SubjectID string   `json:"subject_id"`
	Kind      string   `json:"kind"` // whose pseudonym it is: "subject" or "session"
	KeyID     string   `json:"key_id"`
	Records   []string `json:"records"`
	Withdrawn bool     `json:"withdrawn"` // consent has been withdrawn since
	Shipments []string `json:"shipments"` // that hold the subject's data
	Unlisted  []string `json:"unlisted"`  // of those, the ones sealed before their contents were noted
}

func newTraceCmd(u *ui, o *options) *cobra.Command {
	var reason, by string
	c := &cobra.Command{
		Use:   "trace COLLECTION PSEUDONYM --reason TEXT",
		Short: "Trace a pseudonym back to its subject, for an authorised finding",
		Long: `Print the subject behind a pseudonym, at the site that holds the key and the
roster: for a finding that the protocol and the ethics committee allow to be
passed on. Every generation of the key is searched. Who asked and why is written
into custody.jsonl before anything is printed; what is printed is personal data.
` + statusHelp,
		Example: `  outbreath trace week-48 4Q7W-0CZ1-9JT3-HM2K-A --reason "incidental finding, approved by the committee" --keys site-keys`,
		Args:    cobra.ExactArgs(2),
		RunE:    func(c *cobra.Command, args []string) error { return runTrace(u, o, args[0], args[1], reason, by) },
	}
	c.Flags().StringVar(&reason, "reason", "", "why, without anything about a person; kept in custody.jsonl")
	c.Flags().StringVar(&by, "by", "", "who asks (default: the user's name on this computer)")
	return c
}

// runTrace logs who asks and why, and only then looks up and prints the subject.
func runTrace(u *ui, o *options, dir, typed, reason, by string) error {
	name, err := deid.ParsePseudonym(typed)
	if err != nil {
		return usagef("compare it with the printed one: four groups of four and one check character", "%s", err)
	}
	col, err := loadCollection(u, dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	entry, err := officerEntry(col, by, reason)
	if err != nil {
		return err
	}
	folder, err := siteFolder(u, o)
	if err != nil {
		return err
	}
	journal, err := openLog(u, col, folder)
	if err != nil {
		return err
	}
	defer journal.Release()
	found, err := journal.Trace(name, entry)
	if err != nil {
		return err
	}
	if !found.Found {
		if err := u.result(map[string]any{"ok": false, "pseudonym": name}, func(w io.Writer) {
			fmt.Fprintf(w, "nobody in this collection has that pseudonym, in any of the %s\nto do: try the other "+
				"collections of this study; the question was "+
				"logged\n", count(len(journal.Generations), "key generation"))
		}); err != nil {
			return err
		}
		return statusError(exitResolve)
	}
	r := traceResult{OK: true, SubjectID: found.SubjectID, Kind: found.Kind, KeyID: found.KeyID,
		Records: nonNil(found.Records), Withdrawn: found.Withdrawn, Shipments: nonNil(found.Shipments),
		Unlisted: nonNil(found.Unlisted)}
	return u.result(r, r.print)
}

func (r traceResult) print(w io.Writer) {
	if r.Withdrawn {
		fmt.Fprintln(w, "caution: this subject has withdrawn consent; ask the committee before you pass anything on")
		fmt.Fprintf(w, "  shipments sealed before then that hold the data: %s\n", words(r.Shipments))
		if len(r.Unlisted) > 0 {
			fmt.Fprintf(w, "  it is not known whether these do: %s\n", words(r.Unlisted))
		}
	}
	fmt.Fprintf(w, "subject: %s\n  the pseudonym is of a %s, made with "+
		"key %s\n", printable(r.SubjectID), r.Kind, r.KeyID)
	for _, file := range r.Records {
		fmt.Fprintf(w, "  %s\n", quoted(file))
	}
	fmt.Fprintln(w, "caution: this is personal data; pass it on only to those whom the protocol names. Who asked and "+
		"why is in custody.jsonl.")
}
