package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/pack"
	"outbreath/schema"
)

// auditResult is the JSON form of audit, and what the page is made from.
type auditResult struct {
	OK         bool               `json:"ok"`
	Of         string             `json:"of"` // "collection" or "shipment"
	Name       string             `json:"name"`
	Study      string             `json:"study"`
	Site       string             `json:"site"`
	Plan       string             `json:"plan"`
	KeyID      string             `json:"key_id"`
	Records    int                `json:"records"`
	Recordings int                `json:"recordings"`
	Tubes      int                `json:"tubes"`
	Fields     []deid.FieldLedger `json:"fields"`
	Leaks      []leak.Finding     `json:"leaks"`
	Texts      deid.TextLedger    `json:"texts"`
	Problems   []schema.Problem   `json:"problems"`
	Checks     []pack.Check       `json:"checks"`
	Report     string             `json:"report,omitempty"`

	Made string `json:"-"`
}

func newAuditCmd(u *ui, o *options) *cobra.Command {
	var report string
	c := &cobra.Command{
		Use:   "audit COLLECTION|SHIPMENT --report FILE.html",
		Short: "Write the privacy officer's page: what leaves, how it is treated, what was found",
		Long: `Of a collection: what would leave, with the site's keys. Of a shipment: what did
leave, with the laboratory's keys. The page is one file without scripts and
loads nothing from elsewhere. It is no legal determination of de-identification.
` + statusHelp,
		Example: "  outbreath audit week-48 --report audit.html",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if report != "" {
				if _, err := os.Lstat(report); err == nil {
					return usagef("name a file that does not exist yet", "%s is there already; it was not touched", quoted(report))
				}
			}
			audit := auditCollection
			if _, err := os.Lstat(filepath.Join(args[0], "study.json")); err != nil {
				if _, err := os.Lstat(filepath.Join(args[0], "shipment.json")); err == nil {
					audit = auditShipment
				}
			}
			doc, err := audit(c, u, o, args[0])
			if err != nil {
				return err
			}
			doc.Made = time.Now().Format("2006-01-02 15:04 -07:00")
			if report != "" {
				if err := writeReport(report, doc); err != nil {
					return err
				}
				doc.Report = report
			}
			if err := u.result(doc, func(w io.Writer) { printAudit(w, doc) }); err != nil {
				return err
			}
			switch {
			case doc.OK:
				return nil
			case doc.Of == "shipment":
				return statusError(exitRejected)
			}
			return statusError(exitResolve)
		},
	}
	c.Flags().StringVar(&report, "report", "", "HTML file to write; it must not exist")
	return c
}

// auditCollection says what would leave.
func auditCollection(c *cobra.Command, u *ui, o *options, dir string) (*auditResult, error) {
	r, err := read(c.Context(), u, o, dir, true)
	if err != nil {
		return nil, err
	}
	defer r.col.Root.Close()
	if err := r.treated(); err != nil {
		return nil, err
	}
	ledger := r.draft.Ledger(r.findings)
	return &auditResult{
		OK: r.ok(), Of: "collection", Name: filepath.Base(dir), Study: ledger.Study, Site: ledger.Site, Plan: ledger.Plan, KeyID: ledger.KeyID,
		Records: r.col.Read.Records, Recordings: r.col.Read.Recordings, Tubes: r.col.Read.Tubes,
		Fields: ledger.Fields, Texts: ledger.Texts, Leaks: nonNil(r.findings), Problems: nonNil(r.problems), Checks: []pack.Check{},
	}, nil
}

// auditShipment says what did leave. A rejected shipment has no contents that
// could be told about.
func auditShipment(c *cobra.Command, u *ui, o *options, dir string) (*auditResult, error) {
	v, err := newVerifier(u, o, &verifyOptions{}, 1)
	if err != nil {
		return nil, err
	}
	verdict, err := v.verify(c.Context(), dir, "", nil, nil)
	if err != nil {
		return nil, err
	}
	doc := &auditResult{
		OK: verdict.Decision == pack.Accepted, Of: "shipment", Name: verdict.Shipment, Study: verdict.Study, Site: verdict.Site,
		Records: verdict.Sessions, Recordings: verdict.Recordings, Tubes: verdict.Count,
		Fields: []deid.FieldLedger{}, Leaks: []leak.Finding{}, Problems: []schema.Problem{}, Checks: verdict.Checks,
	}
	if verdict.Decision == pack.Rejected {
		return doc, nil
	}
	ledger, err := deid.ParseLedger(verdict.Treatment)
	if err != nil {
		return nil, err
	}
	doc.Plan, doc.KeyID, doc.Fields, doc.Texts = ledger.Plan, ledger.KeyID, ledger.Fields, ledger.Texts
	return doc, nil
}

func printAudit(w io.Writer, d *auditResult) {
	fmt.Fprintf(w, "%s %s: study %s, site %s, plan %q, key %s\n", d.Of, quoted(d.Name), d.Study, d.Site, d.Plan, dash(d.KeyID))
	fmt.Fprintf(w, "%s, %s, %s\n", count(d.Records, "record"), count(d.Recordings, "recording"), count(d.Tubes, "tube"))
	rows := [][]string{{"FIELD", "TREATMENT", "RISK", "VALUES"}}
	for _, f := range d.Fields {
		rows = append(rows, []string{f.Path, f.Treatment, dash(f.Risk), fmt.Sprint(f.Values)})
	}
	table(w, rows)
	printProblems(w, d.Problems)
	printFindings(w, d.Leaks)
	for _, c := range d.Checks {
		if !c.OK {
			fmt.Fprintf(w, "NO  %s: %s\n", c.Name, c.Detail)
		}
	}
	fmt.Fprintf(w, "texts searched: %d; findings %d, redacted %d, kept %d\n", d.Texts.Searched, d.Texts.Findings, d.Texts.Redacted, d.Texts.Kept)
	if d.Report != "" {
		fmt.Fprintf(w, "page written: %s\n", quoted(d.Report))
	}
	fmt.Fprintln(w, "This is no legal determination of de-identification: the privacy officer, the ethics committee,\nthe protocol and local law decide.")
}
