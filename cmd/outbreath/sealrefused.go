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

// A refusedError is all that stands in the data between a collection and a shipment, as
// check lists it: nobody corrects one sort of error only to meet the next. Names in the
// names of files are masked.
type refusedError struct {
	problems []schema.Problem // of severity Error
	findings []leak.Finding   // that nobody decided on
}

func (e *refusedError) Error() string {
	return fmt.Sprintf("%s in the collection, %s "+
		"undecided", count(len(e.problems), "error"), count(len(e.findings), "finding"))
}

// A maskedError is an error whose text holds the name of a file of the collection, as it
// may be shown.
type maskedError struct {
	error
	text string
}

func (e *maskedError) Error() string { return e.text }
func (e *maskedError) Unwrap() error { return e.error }

// told is what seal says of err. The law that seal refuses nothing which check has not
// listed holds because check's own reading makes the list.
func (j *sealJob) told(err error) error {
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

// masked hides names in the names of files.
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

// refuse adds to what stopped seal all that check would list. The error is one that
// ends check.
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
	j.u.say("looking for everything that has to be corrected first, as check does")
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
