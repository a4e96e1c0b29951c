package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/pack/site"
	"outbreath/schema"
	"outbreath/schema/entry"
)

type custodyOptions struct {
	check, repair, restored    bool
	settle, giveUp, reason, by string
	receipt                    string
}

func newCustodyCmd(u *ui, o *options) *cobra.Command {
	s := &custodyOptions{}
	c := &cobra.Command{
		Use:   "custody COLLECTION",
		Short: "Show the state of each shipment, and prove that the log was not changed",
		Long: `List each shipment with what to do about it, then the log, custody.jsonl. First its
entries, its signature and the decisions in review.jsonl are compared with what the
site's key folder knows. A shipment without a receipt is overdue after receipt_days
(study.json; 14 unless it says otherwise).

Records that were changed with enter --amend are listed, with how many of their
values; amendments.jsonl in the collection has them.

--receipt checks the laboratory's receipt, and its signature against the
laboratories that the site's key folder trusts, and records it. Only then may a
medium be erased. What becomes of this collection is for your protocol and your
retention rules to decide.

--check reports how much of the log is signed, and its head. A collection that was
restored from a backup contradicts the key folder, and every command refuses it. If
nothing newer exists, the privacy officer accepts it as the current one with
--restored, --reason and --by: what is missing, who accepted it and why go into the
log. Numbers remain given, and subjects who have withdrawn remain left out.

What is set aside remains in the collection as evidence; delete none of it:
  custody.damaged-N.jsonl  a log that could not be read, and its .sig
  review.aside-N.jsonl     decisions that no signed entry of the log holds
  custody.torn-N           an unfinished last line that --repair moved
` + statusHelp,
		Example: "  outbreath custody week-48 --keys site-keys\n  outbreath custody week-48 --receipt " +
			"WEIR-0001.receipt.json --keys site-keys\n  outbreath custody week-48 --check --keys site-keys",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error { return runCustody(u, o, s, args[0]) },
	}
	f := c.Flags()
	f.BoolVar(&s.check, "check", false, "report how much of the log is signed, and its head")
	f.StringVar(&s.receipt, "receipt", "", "a laboratory's receipt to check and record; its signature is next to "+
		"it in FILE.sig")
	f.BoolVar(&s.repair, "repair", false, "set aside an incomplete last line")
	f.StringVar(&s.settle, "settle", "", "number of a shipment whose discrepancies are settled; needs --reason")
	f.StringVar(&s.giveUp, "give-up", "", "number of a shipment that will never be sent; needs --reason")
	f.BoolVar(&s.restored, "restored", false, "accept a collection that contradicts the key folder as the current "+
		"one; needs --reason and --by")
	f.StringVar(&s.reason, "reason", "", "why, or how it was settled, without anything about a person")
	f.StringVar(&s.by, "by", "", "who does this (default: the user's name on this computer)")
	return c
}

