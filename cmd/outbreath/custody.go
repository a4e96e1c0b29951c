package main

import (
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"outbreath/pack/custody"
	"outbreath/schema"
)

type custodyOptions struct {
	check, repair      bool
	settle, reason, by string
	receipt            string
}

func newCustodyCmd(u *ui, o *options) *cobra.Command {
	s := &custodyOptions{}
	c := &cobra.Command{
		Use:   "custody COLLECTION",
		Short: "Show where each shipment stands, and prove that the log was not changed",
		Long: `Show each shipment, what to do about it, and custody.jsonl after checking that
its chain of entries is unbroken. A shipment without a receipt is overdue after
receipt_days (study.json; 14 unless it says otherwise).

--receipt checks the laboratory's receipt, and its signature against the
laboratories that the site's key folder trusts, and records it. Only then may a
medium be erased. What becomes of this collection is for your protocol and your
retention rules to say.

--check also checks the signature over the log, with the site's key folder: it
proves that nothing was changed, removed or reordered since the last entry was
signed. What it cannot show: log and signature both put back to an earlier state,
or both removed. Write down the head that it prints, or keep the receipts: one
for a shipment that the log does not know tells the same.
` + statusHelp,
		Example: "  outbreath custody week-48\n  outbreath custody week-48 --receipt WEIR-0001.receipt.json --keys site-keys\n  outbreath custody week-48 --check --keys site-keys",
		Args:    cobra.ExactArgs(1),
		RunE:    func(c *cobra.Command, args []string) error { return runCustody(u, o, s, args[0]) },
	}
	f := c.Flags()
	f.BoolVar(&s.check, "check", false, "check the signature over the log too")
	f.StringVar(&s.receipt, "receipt", "", "a laboratory's receipt to check and record; its signature lies beside it in FILE.sig")
	f.BoolVar(&s.repair, "repair", false, "set aside a last line that was not written to its end")
	f.StringVar(&s.settle, "settle", "", "number of a shipment whose discrepancies are settled; needs --reason")
	f.StringVar(&s.reason, "reason", "", "how they were settled, without anything about a person")
	f.StringVar(&s.by, "by", "", "who does this (default: the user's name on this computer)")
	return c
}

func runCustody(u *ui, o *options, s *custodyOptions, dir string) error {
	col, err := loadCollection(dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	switch {
	case s.repair:
		return repairLog(u, o, s, col)
	case s.receipt != "":
		return acknowledge(u, o, s, dir, col.Study)
	case s.settle != "":
		return settleShipment(u, o, s, dir)
	}
	j, err := custody.Read(col.Root, custodyFile)
	if err != nil {
		return err
	}
	doc := &custodyResult{Entries: nonNil(j.Entries), Shipments: j.Shipments(time.Now(), col.Study.ReceiptDays)}
	if s.check {
		folder, err := siteFolder(u, o)
		if err != nil {
			return err
		}
		if doc.Check, err = checkLog(j, folder); err != nil {
			return err
		}
	}
	return doc.finish(u)
}

// A custodyResult is the JSON form of custody.
type custodyResult struct {
	OK        bool               `json:"ok"`
	Entries   []custody.Entry    `json:"entries"`
	Shipments []custody.Shipment `json:"shipments"`
	Check     *logCheck          `json:"check,omitempty"`
}

// finish prints d and gives the status.
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
	if d.Check == nil {
		fmt.Fprintf(w, "%s; the chain is unbroken\n", count(len(d.Entries), "entry"))
		return
	}
	fmt.Fprintf(w, "%s\nhead of the log: %s\n", d.Check.Detail, d.Check.Head)
}

func day(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Local().Format(time.DateOnly)
}

func stateWords(s custody.Shipment) string {
	switch {
	case s.State == custody.Discrepancies && s.Settled:
		return "acknowledged, discrepancies settled"
	case s.State == custody.Discrepancies:
		return "acknowledged, with discrepancies"
	case s.State == custody.Rejected && s.Settled:
		return "rejected, settled"
	}
	return string(s.State)
}

// custodyToDo says what the site does next about a shipment. What happens to its
// own copy is for its own rules to decide, never for this program.
func custodyToDo(s custody.Shipment) string {
	const mayErase = "the medium may be erased; keep or destroy this copy as your protocol and your own retention rules say"
	switch s.State {
	case custody.Given:
		return "keep this collection and any medium with it until the receipt is here"
	case custody.Overdue:
		return fmt.Sprintf("no receipt for %d days: ask the laboratory by telephone, and keep this collection", s.Days)
	case custody.Acknowledged:
		return mayErase
	case custody.Discrepancies:
		if s.Settled {
			return mayErase
		}
		return "settle each tube of the receipt with the laboratory, then record it with --settle; until then keep medium and collection"
	case custody.Rejected:
		if s.Settled {
			return "nothing"
		}
		return "nothing of it is used at the laboratory: keep this collection, find out why, and seal again"
	case custody.Unfinished:
		return "the computer stopped while it was sealed: the next seal settles it"
	}
	return "nothing: the number is not used again"
}

// settleShipment records that what a receipt objected to was settled.
func settleShipment(u *ui, o *options, s *custodyOptions, dir string) error {
	if s.reason == "" {
		return usagef("say with --reason how it was settled, without anything about a person", "--settle needs --reason TEXT")
	}
	folder, err := siteFolder(u, o)
	if err != nil {
		return err
	}
	j, err := openLog(u, dir, folder)
	if err != nil {
		return err
	}
	found := false
	for _, old := range j.Shipments(time.Now(), 0) {
		found = found || old.Shipment == s.settle && (old.State == custody.Discrepancies || old.State == custody.Rejected) && !old.Settled
	}
	if !found {
		return usagef("see outbreath custody for the shipments whose receipt objects to something", "there is nothing to settle about that shipment")
	}
	e := custody.Entry{When: now(), Who: operatorName(s.by), What: custody.Settled, Shipment: s.settle, Why: s.reason}
	if err := j.Append(e); err != nil {
		return err
	}
	return u.result(map[string]any{"ok": true, "shipment": s.settle}, func(w io.Writer) {
		fmt.Fprintf(w, "%s: recorded as settled\n", s.settle)
	})
}

// repairLog sets an unfinished last line aside, and says so in the log.
func repairLog(u *ui, o *options, s *custodyOptions, col *schema.Collection) error {
	folder, err := siteFolder(u, o)
	if err != nil {
		return err
	}
	_, err = custody.Read(col.Root, custodyFile)
	torn := errors.As(err, new(*custody.TornError))
	j, err := openLog(u, col.Dir, folder)
	if err != nil {
		return err
	}
	if !torn {
		return u.result(map[string]any{"ok": true, "moved": ""}, func(w io.Writer) {
			fmt.Fprintf(w, "the last line of %s is whole; nothing was done\n", custodyFile)
		})
	}
	name := j.Entries[len(j.Entries)-1].Facts["file"]
	return u.result(map[string]any{"ok": true, "moved": name}, func(w io.Writer) {
		fmt.Fprintf(w, "the unfinished last line is now in %s; keep it. The log can be added to again\n", name)
	})
}
