package main

import (
	"fmt"
	"io"
	"regexp"
	"slices"

	"outbreath/pack"
	"outbreath/pack/intake"
	"outbreath/pack/register"
)

// decisionWords are the decisions as the table and the heading of a verdict show them.
var decisionWords = map[pack.Decision]string{
	pack.Accepted:      "accepted",
	pack.Discrepancies: "accepted, with discrepancies",
	pack.Rejected:      "REJECTED: do not use anything of it",
	pack.NotVerified:   "NOT VERIFIED",
}

// doNext returns what intake does after a verdict.
func doNext(v *pack.Verdict) string {
	if v.Disputed {
		return "keep each medium as it is, use neither, and ask the site by telephone which contents count"
	}
	unknown := func(c pack.Check) bool { return c.Name == intake.CheckRegister && !c.OK }
	if slices.ContainsFunc(v.Checks, unknown) && v.Decision == pack.Accepted {
		return "run this again when the register works; until then analyse nothing of it"
	}
	switch v.Decision {
	case pack.NotVerified:
		return "see its path below, then verify it by itself"
	case pack.Rejected:
		return "keep the medium as it is, tell the site by telephone, and ask for a new copy"
	case pack.Discrepancies:
		for _, c := range v.Checks {
			if !c.OK && c.Name != "tubes" {
				return "settle each check marked NO, if need be with the site, before anything is analysed"
			}
		}
		if t := v.Tubes; t != nil && len(t.Missing)+len(t.Unexpected) == 0 {
			return "scan the tubes named again, and save a new list; none is missing"
		}
		return "search the box again, then ask the site about each tube named; do not analyse a tube without its record"
	}
	return "nothing: file it, and send the site its receipt"
}

// A verifyResult is the JSON document of verify and open.
type verifyResult struct {
	OK        bool            `json:"ok"`
	Shipments []*pack.Verdict `json:"shipments"`
	Tubes     *pack.TubeMatch `json:"tubes,omitempty"` // of all boxes, scanned together
	Folder    string          `json:"folder,omitempty"`
	Gaps      []register.Gap  `json:"gaps,omitempty"`     // of the sites that these shipments are from
	Receipts  []string        `json:"receipts,omitempty"` // files
	Error     string          `json:"error,omitempty"`    // why the register or a receipt lacks the verdicts
	ToDo      string          `json:"to_do,omitempty"`    // about the error

	dirs   []string
	status int // of the verdicts
}

func newVerifyResult(into string, dirs []string, r *intake.Result) *verifyResult {
	d := &verifyResult{
		Shipments: r.Shipments, Tubes: r.Tubes, Folder: into, Gaps: r.Gaps, Receipts: r.Receipts, dirs: dirs,
	}
	switch r.Decision() {
	case pack.Rejected:
		d.status = exitRejected
	case pack.NotVerified:
		d.status = exitStatus(r.WhyUnread())
	case pack.Discrepancies:
		d.status = exitResolve
	}
	d.OK = d.status == exitOK
	if err := r.Failed(); err != nil {
		d.OK, d.Error, d.ToDo = false, err.Error(), toDo(err)
	}
	return d
}

var shipmentFolder = regexp.MustCompile(`^[0-9A-Za-z-]+-[0-9]{4}$`).MatchString

// print writes the verdicts for people. Several shipments give a table first, and then the
// checks of those that were not simply accepted.
func (in *verifyResult) print(w io.Writer) {
	many := len(in.Shipments) > 1
	if many {
		rows := [][]string{{"SHIPMENT", "DECISION", "TO DO"}}
		for i, v := range in.Shipments {
			rows = append(rows, []string{in.name(i), decisionWords[v.Decision], doNext(v)})
		}
		table(w, rows)
	}
	for i, v := range in.Shipments {
		if many && v.Decision == pack.Accepted {
			continue
		}
		if many {
			fmt.Fprintf(w, "\n%s\n", quoted(in.dirs[i]))
		}
		printVerdict(w, in.name(i), v)
	}
	if in.Tubes != nil {
		fmt.Fprintln(w, "\nall boxes together:")
		printTubes(w, in.Tubes)
		if in.status == exitRejected {
			fmt.Fprintln(w, "  the tubes of a rejected shipment are not known, and may be among the unexpected")
		}
	}
	printGaps(w, in.Gaps)
	if in.Folder != "" && in.status != exitRejected {
		fmt.Fprintf(w, "unpacked into %s\n", quoted(in.Folder))
	}
	for _, name := range in.Receipts {
		fmt.Fprintf(w, "receipt: %s and its signature %s; send both to the site\n", quoted(name), quoted(name+".sig"))
	}
}

// name returns the number of shipment i, or its folder if the number is unknown.
func (in *verifyResult) name(i int) string {
	if n := in.Shipments[i].Shipment; shipmentFolder(n) {
		return n
	}
	return quoted(in.dirs[i])
}

// printVerdict prints one verdict: the decision, each check, damage, tubes, and what to do.
func printVerdict(w io.Writer, name string, v *pack.Verdict) {
	fmt.Fprintf(w, "%s: %s\n", name, decisionWords[v.Decision])
	rows := [][]string{}
	for _, c := range v.Checks {
		mark := "ok"
		if !c.OK {
			mark = "NO"
		}
		rows = append(rows, []string{"  " + mark, c.Name, c.Detail})
	}
	table(w, rows)
	printDamage(w, v)
	if v.Tubes != nil {
		printTubes(w, v.Tubes)
	}
	for _, x := range v.Stated {
		fmt.Fprintf(w, "  stated by the site: %s %s: %s\n", x.Kind, quoted(x.Barcode), x.Reason)
	}
	if v.Decision != pack.Accepted {
		fmt.Fprintf(w, "to do: %s\n", doNext(v))
	}
}

// printLines prints each element of "shipments" in --json as one line of JSON, and last the
// tubes of all boxes and the gaps.
func (in *verifyResult) printLines(u *ui) error {
	u.printed = true
	print := func(doc any) error { return writeJSON(u.out, doc, "") }
	for _, verdict := range in.Shipments {
		if err := print(verdict); err != nil {
			return err
		}
	}
	if in.Tubes != nil {
		if err := print(map[string]any{"tubes": in.Tubes}); err != nil {
			return err
		}
	}
	if in.Gaps != nil {
		return print(map[string]any{"gaps": in.Gaps})
	}
	return nil
}