func runCustody(u *ui, o *options, s *custodyOptions, dir string) error {
	if err := s.usable(); err != nil {
		return err
	}
	col, err := loadCollection(u, dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	if err := textsMayStay(col, s.by, actText{"--reason", s.reason}); err != nil {
		return err
	}
	folder, err := siteFolder(u, o)
	if err != nil {
		return err
	}
	switch {
	case s.restored:
		return restoreLog(u, s, col, folder)
	case s.repair:
		return repairLog(u, col, folder)
	case s.receipt != "":
		return acknowledge(u, s, col, folder)
	case s.settle != "":
		return s.act(u, col, folder, s.settle, (*site.Log).Settle, "recorded as settled")
	case s.giveUp != "":
		return s.act(u, col, folder, s.giveUp, (*site.Log).GiveUp,
			"recorded as given up; the number is not used again. Tell the laboratory, so that its register does "+
				"not wait for it")
	}
	l, err := lookAtLog(u, col, folder)
	if err != nil {
		return err
	}
	doc := &custodyResult{Entries: nonNil(l.Entries), Shipments: l.Shipments(time.Now(), col.Study.ReceiptDays)}
	if doc.Amendments, doc.Torn, err = entry.Amendments(col.Root); err != nil {
		return err
	}
	if s.check {
		doc.Check = checkLog(l)
	}
	return doc.finish(u)
}

// usable refuses options that exclude each other.
func (s *custodyOptions) usable() error {
	var given []string
	for name, on := range map[string]bool{"--restored": s.restored, "--repair": s.repair, "--receipt": s.receipt != "",
		"--settle": s.settle != "", "--give-up": s.giveUp != ""} {
		if on {
			given = append(given, name)
		}
	}
	if slices.Sort(given); len(given) > 1 {
		return usagef("use one of them at a time", "%s cannot be used together", strings.Join(given, " and "))
	}
	return nil
}

// A custodyResult is the JSON form of custody.
type custodyResult struct {
	OK        bool               `json:"ok"`
	Entries   []custody.Entry    `json:"entries"`
	Shipments []custody.Shipment `json:"shipments"`
	Check     *logCheck          `json:"check,omitempty"`

	Amendments []entry.Amended `json:"amendments,omitempty"`      // how many values of which record
	Torn       int             `json:"amendments_torn,omitempty"` // lines of that log that cannot be read
}

// finish prints d, and returns an error with the exit status if a shipment is open or the
// log is not signed to its end.
func (d *custodyResult) finish(u *ui) error {
	status := exitOK
	for _, s := range d.Shipments {
		if s.Open() {
			status = exitResolve
		}
	}
	if d.Check != nil {
		status = max(status, d.Check.status)
	}
	d.OK = status == exitOK
	if err := u.result(d, d.print); err != nil {
		return err
	}
	if status != exitOK {
		return statusError(status)
	}
	return nil
}

func (d *custodyResult) print(w io.Writer) {
	rows := [][]string{{"SHIPMENT", "STATE", "SEALED", "RECEIPT", "TO DO"}}
	for _, s := range d.Shipments {
		rows = append(rows, []string{s.Shipment, stateWords(s), day(s.Sealed), day(s.Receipt), custodyToDo(s)})
	}
	if len(d.Shipments) > 0 {
		table(w, rows)
		fmt.Fprintln(w)
	}
	rows = [][]string{{"WHEN (UTC)", "WHO", "SHIPMENT", "WHAT", "WHY"}}
	for _, e := range d.Entries {
		rows = append(rows, []string{e.When.Format(time.DateTime), e.Who, e.Shipment, e.What, e.Why})
	}
	table(w, rows)
	d.printAmendments(w)
	if d.Check == nil {
		if len(d.Entries) == 0 {
			fmt.Fprintln(w, "the log has no entry yet")
		} else {
			fmt.Fprintf(w, "%s; the chain is unbroken\n", count(len(d.Entries), "entry"))
		}
		return
	}
	fmt.Fprintf(w, "%s\nhead of the log: %s\n", d.Check.Detail, d.Check.Head)
}

// day formats a date in local time, "-" for none.
// printAmendments says how many values were changed in which records, and none of them.
func (d *custodyResult) printAmendments(w io.Writer) {
	for _, a := range d.Amendments {
		fmt.Fprintf(w, "%s: %s amended; %s says what, who, when and why\n", quoted(a.Record), count(a.Values, "value"),
			entry.AmendmentsFile)
	}
	if d.Torn > 0 {
		fmt.Fprintf(w, "caution: %s of %s cannot be read: keep the file as it is, and look whether an earlier copy has "+
			"more\n", count(d.Torn, "line"), entry.AmendmentsFile)
	}
}

func day(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Local().Format(time.DateOnly)
}

// stateWords describes the state of a shipment in the words of the table.
func stateWords(s custody.Shipment) string {
	words := string(s.State)
	switch {
	case s.State == custody.Dead && s.GivenUp:
		return "given up"
	case s.State == custody.Discrepancies && s.Settled:
		words = "acknowledged, discrepancies settled"
	case s.State == custody.Discrepancies:
		words = "acknowledged, with discrepancies"
	case s.State == custody.Rejected && s.Settled:
		words = "rejected, settled"
	}
	if s.GivenUp {
		words += ", after it was given up"
	}
	return words
}

// custodyToDo returns what the site does next about a shipment. What happens to the site's
// own copy is for its own rules to decide, never for this program.
func custodyToDo(s custody.Shipment) string {
	const mayErase = "the medium may be erased; keep or destroy this copy as your protocol and your own retention " +
		"rules say"
	switch s.State {
	case custody.Given:
		return "keep this collection and any medium with it until the receipt arrives"
	case custody.Overdue:
		return fmt.Sprintf("no receipt for %d days: ask the laboratory by telephone, and keep this collection", s.Days)
	case custody.Acknowledged:
		return mayErase
	case custody.Discrepancies:
		if s.Settled {
			return mayErase
		}
		return "settle each tube of the receipt with the laboratory, then record it with --settle; until then " +
			"keep medium and collection"
	case custody.Rejected:
		if s.Settled {
			return "nothing"
		}
		return "the laboratory uses nothing of it: keep this collection, find out why, and seal again"
	case custody.Unfinished:
		return "the computer stopped while it was being sealed: the next seal settles it"
	}
	if s.GivenUp {
		return "the number is not used again; if the shipment arrives after all, record its receipt with --receipt"
	}
	return "nothing: the number is not used again"
}

// act records an act about one shipment number, which needs a reason, in the log, and
// prints said.
func (s *custodyOptions) act(u *ui, col *schema.Collection, folder *keys.Folder, asked string,
	do func(*site.Log, string, custody.Entry) error, said string) error {
	number, err := site.ParseNumber(col.Study.Site, asked)
	if err != nil {
		return err
	}
	e, err := officerEntry(col, s.by, s.reason)
	if err != nil {
		return err
	}
	l, err := openLog(u, col, folder)
	if err != nil {
		return err
	}
	defer l.Release()
	if err := do(l, number, e); err != nil {
		return err
	}
	return u.result(map[string]any{"ok": true, "shipment": number}, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %s\n", number, said)
	})
}

