package main

import (
	"archive/tar"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/deid/audit"
	"outbreath/deid/rederive"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/schema"
)

// rederived is the part of an audit that computes again, from the source, what leaves.
type rederived struct {
	Tested     bool                `json:"tested"` // false: NotTested says why
	OK         bool                `json:"ok"`     // false if not tested
	Subjects   int                 `json:"subjects"`
	Sessions   int                 `json:"sessions"`
	KeyID      string              `json:"key_id"`
	Total      rederive.Tally      `json:"total"`
	Sorts      []rederive.Sort     `json:"sorts"`
	Mismatches []rederive.Mismatch `json:"mismatches"`
	NotTested  []rederive.Untested `json:"not_tested"`
	Spread     []rederive.Spread   `json:"distributions"`
	Keys       []rederive.KeyTest  `json:"key_tests"`
}

// notRederived lists the whole re-derivation as not tested.
func notRederived(why string) *rederived {
	return &rederived{Sorts: []rederive.Sort{}, Mismatches: []rederive.Mismatch{}, Spread: []rederive.Spread{},
		Keys: []rederive.KeyTest{}, NotTested: []rederive.Untested{
			{What: "everything that leaves, computed again from the source", Why: why}}}
}

func rederivedOf(r *rederive.Result) *rederived {
	return &rederived{true, r.OK(), r.Subjects, r.Sessions, r.Generation, r.Total, r.Sorts, r.Mismatches, r.NotTested,
		r.Spread, r.Keys}
}

// failed reports whether something was compared and differs, or nothing was compared
// where something should have been.
func (r *rederived) failed() bool { return r != nil && r.Tested && !r.OK }

// untested returns what could not be computed again, for the summary.
func (r *rederived) untested() (list []audit.Untested) {
	if r == nil {
		return nil
	}
	for _, n := range r.NotTested {
		what := n.What
		if n.Values > 0 {
			what += " (" + count(int(n.Values), "value") + ")"
		}
		list = append(list, audit.Untested{What: what, Why: n.Why})
	}
	return list
}

// sourceOf describes the collection to the package that computes everything again.
func (r *reading) sourceOf(generations []*keys.PseudonymKey) (rederive.Source, error) {
	study, plan := r.col.Study, r.col.Plan
	s := rederive.Source{Folder: r.col.Root.FS(), Study: study.Study, Site: study.Site, HoldingDays: study.HoldingDays,
		Plan: plan.Name, Fields: plan.Fields}
	if slices.Contains(schema.Builtin(), plan.Name) {
		s.Schema = schema.BuiltinSchema()
	} else {
		data, err := fs.ReadFile(s.Folder, path.Clean(plan.Name))
		if err != nil {
			return s, err
		}
		s.Schema = data
	}
	for _, k := range generations {
		s.Keys = append(s.Keys, k.Bytes())
	}
	for _, f := range r.findings {
		s.Findings = append(s.Findings, rederive.Finding{File: f.File, Pointer: f.Pointer, Start: f.Start, End: f.End,
			Class: string(f.Class), Decision: f.Decision, Automatic: f.Automatic, Moved: f.Moved})
	}
	for _, gone := range r.gone {
		s.LeftOut = append(s.LeftOut, gone.File)
	}
	return s, nil
}

// rederiveCollection computes again what would leave the collection.
func (d *auditResult) rederiveCollection(ctx context.Context, u *ui, r *reading) error {
	if r.cleared == nil {
		d.Rederived = notRederived("nothing would leave yet: correct the errors and decide the findings first")
		return nil
	}
	generations, err := r.folder.Generations()
	if err != nil {
		return err
	}
	source, err := r.sourceOf(generations[:1]) // the newest makes what leaves
	if err != nil {
		return err
	}
	u.say("computing it again from the source")
	c, err := rederive.New(ctx, source)
	if err != nil {
		return err
	}
	files := slices.Clone(r.cleared.Files())
	slices.SortFunc(files, func(a, b deid.File) int { return cmp.Compare(a.Name, b.Name) })
	p := u.progress("computing again")
	defer p.end()
	var done, total int64
	for _, f := range files {
		total += max(f.Size, 0)
	}
	for _, f := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := rederiveFile(c, f); err != nil {
			return err
		}
		done += max(f.Size, 0)
		p.update(done, total)
	}
	d.Rederived = rederivedOf(c.Result())
	d.OK = d.OK && !d.Rederived.failed()
	return nil
}

func rederiveFile(c *rederive.Comparison, f deid.File) error {
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	return c.File("data/"+f.Name, nil, r)
}

// An origin is the collection from which a shipment was made, with the comparison. The
// zero one is none.
type origin struct {
	reading *reading
	source  rederive.Source
	compare *rederive.Comparison
	ctx     context.Context
	err     error // of a comparison that began
}

// origin reads the collection that --collection names; without it, it returns none.
func (a *auditOptions) origin(ctx context.Context, u *ui, o *options) (*origin, error) {
	if a.collection == "" {
		if a.siteKeys != "" {
			return nil, usagef("name the collection with --collection, or leave out --site-keys",
				"--site-keys is for a shipment that is compared with its collection")
		}
		return &origin{}, nil
	}
	site := *o
	site.keysDir = cmp.Or(a.siteKeys, o.keysDir)
	folder, key, err := siteKey(u, &site, true)
	if err != nil {
		if a.siteKeys == "" {
			u.say("remark: --keys is the laboratory's key folder; name the site's with --site-keys")
		}
		return nil, err
	}
	generations, err := folder.Generations()
	if err != nil {
		return nil, err
	}
	col, err := loadCollection(u, a.collection)
	if err != nil {
		return nil, err
	}
	g := &origin{ctx: ctx}
	if g.reading, err = readWith(ctx, u, col, folder, key); err == nil {
		g.source, err = g.reading.sourceOf(generations)
	}
	if err != nil {
		col.Root.Close()
		return nil, err
	}
	return g, nil
}

