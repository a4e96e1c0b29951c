package main

import (
	"archive/tar"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/deid/audit"
	"outbreath/deid/leak"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/pack/intake"
	"outbreath/pack/place"
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
	KeyMade    string             `json:"key_made,omitempty"` // day on which the key file was written
	Sealed     string             `json:"sealed,omitempty"`
	Records    int                `json:"records"`
	Recordings int                `json:"recordings"`
	Tubes      int                `json:"tubes"`
	Fields     []deid.FieldLedger `json:"fields"`
	SafeHarbor []audit.Class      `json:"safe_harbor"`
	Route      *audit.Route       `json:"route,omitempty"`
	Leaks      []leak.Finding     `json:"leaks"`
	Decisions  []leak.Decision    `json:"decisions"` // on the leaks, with who and why
	Texts      deid.TextLedger    `json:"texts"`
	Problems   []schema.Problem   `json:"problems"`
	Checks     []pack.Check       `json:"checks"`
	Summary    *auditSummary      `json:"summary"`
	IssueKinds []audit.Kind       `json:"issue_kinds"` // the issues, those that say the same together
	// the classes that a limited data set excludes, for a plan under which true dates leave
	Limited []audit.Class `json:"limited_data_set,omitempty"`
	// names of the site's pseudonym keys, the present one first
	Generations []string        `json:"key_generations,omitempty"`
	Custody     []custody.Entry `json:"custody"`
	// subjects by age in years at their first session; 90: 90 and over
	Ages      map[int]int `json:"ages,omitempty"`
	Report    string      `json:"report,omitempty"`
	Signature string      `json:"signature,omitempty"`
	Unsigned  string      `json:"unsigned,omitempty"` // why there is no signature
	*figures
	// what leaves, computed again from the source; nil for a rejected shipment
	Rederived *rederived `json:"rederived,omitempty"`

	Made     string         `json:"-"`
	at       time.Time      // when it was made
	Program  string         `json:"program"`
	Whole    bool           `json:"-"`                // the recordings were read too
	Examples []deid.Example `json:"-"`                // one a field
	Leaves   []deid.Leaves  `json:"leaves,omitempty"` // beside the fields of the records
	Known    []string       `json:"known,omitempty"`  // to a laboratory, because it holds the box
	Output   *audit.Output  `json:"-"`
	folder   *keys.Folder
}

// figures is nil for a rejected shipment.
type figures = audit.Report

// auditOptions are the flags of audit: names of files, "" when not given.
type auditOptions struct{ report, roster, population, collection, siteKeys string }

func newAuditCmd(u *ui, o *options) *cobra.Command {
	a := &auditOptions{}
	c := &cobra.Command{
		Use:   "audit COLLECTION|SHIPMENT [--collection DIR] [--roster FILE] [--population FILE] --report FILE.html",
		Short: "Write the privacy officer's page: what leaves, how risky it is, and attacks on it",
		Long: `Write a page on what would leave (a collection, with the site's keys) or on what
did leave (a shipment, with the laboratory's keys). It begins with what fails, who
is at risk, the changes that help most, and what was not tested. Then it shows how
each field is treated, what was found and who decided on it, how far subjects can be
told apart, what attackers with the roster, the appointment book or the label would
gain, and every text that leaves, to read. The page is one file without scripts and
loads nothing from elsewhere. FILE.html.sig next to it is its signature by the
folder's key.

Of a collection, every value, name and byte that would leave is computed again from
the source by separate code, and compared. --collection does this with a shipment:
it names the folder that the shipment was made from, and --site-keys the site's key
folder, while --keys is the laboratory's. What could not be computed again is listed
as not tested.

--roster names the site's list of subjects if it is not in the collection. Without
it, a shipment cannot be attacked with what the site knows. --population names a
CSV table with columns named like fields ("sex", "postal_code"), values as they
leave, and a column "count". Keep the page with the site's records: it names
subjects by pseudonym. It is no legal determination of de-identification.

Uniqueness, and what a plan is known to leave, are reported for a person to judge.
Status 1 means a treatment that failed, an open finding or a query.
` + statusHelp,
		Example: "  outbreath audit week-48 --report audit.html\n" +
			"  outbreath audit /media/stick/WEIR-0001 --roster roster.csv --report sent.html --keys lab-keys\n" +
			"  outbreath audit /media/stick/WEIR-0001 --collection week-48 --keys lab-keys --site-keys site-keys",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error { return a.run(c, u, o, args[0]) },
	}
	c.Flags().StringVar(&a.report, "report", "", "HTML file to write; it must not exist")
	c.Flags().StringVar(&a.roster, "roster", "", "the site's list of subjects, in the form of roster.csv")
	c.Flags().StringVar(&a.collection, "collection", "", "the collection that the shipment was made from")
	c.Flags().StringVar(&a.siteKeys, "site-keys", "", "the site's key folder, with --collection")
	c.Flags().StringVar(&a.population, "population", "", "CSV table of how many people share values")
	return c
}