// restoreLog accepts a collection that contradicts the key folder as the current one. It is
// an officer's act, recorded with name and reason.
func restoreLog(u *ui, s *custodyOptions, col *schema.Collection, folder *keys.Folder) error {
	e, err := officerEntry(col, s.by, s.reason)
	if err != nil {
		return err
	}
	if s.by == "" {
		return usagef("give the officer's name with --by NAME", "--restored needs --by NAME")
	}
	l, done, err := site.Restore(siteOptions(col, folder), e)
	if err != nil {
		return err
	}
	defer l.Release()
	doc := restoreResult{OK: true, Conflict: done.Kind,
		Unproven: nonNil(l.Entries[done.Here-done.Unproven : done.Here]),
		Damaged:  done.Damaged, Decisions: done.Decisions, Void: done.Void, Recalled: done.Recalled}
	return u.result(doc, func(w io.Writer) { doc.print(w, done) })
}

// A restoreResult is the JSON form of custody --restored.
type restoreResult struct {
	OK        bool            `json:"ok"`
	Conflict  site.Kind       `json:"conflict"`
	Unproven  []custody.Entry `json:"unproven"`          // entries accepted that nobody had signed
	Damaged   string          `json:"damaged,omitempty"` // file to which the damaged log was moved
	Decisions string          `json:"decisions_set_aside,omitempty"`
	Void      int             `json:"decisions_void"`
	Recalled  int             `json:"recalled"` // entries about shipments restored from the key folder
}

func (d restoreResult) print(w io.Writer, done *site.Restoration) {
	fmt.Fprintf(w, "recorded, with the reason: %s\n", done)
	if d.Damaged != "" {
		fmt.Fprintf(w, "The damaged log is now in %s; keep it.\n", d.Damaged)
	}
	printUnproven(w, d.Unproven)
	if d.Decisions != "" {
		fmt.Fprintf(w, "caution: %s held what no signed entry of the log holds, and is now in %s; keep it. %s; "+
			"those that the log holds remain in force. Run outbreath review before anything is sealed\n",
			reviewFile, d.Decisions, voidDecisions(d.Void))
	}
	fmt.Fprintf(w, "This log is now the current one. Numbers that were given remain given, and subjects who "+
		"have withdrawn remain left out.\n")
	if d.Recalled > 0 {
		fmt.Fprintf(w, "%s about shipments restored from the key folder.\nto do: record the laboratory's "+
			"receipts again with --receipt, including those that were recorded before\n", count(d.Recalled, "entry"))
	}
	if d.Conflict == site.NoState || d.Conflict == site.StateAltered {
		fmt.Fprintln(w, "to do: run this for the study's other collections too, before anything is sealed: only "+
			"then does the key folder know their numbers and withdrawals again")
	}
}

func voidDecisions(n int) string {
	if n == 1 {
		return "1 decision is void and must be made again"
	}
	return fmt.Sprintf("%d decisions are void and must be made again", n)
}

// printUnproven lists the accepted entries that anybody may have written.
func printUnproven(w io.Writer, list []custody.Entry) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(w, "caution: %s neither signed nor known to the key folder; anybody may have written what "+
		"follows. Is all of it true?\n", wereEntries(len(list)))
	for _, e := range list {
		fmt.Fprintf(w, "  %d: %s  %s  %s  "+
			"%s  %s\n", e.Seq, e.When.Format(time.DateTime), printable(e.Who), e.Shipment, printable(e.What),
			printable(e.Why))
	}
}

func wereEntries(n int) string {
	if n == 1 {
		return "1 entry was"
	}
	return fmt.Sprintf("%d entries were", n)
}

// repairLog moves an incomplete last line to a file of its own, and records that in the
// log.
func repairLog(u *ui, col *schema.Collection, folder *keys.Folder) error {
	l, err := openLog(u, col, folder)
	if err != nil {
		return err
	}
	defer l.Release()
	if l.Torn == "" && l.Ended {
		return u.result(map[string]any{"ok": true, "moved": ""}, func(w io.Writer) {
			fmt.Fprintf(w, "the line feed at the end of %s was missing and has been restored\n", custodyFile)
		})
	}
	if l.Torn == "" {
		return u.result(map[string]any{"ok": true, "moved": ""}, func(w io.Writer) {
			fmt.Fprintf(w, "the last line of %s is complete; nothing was done\n", custodyFile)
		})
	}
	return u.result(map[string]any{"ok": true, "moved": l.Torn}, func(w io.Writer) {
		fmt.Fprintf(w, "the unfinished last line is now in %s; keep it. Entries can be added to the log again\n", l.Torn)
	})
}
