package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"time"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/durable"
	"outbreath/pack/site"
	"outbreath/schema"
)

// loadCollection reads the collection in dir. The caller closes c.Root.
func loadCollection(u *ui, dir string) (*schema.Collection, error) {
	workOnCollection()
	c, err := schema.Load(dir)
	if err == nil {
		sayShared(u, c)
		if len(c.Sessions) > manySessions {
			dropBallast()
		}
	}
	if notExist(err) && !errors.As(err, new(*schema.ConfigError)) {
		return nil, usagef("check the name, or create a collection with begin", "there is no collection folder at %s",
			quoted(dir))
	}
	return c, err
}

// sayShared warns of collection folders that other users can write to, because whatever
// they put there is read as the site's own.
func sayShared(u *ui, c *schema.Collection) {
	for _, name := range []string{".", "sessions", "recordings"} {
		who, err := durable.Shared(c.Root, name)
		if err != nil || who == "" {
			continue // a missing folder is reported elsewhere
		}
		path := filepath.Join(c.Dir, name)
		u.say("caution: %s of this computer can write to %s, and could replace records, recordings and decisions", who,
			quoted(path))
		u.say("  to do: if only you use it, run: chmod go-w %s; if others do, make sure that nobody else is in its group",
			quoted(path))
	}
}

// A reading is a collection as check, review, seal and audit see it: loaded, treated and
// searched, with everything that was found.
type reading struct {
	col       *schema.Collection
	folder    *keys.Folder // nil: the site has no key folder yet
	draft     *deid.Draft
	decisions *leak.Decisions
	searched  *deid.Draft   // of the records that could be treated; nil if none could
	cleared   *deid.Cleared // nil while anything is open
	tried     bool          // the rehearsal was run, whatever its result
	problems  []schema.Problem
	findings  []leak.Finding
	log       *site.Log         // nil without a key
	gone      []*schema.Session // left out, because consent was withdrawn
}

// read loads the collection in dir, treats it with the site's key, and puts it to
// every test of the data that seal does: see [reading.rehearse]. needed means that
// a missing key is an error. The caller closes col.Root.
func read(ctx context.Context, u *ui, o *options, dir string, needed bool) (*reading, error) {
	col, err := loadCollection(u, dir)
	if err != nil {
		return nil, err
	}
	r, err := readLoaded(ctx, u, o, col, needed)
	if err != nil {
		col.Root.Close()
	}
	return r, err
}

// readLoaded is [read] of a collection that is loaded already.
func readLoaded(ctx context.Context, u *ui, o *options, col *schema.Collection, needed bool) (*reading, error) {
	folder, key, err := siteKey(u, o, needed)
	if err != nil {
		return nil, err
	}
	return readWith(ctx, u, col, folder, key)
}

// readWith is [readLoaded] with a key folder that is open already, or nil for none.
func readWith(ctx context.Context, u *ui, col *schema.Collection, folder *keys.Folder,
	key *keys.PseudonymKey) (*reading, error) {
	r := &reading{col: col, folder: folder}
	if err := r.look(u); err != nil {
		return nil, err
	}
	at := time.Now()
	r.problems = slices.Concat(col.Problems, col.Future(at), col.Holding(at))
	if r.log != nil {
		r.add(r.log.Objections(col))
	}
	var queries *schema.QueriesError
	draft, err := treat(col, key)
	whole := err == nil
	if whole {
		r.draft = draft
	} else if errors.As(err, &queries) { // the other records are still searched
		r.add(queries.Problems)
		others := *col
		others.Sessions = slices.DeleteFunc(slices.Clone(col.Sessions), func(s *schema.Session) bool {
			return slices.ContainsFunc(queries.Problems, func(p schema.Problem) bool { return p.File == s.File })
		})
		draft, err = treat(&others, key)
	}
	if err == nil {
		err = r.search(ctx, u, draft, whole && key != nil)
	}
	if errors.As(err, &queries) {
		r.add(queries.Problems)
		err = nil
	}
	if err != nil {
		return nil, err
	}
	schema.SortProblems(r.problems)
	return r, nil
}

// look compares the collection with the state in the key folder, leaves out subjects who
// have withdrawn, and reads the decisions.
func (r *reading) look(u *ui) (err error) {
	if r.folder == nil {
		return nil // nothing can be decided or sealed without the key
	}
	sayOtherName(u.say, r.folder, r.col.Study.Site)
	r.log, err = lookAtLog(u, r.col, r.folder)
	if tornOnly(err) {
		u.say("remark: the last line of %s is incomplete; the next command that adds one sets it aside",
			custodyFile)
	} else if err != nil {
		return err
	}
	r.gone = r.log.LeaveOut(r.col)
	sayLeftOut(u, r.gone)
	if len(r.gone) > 0 && len(r.col.Sessions) == 0 {
		return site.ErrNobodyLeft
	}
	r.decisions, err = parseDecisions(r.log)
	return err
}

