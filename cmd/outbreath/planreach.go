package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/deid/audit"
	"outbreath/deid/reach"
	"outbreath/keys"
	"outbreath/pack/place"
	"outbreath/schema"
)

// reachOptions are the flags of plan that look for a coarser plan.
type reachOptions struct {
	target   []string
	leaveOut string
	write    string
}

func (p *reachOptions) flags(c *cobra.Command) {
	c.Flags().StringSliceVar(&p.target, "reach", nil,
		"look for the least change that reaches k=N, risk=R or l=N, or several, such as k=5,l=2")
	c.Flags().StringVar(&p.leaveOut, "leave-out", "0%", "with --reach: at most this share of the subjects may "+
		"be left out")
	c.Flags().StringVar(&p.write, "write", "", "with --reach: file for the plan found; it must not exist")
}

// reachHelp is the part of the command's help on --reach.
const reachHelp = `
--reach looks for the least change to the plan after which every subject shares the
fields marked "quasi" with others: k=5 means with at least four, risk=0.2 the same as a
chance, l=3 that each such group has three values of every field marked "sensitive".
It tries wider bands, coarser regions and rounding, and at last does without a field; it
prints what is lost. --leave-out 5% lets it leave out up to that share of the subjects,
where that loses less. --write FILE.json writes the plan found as a schema that
study.json can name. It holds for the records in the folder: measure every shipment.
Subjects who have withdrawn are not counted; the site's key folder knows them.
`

// asked reports whether --reach, or an option that belongs to it, was given.
func (p *reachOptions) asked(c *cobra.Command) bool {
	return slices.ContainsFunc([]string{"reach", "leave-out", "write"}, c.Flags().Changed)
}

// reachResult is the JSON form of plan --reach.
type reachResult struct {
	OK       bool         `json:"ok"` // the target is reached
	Plan     string       `json:"plan"`
	Study    string       `json:"study"`
	Site     string       `json:"site"`
	Target   reachFigures `json:"target"` // k and l asked for; 0: not asked for
	Subjects int          `json:"subjects"`
	Records  int          `json:"records"`
	Now      reachFigures `json:"now"`
	// After is measured on the records treated by the plan found; if the target is not reached,
	// it is the best that can be.
	After   reachFigures  `json:"after"`
	Changes []reachChange `json:"changes"`
	LeftOut reachLeft     `json:"left_out"`
	Loss    float64       `json:"loss_bits"` // bits of a subject, in the mean
	Of      float64       `json:"of_bits"`   // all bits of the quasi-identifiers now
	Tried   int           `json:"tried"`
	Least   bool          `json:"least"` // no plan of the lattice loses less; false: the search was cut short
	Why     string        `json:"why,omitempty"`
	Written string        `json:"written,omitempty"`
	Line    string        `json:"study_json,omitempty"` // the line for study.json

	toMove   bool            // the file lies outside of the collection
	dir      string          // of the collection
	fields   []reach.Axis    // for the screen
	levels   []int           // of the fields
	want     reach.Target    // as asked for
	without  *reach.Result   // with nobody left out; nil unless some may be
	sessions map[string]bool // files of the sessions that are left out
}

type reachFigures struct {
	K             int     `json:"k"`
	L             int     `json:"l"`
	Unique        int     `json:"unique"`
	ProsecutorMax float64 `json:"prosecutor_max"`
}

type reachChange struct {
	Field        string  `json:"field"`
	Before       string  `json:"before"`
	After        string  `json:"after"`
	Line         string  `json:"line"`
	Lost         string  `json:"lost"`
	ValuesBefore int     `json:"values_before"`
	ValuesAfter  int     `json:"values_after"`
	BitsBefore   float64 `json:"bits_before"`
	BitsAfter    float64 `json:"bits_after"`
}

type reachLeft struct {
	Subjects int      `json:"subjects"`
	Files    []string `json:"files"` // as shown: identifiers in names are masked
}

func figuresOf(r *audit.Risk) reachFigures {
	return reachFigures{r.K, r.L, r.Unique, r.ProsecutorMax}
}

// share reads "5%" as a share of 1.
func (p *reachOptions) share() (float64, error) {
	x, err := strconv.ParseFloat(strings.TrimSuffix(p.leaveOut, "%"), 64)
	if err != nil || !strings.HasSuffix(p.leaveOut, "%") || !(x >= 0 && x <= 50) {
		return 0, usagef("write for example --leave-out 5%", "--leave-out must be a share from 0 to 50 percent: 5%%")
	}
	return x / 100, nil
}