func (g *origin) close() {
	if g.reading != nil {
		g.reading.col.Root.Close()
	}
}

// look returns a Looker that gives each file to other and, at the same time, to the
// comparison. An error of the comparison is kept for compared.
func (g *origin) look(other pack.Looker) pack.Looker {
	if g.reading == nil {
		return other
	}
	return func(path string, h *tar.Header, r io.Reader) error {
		if g.compare == nil && g.err == nil {
			g.source.Shipment = numberIn(h)
			g.compare, g.err = rederive.New(g.ctx, g.source)
		}
		if g.err != nil {
			return other(path, h, r)
		}
		from, to := io.Pipe()
		done := make(chan error, 1)
		go func() {
			err := errors.New("what leaves could not be computed again; tell the makers of this program")
			defer func() {
				recover() // a fault here must not end the program before the shipment's own checks
				io.Copy(io.Discard, from)
				done <- err
			}()
			err = g.compare.File(path, h, from)
		}()
		both := io.TeeReader(r, to)
		err := other(path, h, both)
		if _, rest := io.Copy(io.Discard, both); err == nil {
			err = rest
		}
		to.CloseWithError(err)
		if failed := <-done; g.err == nil {
			g.err = failed
		}
		return err
	}
}

// numberIn returns the shipment's number: the name of the bag's folder.
func numberIn(h *tar.Header) string {
	if h == nil {
		return ""
	}
	for i, c := range h.Name {
		if c == '/' {
			return h.Name[:i]
		}
	}
	return ""
}

// tell tells the audit of a shipment what the site knows, so that claims of attackers can be
// compared with the truth: if the shipment is of the key that the collection has now.
func (g *origin) tell(in *audit.Input, keyID string) {
	if r := g.reading; r != nil && r.draft != nil && deid.KeyID(r.log.Keys[0], r.col.Study.Study) == keyID {
		in.FromSite(r.col, r.draft, r.findings)
	}
}

// compared adds the result to the document of a shipment that was not rejected.
func (g *origin) compared(doc *auditResult) error {
	if g.reading == nil {
		doc.Rederived = notRederived("name the collection that the shipment was made from with --collection, and the " +
			"site's key folder with --site-keys")
		return nil
	}
	if study := g.reading.col.Study; study.Study != doc.Study || study.Site != doc.Site {
		return usagef("name the collection that this shipment was made from",
			"the shipment is of study %s, site %s, and the collection of study %s, site %s", doc.Study, doc.Site,
			study.Study, study.Site)
	}
	if g.err != nil {
		return g.err
	}
	doc.Rederived = rederivedOf(g.compare.Result())
	doc.Rederived.NotTested = append(doc.Rederived.NotTested, rederive.Untested{
		What: "the contact in READ-ME-FIRST.txt",
		Why:  "it is beside the archive and not computed again; verify compares the rest of that file: read it"})
	doc.OK = doc.OK && !doc.Rederived.failed()
	return nil
}

// mostMismatches is how many differences the screen lists; --json has all.
const mostMismatches = 20

// printRederived prints what was computed again and what differs.
func printRederived(w io.Writer, d *auditResult) {
	r := d.Rederived
	if r == nil || !r.Tested {
		return
	}
	b := r.Total.Bytes
	fmt.Fprintf(w, "computed again from the source, with the site's key: %s of %s\n", count(r.Sessions, "session"),
		count(r.Subjects, "subject"))
	rows := [][]string{{"WHAT LEAVES", "VALUES", "EQUAL", "DIFFER", "NOT TESTED"}}
	for _, s := range append(slices.Clone(r.Sorts), rederive.Sort{Name: "all", Tally: r.Total}) {
		rows = append(rows, []string{s.Name, fmt.Sprint(s.Values.All()), fmt.Sprint(s.Values.Rederived),
			fmt.Sprint(s.Values.Mismatched), fmt.Sprint(s.Values.NotTested)})
	}
	table(w, rows)
	fmt.Fprintf(w, "bytes: %d, of which %d are equal, %d in files that differ, %d not tested\n", b.All(), b.Rederived,
		b.Mismatched, b.NotTested)
	for _, s := range r.Spread {
		if s.Tested && s.OK {
			fmt.Fprintf(w, "shifts %s: so for %s (%s)\n", s.Name, count(s.Subjects, "subject"), s.Test)
		}
	}
	for _, k := range r.Keys {
		if k.Tested {
			fmt.Fprintf(w, "%s: %d tried, %d fit\n", k.Name, k.Tried, k.Hits)
		}
	}
	for i, m := range r.Mismatches {
		if i == mostMismatches {
			fmt.Fprintf(w, "and %d more differences; --json lists all\n", len(r.Mismatches)-i)
			break
		}
		fmt.Fprintf(w, "DIFFERS  %s: %s\n", strings.TrimSpace(m.File+" "+m.Field), m.What)
	}
}

// mismatchAdvice says what to do when what leaves is not what the source gives.
func mismatchAdvice(of string) string {
	if of == "collection" {
		return "do not seal; give the makers of this program these lines"
	}
	return "if records, decisions, plan or withdrawals changed after the sealing, compare with the folder as it was " +
		"then; otherwise ask the laboratory to set the shipment aside, and give the makers of this program these lines"
}
