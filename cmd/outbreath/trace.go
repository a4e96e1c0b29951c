package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/pack/site"
)

// A traceResult is the JSON form of trace.
type traceResult struct {
	OK        bool     `json:"ok"`
	SubjectID string   `json:"subject_id"`
	Kind      string   `json:"kind"` // whose pseudonym it is: "subject" or "session"
	KeyID     string   `json:"key_id"`
	Records   []string `json:"records"`
	Withdrawn bool     `json:"withdrawn"` // consent was withdrawn since
	Shipments []string `json:"shipments"` // that hold the subject's data
	Unlisted  []string `json:"unlisted"`  // of those, the ones sealed before their contents were noted
}

func newTraceCmd(u *ui, o *options) *cobra.Command {
	var reason, by string
	c := &cobra.Command{
		Use:   "trace COLLECTION PSEUDONYM --reason TEXT",
		Short: "Lead a pseudonym back to its subject, for an authorised finding",
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

func runTrace(u *ui, o *options, dir, typed, reason, by string) error {
	name, err := deid.ParsePseudonym(typed)
	if err != nil {
		return usagef("compare it with the print: four groups of four and one check character", "%s", err)
	}
	col, err := loadCollection(u, dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	entry, err := officerEntry(col, by, reason, traceEntry)
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
	all := journal.Generations
	found, ok := deid.Trace(all, col, name)
	entry.Facts = map[string]string{"pseudonym": name, "found": strconv.FormatBool(ok)}
	r := traceResult{OK: true, SubjectID: found.SubjectID, Kind: found.Kind, KeyID: found.KeyID, Records: nonNil(found.Records)}
	if ok {
		names, err := deid.Pseudonyms(all, found.SubjectID)
		if err != nil {
			return err
		}
		r.sent(journal, names)
		entry.Facts["key_id"], entry.Facts["withdrawn"] = found.KeyID, strconv.FormatBool(r.Withdrawn)
	}
	if err := journal.Append(entry); err != nil {
		return fmt.Errorf("nothing is shown, because it could not be written into %s: %w", custodyFile, err)
	}
	if !ok {
		if err := u.result(map[string]any{"ok": false, "pseudonym": name}, func(w io.Writer) {
			fmt.Fprintf(w, "nobody in this collection has that pseudonym, in any of the %s\nto do: try the other collections of this study; the question was logged\n", count(len(all), "key generation"))
		}); err != nil {
			return err
		}
		return statusError(exitResolve)
	}
	return u.result(r, r.print)
}

// sent notes whether the subject of these pseudonyms has withdrawn, and which shipments
// hold its data.
func (r *traceResult) sent(l *site.Log, pseudonyms []string) {
	gone := l.State.Gone()
	r.Withdrawn = slices.ContainsFunc(pseudonyms, func(p string) bool { return gone[p] })
	holding, unlisted := l.ShipmentsWith(pseudonyms)
	r.Shipments, r.Unlisted = nonNil(append(holding, unlisted...)), nonNil(unlisted)
}

func (r *traceResult) print(w io.Writer) {
	if r.Withdrawn {
		fmt.Fprintln(w, "caution: this subject has withdrawn consent; ask the committee before you pass anything on")
		fmt.Fprintf(w, "  shipments sealed before that still hold the data: %s\n", words(r.Shipments))
		if len(r.Unlisted) > 0 {
			fmt.Fprintf(w, "  of these it is not known whether they do: %s\n", words(r.Unlisted))
		}
	}
	fmt.Fprintf(w, "subject: %s\n  the pseudonym is of a %s, made with key %s\n", printable(r.SubjectID), r.Kind, r.KeyID)
	for _, file := range r.Records {
		fmt.Fprintf(w, "  %s\n", quoted(file))
	}
	fmt.Fprintln(w, "caution: this is personal data; pass it on only to whom the protocol names. Who asked and why is in custody.jsonl.")
}