func (a *auditOptions) run(c *cobra.Command, u *ui, o *options, dir string) error {
	if err := place.Output(a.report); err != nil {
		return err
	}
	for _, path := range []string{a.report, a.report + ".sig"} {
		if a.report == "" {
			break
		}
		if _, err := os.Lstat(path); err == nil {
			return usagef("name a file that does not exist yet", "%s already exists; it was not touched",
				quoted(path))
		}
	}
	in := &audit.Input{}
	if err := a.read(in); err != nil {
		return err
	}
	of := a.auditCollection
	if _, err := os.Lstat(filepath.Join(dir, "study.json")); err != nil {
		if _, err := os.Lstat(filepath.Join(dir, "shipment.json")); err == nil {
			of = a.auditShipment
		} else if err := intake.Single(dir); err != nil {
			return err
		}
	}
	doc, err := of(c, u, o, dir, in)
	if err != nil {
		return err
	}
	doc.Program = programName()
	doc.at = time.Now()
	doc.Made = doc.at.Format("2006-01-02 15:04 -07:00")
	doc.IssueKinds = []audit.Kind{}
	if doc.figures != nil {
		doc.IssueKinds = audit.Fold(doc.Issues)
	}
	doc.Summary = doc.summarise()
	if a.report != "" {
		if err := doc.write(a.report); err != nil {
			return err
		}
	}
	if err := u.result(doc, func(w io.Writer) { printAudit(w, doc) }); err != nil {
		return err
	}
	switch {
	case doc.OK:
		return nil
	case doc.Of == "shipment" && doc.figures == nil:
		return statusError(exitRejected)
	}
	return statusError(exitResolve)
}

// read reads the files that the flags name.
func (a *auditOptions) read(in *audit.Input) error {
	if a.roster != "" {
		data, err := readBounded(a.roster, 64<<20)
		if err != nil {
			return err
		}
		roster, problems, err := schema.ParseRoster(data)
		if err != nil {
			return usagef("name a list in the form of roster.csv", "%s is not a usable list of subjects: %s",
				quoted(a.roster), err)
		}
		for _, p := range problems {
			if p.Severity == schema.Error {
				return usagef("correct the list, and run the command again", "%s, line %d: %s", quoted(a.roster),
					p.Line, p.Message)
			}
		}
		in.Roster = roster
	}
	if a.population != "" {
		data, err := readBounded(a.population, 64<<20)
		if err != nil {
			return err
		}
		if in.Population, err = audit.ParsePopulation(data); err != nil {
			return usagef("correct the table, and run the command again", "%s: %s", quoted(a.population), err)
		}
	}
	return nil
}

// auditCollection reports on what would leave the collection in dir.
func (a *auditOptions) auditCollection(c *cobra.Command, u *ui, o *options, dir string, in *audit.Input) (*auditResult,
	error) {
	if a.collection != "" {
		return nil, usagef("leave out --collection, or name a shipment",
			"--collection is what a shipment is compared with")
	}
	r, err := read(c.Context(), u, o, dir, true)
	if err != nil {
		return nil, err
	}
	defer r.col.Root.Close()
	if err := r.treated(); err != nil {
		return nil, err
	}
	ledger := r.draft.Ledger(r.findings, r.decisions)
	in.Fields, in.Sealed = audit.FieldsOf(ledger), time.Now()
	p := u.progress("looking at what would leave")
	out, err := audit.OfCollection(r.col, r.draft, r.cleared, r.decisions, r.findings, in, p.update)
	p.end()
	if err != nil {
		return nil, err
	}
	u.say("attacking it")
	report := examine(out, in)
	left, names := r.counts(), r.names()
	facts := &audit.Facts{Ledger: ledger, Findings: r.findings, Roster: rosterColumns(in.Roster),
		Recordings: left.Recordings, Report: report}
	doc := &auditResult{
		OK: r.ok() && report.OK(), Of: "collection", Name: filepath.Base(dir), Study: ledger.Study, Site: ledger.Site,
		Plan: ledger.Plan, KeyID: ledger.KeyID,
		Records: left.Records, Recordings: left.Recordings, Tubes: left.Tubes,
		Fields: ledger.Fields, Texts: ledger.Texts, Leaks: names.Findings(r.findings), Decisions: r.decided(),
		Problems: names.Problems(r.problems), Checks: []pack.Check{},
		Ages: audit.Ages(in), figures: report, Whole: r.cleared != nil, Output: out,
		Custody: []custody.Entry{},
	}
	doc.classes(facts)
	if err := doc.planned(r.col.Plan); err != nil {
		return nil, err
	}
	doc.site(r)
	if err := doc.rederiveCollection(c.Context(), u, r); err != nil {
		return nil, err
	}
	return doc, nil
}

// classes judges the classes of identifiers.
func (d *auditResult) classes(facts *audit.Facts) {
	d.SafeHarbor = audit.Eighteen(facts)
	judged := d.SafeHarbor
	if facts.Limited() {
		d.Limited = audit.Sixteen(facts)
		judged = d.Limited
	}
	d.Route = audit.RouteOf(facts, judged)
}

// planned adds what the plan itself says.
func (d *auditResult) planned(p *schema.Plan) (err error) {
	d.Leaves, d.Known = deid.Leaving(p), deid.KnownAnyway(p)
	d.Examples, err = deid.Examples(p)
	return err
}