// counts returns how much was read, without the subjects who have withdrawn.
func (r *reading) counts() schema.Counts {
	c := r.col.Read
	for _, s := range r.gone {
		c.Records--
		c.Recordings -= len(s.Recordings)
		c.Tubes -= len(s.Tubes)
	}
	return c
}

// search looks for identifiers, and reads every recording to its end. rehearse means that
// the draft holds all records, so that releasing it can be tried.
func (r *reading) search(ctx context.Context, u *ui, draft *deid.Draft, rehearse bool) (err error) {
	r.searched = draft
	if r.findings, err = draft.Findings(r.decisions); err != nil {
		return err
	}
	if rehearse {
		if err := r.take(r.rehearse(ctx, u)); err != nil {
			return err
		}
	}
	p := u.progress("reading recordings")
	more, err := draft.CheckRecordings(ctx, p.update)
	p.end()
	for _, q := range more {
		if !slices.Contains(r.problems, q) { // what stopped the rehearsal is listed already
			r.problems = append(r.problems, q)
		}
	}
	return err
}

// rehearse puts the draft to every test that seal makes of the data, with the same code,
// so that seal refuses nothing that check has not listed.
func (r *reading) rehearse(ctx context.Context, u *ui) error {
	cleared, err := deid.Release(r.draft, r.decisions)
	if err != nil {
		return err
	}
	number := r.col.Study.Site + "-0001" // any; seal chooses one
	p := u.progress("reading what would leave")
	defer p.end()
	r.tried = true
	err = pack.Rehearse(ctx, cleared, pack.SealOptions{Number: number, Progress: p.update})
	if err == nil {
		r.cleared = cleared
	}
	return err
}

// take adds what an error of the rehearsal says about the data to the lists, and returns
// any other error.
func (r *reading) take(err error) error {
	if problems := deid.Objections(err); problems != nil {
		r.add(problems)
		return nil
	}
	var open *deid.FindingsError
	if !errors.As(err, &open) {
		return err
	}
	for _, f := range open.Findings {
		if !slices.ContainsFunc(r.findings, func(g leak.Finding) bool { return f.ID == g.ID }) {
			r.findings = append(r.findings, f)
		}
	}
	return nil
}

// treat applies the plan. treatment.json will name this program.
func treat(c *schema.Collection, key *keys.PseudonymKey) (*deid.Draft, error) {
	return treatAs(programName(), c, key)
}

// treatAs is treat under the name of another version of the program, for another copy of
// what that version sealed: the name is part of the bag.
func treatAs(program string, c *schema.Collection, key *keys.PseudonymKey) (*deid.Draft, error) {
	draft, err := deid.Treat(c, key)
	if err == nil {
		draft.MadeBy(program)
	}
	return draft, err
}

// add adds problems, except those that repeat a rule already broken at the same place.
func (r *reading) add(more []schema.Problem) {
	before := r.problems
	for _, p := range more {
		if !slices.ContainsFunc(before, func(q schema.Problem) bool {
			return q.File == p.File && q.Pointer == p.Pointer &&
				q.Rule == p.Rule
		}) {
			r.problems = append(r.problems, p)
		}
	}
}

// names returns the form in which the collection's file names are shown: identifiers in
// them are masked.
func (r *reading) names() *deid.FileNames {
	return namesOf(r.col, r.searched, r.decisions, r.problems)
}

// namesOf returns the form in which the file names of col, and those in problems, are
// shown. draft is nil if no record was treated.
func namesOf(col *schema.Collection, draft *deid.Draft, decisions *leak.Decisions,
	problems []schema.Problem) *deid.FileNames {
	if draft == nil {
		none := *col
		none.Sessions = nil
		var err error
		if draft, err = deid.Treat(&none, nil); err != nil {
			panic(err) // cannot fail: the plan was loaded, and there is no record
		}
	}
	var files []string
	for _, p := range slices.Concat(col.Problems, problems) {
		files = append(files, p.File)
	}
	for _, o := range col.Omitted {
		files = append(files, o.File)
	}
	for _, s := range col.Sessions {
		files = append(files, s.File)
		for _, r := range s.Recordings {
			files = append(files, r.File)
		}
	}
	return draft.FileNames(decisions, files)
}

