package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/pack/site"
	"outbreath/schema"
)

// A refusedError is everything in the data that prevents a seal, as check lists it, so that
// nobody corrects one kind of error only to meet the next. Names of people in file names
// are masked.
type refusedError struct {
	problems []schema.Problem // of severity Error
	findings []leak.Finding   // undecided
}

func (e *refusedError) Error() string {
	return fmt.Sprintf("%s in the collection, %s "+
		"undecided", count(len(e.problems), "error"), count(len(e.findings), "finding"))
}

// A maskedError is an error with the file names in its text masked for display.
type maskedError struct {
	error
	text string
}

func (e *maskedError) Error() string { return e.text }
func (e *maskedError) Unwrap() error { return e.error }

// explained returns err as seal reports it. An error about the data becomes the complete
// list that check would print: it is made by check's own code, so that seal refuses nothing
// that check does not list.
func (j *sealJob) explained(err error) error {
	if err == nil || j.col == nil {
		return err
	}
	var (
		queries *schema.QueriesError
		open    *deid.FindingsError
	)
	refused := &refusedError{}
	switch {
	case errors.As(err, &queries):
		refused.problems = queries.Problems
	case errors.As(err, &open):
		refused.findings = open.Findings
	default:
		return j.masked(err)
	}
	if more := j.refuse(refused); more != nil {
		return j.masked(more)
	}
	return refused
}

// masked hides names of people in the file names within err.
func (j *sealJob) masked(err error) error {
	names := j.names
	if e, ok := errors.AsType[*site.SourceChangedError](err); ok { // perhaps a file that nobody knew
		names = namesOf(j.col, nil, nil, []schema.Problem{{File: e.File}})
	} else if names == nil {
		names = namesOf(j.col, nil, nil, nil)
	}
	if text := names.Shown(err.Error()); text != err.Error() {
		return &maskedError{err, text}
	}
	return err
}

// refuse adds everything that check would list to e, which stopped the seal. An error means
// that check itself failed.
func (j *sealJob) refuse(e *refusedError) error {
	if j.folder == nil {
		var err error
		if j.folder, _, err = siteKey(j.u, j.o, true); err != nil {
			return err
		}
	}
	key, err := j.folder.PseudonymKey()
	if err != nil {
		return err
	}
	col, err := schema.Load(j.dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	j.u.say("listing everything to correct first, as check does")
	r, err := readWith(j.c.Context(), newUI(strings.NewReader(""), io.Discard, io.Discard), col, j.folder, key)
	if err != nil {
		return err
	}
	names := namesOf(col, r.searched, r.decisions, slices.Concat(r.problems, e.problems))
	all := weighing(r.problems, schema.Error)
	for _, p := range e.problems {
		if !slices.Contains(all, p) {
			all = append(all, p)
		}
	}
	found := openFindings(r.findings)
	for _, f := range e.findings {
		if !slices.ContainsFunc(found, func(g leak.Finding) bool { return f.ID == g.ID }) {
			found = append(found, f)
		}
	}
	schema.SortProblems(all)
	e.problems, e.findings = names.Problems(all), names.Findings(found)
	return nil
}