// site adds what only the site knows: the custody log, the age of the key, the signer.
func (d *auditResult) site(r *reading) {
	d.Custody = nonNil(r.log.Entries)
	d.folder = r.folder
	for _, g := range r.log.Keys {
		d.Generations = append(d.Generations, deid.KeyID(g, r.col.Study.Study))
	}
	if info, err := os.Stat(filepath.Join(d.folder.Dir(), "pseudonym.key")); err == nil {
		d.KeyMade = info.ModTime().Format(time.DateOnly)
	}
}

// decided returns the decisions on the findings, in their order.
func (r *reading) decided() []leak.Decision {
	list := []leak.Decision{}
	for _, f := range r.findings {
		if d, ok := r.decisions.Of(f.ID); ok && f.Decision != "" {
			list = append(list, d)
		}
	}
	return list
}

// examine runs the audit, and adds to each attack that was not run what to do about it.
func examine(out *audit.Output, in *audit.Input) *audit.Report {
	report := audit.Examine(out, in)
	do := map[audit.Lack]string{
		audit.LacksRoster:  "; name one with --roster",
		audit.LacksArchive: ": run audit on the shipment too",
		audit.LacksSource:  ": run audit on the collection",
	}
	for i := range report.Attacks {
		report.Attacks[i].Detail += do[report.Attacks[i].Lacks]
	}
	for i := range report.NotTested {
		report.NotTested[i].Why += do[report.NotTested[i].Lacks]
	}
	return report
}

// rosterColumns returns the columns in which some row has a value.
func rosterColumns(r *schema.Roster) []string {
	if r == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(r.Columns), func(c string) bool {
		return !slices.ContainsFunc(r.Rows, func(row map[string]string) bool { return row[c] != "" })
	})
}

// auditShipment reports on what did leave. Of a rejected shipment it reports only the
// failed checks, because nothing in it can be believed.
func (a *auditOptions) auditShipment(c *cobra.Command, u *ui, o *options, dir string, in *audit.Input) (*auditResult,
	error) {
	folder, verify, err := labKeys(u, o)
	if err != nil {
		return nil, err
	}
	origin, err := a.origin(c.Context(), u, o)
	if err != nil {
		return nil, err
	}
	defer origin.close()
	if origin.reading != nil && in.Roster == nil {
		in.Roster = origin.reading.col.Roster
	}
	out := &audit.Output{Archive: true, Words: audit.NewWords(in.Roster)}
	var looked error
	verify.Look = origin.look(func(path string, h *tar.Header, r io.Reader) error {
		name, payload := strings.CutPrefix(path, "data/")
		if !payload || h == nil || looked != nil {
			return nil
		}
		out.Files = append(out.Files, audit.Entry{Name: name, Size: h.Size, ModTime: h.ModTime, Mode: h.Mode,
			UID: h.Uid, GID: h.Gid, Owner: h.Uname, Group: h.Gname})
		looked = out.Add(name, r) // returned only if the shipment is not rejected: its own checks come first
		return nil
	})
	verdict, err := intake.Verify(c.Context(), dir, verify)
	if err != nil {
		return nil, err
	}
	intake.Advise(verdict, toDo)
	doc := &auditResult{
		OK: verdict.Decision == pack.Accepted, Of: "shipment", Name: verdict.Shipment, Study: verdict.Study,
		Site: verdict.Site, Sealed: verdict.Sealed,
		Records: verdict.Sessions, Recordings: verdict.Recordings, Tubes: verdict.Count,
		Fields: []deid.FieldLedger{}, SafeHarbor: []audit.Class{}, Leaks: []leak.Finding{},
		Decisions: []leak.Decision{}, Problems: []schema.Problem{},
		Checks: verdict.Checks, Custody: []custody.Entry{}, folder: folder,
	}
	if verdict.Decision == pack.Rejected {
		return doc, nil
	}
	if looked != nil {
		return nil, looked
	}
	if err := origin.compared(doc); err != nil {
		return nil, err
	}
	ledger, err := deid.ParseLedger(verdict.Treatment)
	if err != nil {
		return nil, err
	}
	origin.tell(in, ledger.KeyID)
	in.Study, in.Site, in.Fields = ledger.Study, ledger.Site, audit.FieldsOf(ledger)
	in.Sealed, _ = time.Parse(time.DateOnly, verdict.Sealed)
	report := examine(out, in)
	facts := &audit.Facts{Ledger: ledger, Shipment: true, Roster: rosterColumns(in.Roster),
		Recordings: verdict.Recordings, Report: report}
	doc.OK = doc.OK && report.OK()
	doc.Plan, doc.KeyID, doc.Fields, doc.Texts = ledger.Plan, ledger.KeyID, ledger.Fields, ledger.Texts
	doc.figures, doc.Output, doc.Whole = report, out, true
	doc.classes(facts)
	if plan, err := schema.LoadPlan(ledger.Plan); err == nil && len(plan.Fields) == len(ledger.Fields) {
		if err := doc.planned(plan); err != nil {
			return nil, err
		}
	}
	return doc, nil
}