// treated returns the problems as an error if they prevented the treatment of the
// records.
func (r *reading) treated() error {
	if r.draft == nil {
		return &schema.QueriesError{Problems: r.names().Problems(r.problems)}
	}
	return nil
}

// ok reports whether the data can be sealed: no error, and every finding decided.
func (r *reading) ok() bool {
	for _, p := range r.problems {
		if p.Severity == schema.Error {
			return false
		}
	}
	return len(openFindings(r.findings)) == 0
}

// parseDecisions parses the part of review.jsonl that the log vouches for.
func parseDecisions(l *site.Log) (*leak.Decisions, error) {
	d, err := leak.ParseDecisions(l.Review)
	if err != nil {
		return nil, &schema.ConfigError{File: reviewFile, Message: err.Error()}
	}
	return d, nil
}

// siteKey opens the pseudonym key. Without a key folder it returns nil and prints a
// remark, unless needed: then that is an error.
func siteKey(u *ui, o *options, needed bool) (*keys.Folder, *keys.PseudonymKey, error) {
	dir, err := o.dir()
	if err != nil {
		return nil, nil, err
	}
	if _, err := lstat(dir); notExist(err) && !needed && o.keysDir == "" {
		u.say("remark: there is no key folder yet, so findings have no numbers and cannot be decided on; make one " +
			"with keys new --role site")
		return nil, nil, nil
	}
	f, err := siteFolder(u, o)
	if err != nil {
		return nil, nil, err
	}
	key, err := f.PseudonymKey()
	return f, key, err
}

// sayOtherName warns if the keys have another name than the site, because a laboratory
// that trusts them under that name would reject the shipment.
func sayOtherName(say func(string, ...any), f *keys.Folder, site string) {
	if name := f.Name(); name != "" && name != site {
		say("caution: the keys in %s are named %s, but this collection is of site %s: a laboratory that trusts them "+
			"as %s will reject the shipment", quoted(f.Dir()), name, site, name)
		say("  to do: name the key folder of %s with --keys, or have the laboratory run keys trust with --name %s",
			site, site)
	}
}

// siteFolder opens the key folder, which must be a site's.
func siteFolder(u *ui, o *options) (*keys.Folder, error) {
	f, err := openKeys(u, o)
	if err == nil && f.Role() != keys.Site {
		return nil, usagef("name the site's folder with --keys DIR", "%s is a laboratory's key folder", quoted(f.Dir()))
	}
	return f, err
}

// openFindings returns the findings that wait for a decision.
func openFindings(all []leak.Finding) []leak.Finding {
	var open []leak.Finding
	for _, f := range all {
		if f.Open() {
			open = append(open, f)
		}
	}
	return open
}

// certainFindings counts the findings that are removed without a person's decision,
// except dates that are shifted.
func certainFindings(all []leak.Finding) (n int) {
	for _, f := range all {
		if f.Automatic && !f.Moved {
			n++
		}
	}
	return n
}

// printProblems prints problems one per line: file:line:column, what is wrong and what to
// do, and in brackets the rule and the JSON pointer.
func printProblems(w io.Writer, problems []schema.Problem) {
	for _, p := range problems {
		place := quoted(p.File)
		if p.Line > 0 {
			place += fmt.Sprintf(":%d:%d", p.Line, p.Column)
		}
		rule := p.Rule
		if p.Pointer != "" {
			rule += " " + printable(p.Pointer)
		}
		fmt.Fprintf(w, "%s: %s: %s [%s]\n", place, p.Severity, printable(p.Message), rule)
	}
}

// printFindings prints findings one per line, never the suspect text.
func printFindings(w io.Writer, findings []leak.Finding) {
	for _, f := range findings {
		id := f.ID
		if id == "" {
			id = "(no number)"
		}
		state := "undecided"
		if f.Automatic && f.Moved {
			state = "shifted with the subject's other dates, unless you decide to keep it"
		} else if f.Automatic {
			state = "removed on sealing, unless you decide to keep it"
		} else if f.Decision != "" {
			state = "decided: " + f.Decision
		}
		fmt.Fprintf(w, "%s  %s %s\n", id, described(f), state)
	}
}

// described returns where a finding is and of what kind, never the value.
func described(f leak.Finding) string {
	place := quoted(f.File)
	if f.Pointer != "" {
		place += " " + printable(f.Pointer)
	}
	return fmt.Sprintf("%s bytes %d to %d: %s %s (class %s, %s)", place, f.Start, f.End, f.Confidence,
		f.Class.Words().Shown, f.Class, f.Basis)
}

// quoted returns a file name as messages show it.
func quoted(name string) string { return durable.Quote(name) }

// nonNil returns an empty list for a nil one, so that JSON has [] and not null.
func nonNil[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}