// place judges the file to write. It returns whether the file will lie beside study.json, where
// that can name it.
func (p *reachOptions) place(collection string) (inside bool, err error) {
	if p.write == "" {
		return false, nil
	}
	err = place.Output(p.write)
	if e, ok := errors.AsType[*place.Error](err); ok && e.Reason == place.OutputInCollection {
		there, err1 := os.Stat(filepath.Dir(p.write))
		here, err2 := os.Stat(collection)
		if inside = err1 == nil && err2 == nil && os.SameFile(there, here); inside {
			err = nil
		}
	}
	if err != nil {
		return false, err
	}
	if _, err := os.Lstat(p.write); err == nil {
		return false, usagef("name a file that does not exist yet", "%s already exists; it was not touched",
			quoted(p.write))
	}
	if slices.Contains(schema.Builtin(), filepath.Base(p.write)) {
		return false, usagef("name the file for example plan-k5.json", "a plan of that name comes with the program")
	}
	return inside, nil
}

// run looks for the plan.
func (p *reachOptions) run(u *ui, o *options, dir string) error {
	if p.target == nil {
		return usagef("add for example --reach k=5", "--leave-out and --write belong to --reach")
	}
	want, err := reach.ParseTarget(p.target...)
	if err != nil {
		return usagef("write for example --reach k=5, --reach risk=0.2 or --reach k=5,l=2", "--reach: %s", err)
	}
	share, err := p.share()
	if err != nil {
		return err
	}
	inside, err := p.place(dir)
	if err != nil {
		return err
	}
	col, err := loadCollection(u, dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	folder, key, err := siteKey(u, o, false)
	if err != nil {
		return err
	}
	r := &reading{col: col, folder: folder}
	if err := r.look(u); err != nil {
		return err
	}
	if n := r.counts().Records - len(col.Sessions); n > 0 {
		u.say("remark: %s with errors could not be counted; check lists them", count(n, "record"))
	}
	doc := &reachResult{Plan: col.Plan.Name, Study: col.Study.Study, Site: col.Study.Site, want: want, dir: dir,
		toMove: !inside, Records: len(col.Sessions)}
	if err := doc.search(u, r, key, share); err != nil {
		return err
	}
	if doc.OK && len(doc.Changes)+doc.LeftOut.Subjects > 0 {
		if err := doc.plan(u, r, key, p.write); err != nil {
			return err
		}
	}
	if err := u.result(doc, doc.print); err != nil || doc.OK {
		return err
	}
	return statusError(exitResolve)
}

// search fills in the figures now, and the choice with the least loss.
func (d *reachResult) search(u *ui, r *reading, key *keys.PseudonymKey, share float64) error {
	draft, err := treatedAll(r.col, key)
	if err != nil {
		return err
	}
	in := &audit.Input{}
	out, err := audit.OfCollection(r.col, draft, nil, r.decisions, nil, in, nil)
	if err != nil {
		return err
	}
	lattice, table := out.Lattice(in, r.col.Plan)
	d.Subjects = len(table.Rows)
	switch {
	case len(table.Quasi) == 0:
		return usagef(`give the fields that others could know of a subject "risk": "quasi" in a plan of the study's own: `+
			"see help plans", "the plan marks no field as a quasi-identifier, so there is nothing to measure")
	case d.want.L > 1 && len(table.Sensitive) == 0:
		return usagef(`leave out l, or mark fields with "risk": "sensitive" in a plan of the study's own`,
			"the plan marks no field as sensitive, so l cannot be measured")
	case d.Subjects < 2:
		return usagef("run this when more sessions are in the folder",
			"the records are of fewer than two subjects: nobody can be hidden among others")
	}
	d.Now = figuresOf(audit.Measure(table, nil))
	d.Target = reachFigures{K: d.want.K, L: d.want.L}
	if d.want.K > 1 {
		d.Target.ProsecutorMax = 1 / float64(d.want.K)
	}
	u.say("looking for the least change")
	best := reach.Search(lattice, d.want, int(share*float64(d.Subjects)+1e-9))
	if share > 0 {
		d.without = reach.Search(lattice, d.want, 0)
	}
	d.take(lattice, best, r, in, table)
	if !best.Reached {
		d.Why = whyNot(lattice, table, d.want)
	}
	return nil
}

// treatedAll treats every record of c; the error lists those that cannot be treated.
func treatedAll(c *schema.Collection, key *keys.PseudonymKey) (*deid.Draft, error) {
	draft, err := treat(c, key)
	if q, ok := errors.AsType[*schema.QueriesError](err); ok {
		return nil, &schema.QueriesError{Problems: namesOf(c, nil, nil, q.Problems).Problems(q.Problems)}
	}
	return draft, err
}

// take describes the result of the search.
func (d *reachResult) take(lattice *reach.Table, best *reach.Result, r *reading, in *audit.Input, t *audit.Table) {
	d.OK, d.Tried, d.Least, d.Loss = best.Reached, best.Tried, best.Reached && !best.Cut, best.Loss
	d.fields, d.levels, d.Changes, d.LeftOut.Files = lattice.Axes, best.Levels, []reachChange{}, []string{}
	d.After = reachFigures{K: best.K, L: best.L}
	if best.K > 0 {
		d.After.ProsecutorMax = 1 / float64(best.K)
	}
	for i, l := range best.Levels {
		a := &lattice.Axes[i]
		now, then := a.Levels[0], a.Levels[l]
		d.Of += now.Bits
		if l > 0 {
			d.Changes = append(d.Changes, reachChange{a.Field.Path, now.Treatment.String(), then.Treatment.String(),
				reach.Line(then.Treatment), a.Lost(l), now.Values, then.Values, now.Bits, then.Bits})
		}
	}
	gone := map[string]bool{}
	for _, row := range best.Left {
		gone[t.Rows[row].Who] = true
	}
	d.LeftOut.Subjects, d.sessions = len(gone), map[string]bool{}
	names := r.names()
	for pseudonym, id := range in.SubjectOf {
		if !gone[pseudonym] {
			continue
		}
		for _, s := range r.col.Sessions {
			if s.Subject == id || sameSubject(s.Subject, id) {
				d.sessions[s.File] = true
			}
		}
	}
	for file := range d.sessions {
		d.LeftOut.Files = append(d.LeftOut.Files, names.Shown(file))
	}
	slices.Sort(d.LeftOut.Files)
}

// sameSubject reports whether two identifiers are one subject's.
func sameSubject(a, b string) bool {
	x, err1 := schema.Canonical(a)
	y, err2 := schema.Canonical(b)
	return err1 == nil && err2 == nil && x == y
}

// whyNot says what keeps the target out of reach.
func whyNot(lattice *reach.Table, t *audit.Table, want reach.Target) string {
	if want.K > len(t.Rows) {
		return fmt.Sprintf("there are %d subjects, and no class can hold more", len(t.Rows))
	}
	for i, values := range lattice.Sensitive {
		distinct := slices.Clone(values)
		slices.Sort(distinct)
		if n := len(slices.Compact(distinct)); n < want.L {
			return fmt.Sprintf("all subjects together have only %d different values of %s", n, t.Sensitive[i].Path)
		}
	}
	var fixed []string
	for _, a := range lattice.Axes {
		if a.Levels[len(a.Levels)-1].Values > 1 {
			fixed = append(fixed, a.Field.Path)
		}
	}
	return "the program itself needs " + strings.Join(fixed, ", ") + " as they are"
}

// plan makes the plan found, proves it on the records, and writes it to path unless that is "".
func (d *reachResult) plan(u *ui, r *reading, key *keys.PseudonymKey, path string) error {
	name := filepath.Base(cmp.Or(path, "plan.json"))
	changes := map[string]schema.Retreatment{}
	for i, l := range d.levels {
		now, then := d.fields[i].Levels[0].Treatment, d.fields[i].Levels[l].Treatment
		if l > 0 {
			changes[d.fields[i].Field.Path] = schema.Retreatment{Treatment: then,
				Why: fmt.Sprintf("Made coarser, from "+
					"%s to %s, so that the subjects of a collection reach %s together.", now, then, d.want)}
		}
	}
	data, err := r.col.Plan.Amended(name, changes)
	if err != nil {
		return fmt.Errorf("the plan that was found cannot be written as a schema: %w", err)
	}
	u.say("treating the records by the plan found, and measuring what would leave")
	if err := d.prove(r.col, key, name, data); err != nil || path == "" {
		return err
	}
	if err := writeOutput(path, data, 0o644); err != nil {
		return err
	}
	back, err := readBounded(path, 1<<20)
	if err == nil && !bytes.Equal(back, data) {
		err = fmt.Errorf("%s reads otherwise than it was written", quoted(path))
	}
	d.Written, d.Line = path, fmt.Sprintf(`"plan": "%s"`, name)
	return err
}

// prove loads the plan, treats by it the sessions that are not left out, and measures what would
// leave. A plan that does not hold what the search promised is an error of the program.
func (d *reachResult) prove(c *schema.Collection, key *keys.PseudonymKey, name string, data []byte) error {
	found, err := schema.ParsePlan(name, data)
	if err != nil {
		return err
	}
	with := *c
	with.Plan = found
	with.Sessions = slices.DeleteFunc(slices.Clone(c.Sessions), func(s *schema.Session) bool {
		return d.sessions[s.File]
	})
	draft, err := treatedAll(&with, key)
	if err != nil {
		return err
	}
	risk, err := audit.Figures(&with, draft)
	if err != nil {
		return err
	}
	d.After = figuresOf(risk)
	if risk.K < d.want.K || d.want.L > 1 && risk.L < d.want.L {
		return fmt.Errorf("the plan found has k %d and l %d on what would leave, less than the search "+
			"promised: nothing "+
			"was written", risk.K, risk.L)
	}
	return nil
}

// print shows the result on the screen.
func (d *reachResult) print(w io.Writer) {
	fmt.Fprintf(w, "plan %q, study %s, site %s: %s in %s, %s\n", d.Plan, d.Study, d.Site, count(d.Subjects, "subject"),
		count(d.Records, "record"), count(len(d.fields), "quasi-identifier"))
	fmt.Fprintf(w, "target: %s%s\n", d.want, d.Target.risk())
	fmt.Fprintf(w, "now: k %d, %d alone%s%s\n", d.Now.K, d.Now.Unique, d.Now.risk(), d.Now.diversity())
	switch {
	case !d.OK:
		fmt.Fprintf(w, "\nThe target cannot be reached: %s.\nThe best that can be reached is k %d%s, with:\n", d.Why,
			d.After.K, d.After.diversity())
	case len(d.Changes)+d.LeftOut.Subjects == 0:
		fmt.Fprintln(w, "\nThe plan reaches the target as it is; nothing was written.")
		return
	default:
		fmt.Fprintln(w, "\nwhat is lost:")
	}
	for i, l := range d.levels {
		a := &d.fields[i]
		now, then := a.Levels[0], a.Levels[l]
		fmt.Fprintf(w, "  %s\n", a.Field.Path)
		if l == 0 {
			fmt.Fprintf(w, "    unchanged, %.2f bits\n", now.Bits)
			continue
		}
		fmt.Fprintf(w, "    before: %s\n    after:  %s\n", reach.Say(a.Field.Path, now.Treatment),
			reach.Say(a.Field.Path, then.Treatment))
		fmt.Fprintf(w, "    lost:   %.2f of %.2f bits; %s become %d\n    plan:   %s\n", now.Bits-then.Bits, now.Bits,
			count(now.Values, "value"), then.Values, reach.Line(then.Treatment))
	}
	if !d.OK {
		return
	}
	d.printLeft(w)
	fmt.Fprintf(w, "\nafter: k %d, %d alone%s%s; measured on the records treated by this plan\n", d.After.K,
		d.After.Unique,
		d.After.risk(), d.After.diversity())
	proven := "no coarser form of this plan reaches the target with less"
	if !d.Least {
		proven = "the search was cut short after some seconds, so that another plan may lose less"
	}
	fmt.Fprintf(w, "loss: %.2f of %.2f bits a subject (non-uniform entropy; one bit is the difference between two\n"+
		"equally frequent values); %s (%d choices)\n", d.Loss, d.Of, proven, d.Tried)
	d.printWritten(w)
	fmt.Fprintln(w, "It holds for these records: measure again before every shipment. Whether it is enough is for\n"+
		"the privacy officer, the ethics committee, the protocol and local law to decide.")
}

// printLeft says who is left out, and how.
func (d *reachResult) printLeft(w io.Writer) {
	if d.without == nil {
		return
	}
	if d.LeftOut.Subjects == 0 {
		fmt.Fprintln(w, "left out: nobody; leaving subjects out would not lose less")
		return
	}
	fmt.Fprintf(w, "left out: %d of %s, %s:\n", d.LeftOut.Subjects, count(d.Subjects, "subject"),
		count(len(d.LeftOut.Files), "session"))
	for _, f := range d.LeftOut.Files {
		fmt.Fprintf(w, "  %s\n", f)
	}
	fmt.Fprintln(w, "  to do: before sealing, move these files and the recordings that they name out of the "+
		"collection into\n"+
		"  a folder that stays at the site, and take their tubes out of the box; note the reason in the study's file")
	if d.without.Reached {
		fmt.Fprintf(w, "  with nobody left out, %.2f bits would be lost in place of %.2f; then omit --leave-out\n",
			d.without.Loss, d.Loss)
	} else {
		fmt.Fprintln(w, "  with nobody left out, the target cannot be reached")
	}
}

// printWritten says where the plan is, and how it becomes the collection's.
func (d *reachResult) printWritten(w io.Writer) {
	if d.Written == "" {
		fmt.Fprintln(w, "nothing was written; --write FILE.json writes the whole plan")
		return
	}
	fmt.Fprintf(w, "plan written: %s\n", quoted(d.Written))
	move := ""
	if d.toMove {
		move = fmt.Sprintf("move it into %s, then ", quoted(d.dir))
	}
	fmt.Fprintf(w, "to do: %sgive study.json this line in place of its line with \"plan\", "+
		"and keep the comma if it has one:\n  %s\n", move, d.Line)
}

func (f reachFigures) risk() string {
	if f.ProsecutorMax == 0 {
		return ""
	}
	return fmt.Sprintf(", greatest risk %.3g", f.ProsecutorMax)
}

func (f reachFigures) diversity() string {
	if f.L == 0 {
		return ""
	}
	return fmt.Sprintf(", l %d", f.L)
}
