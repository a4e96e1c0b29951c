package deid

import (
	"errors"
	"fmt"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// Objections returns the problems that err reports about a collection, one for each
// place, if err is a *[schema.QueriesError], a *[RosterError] or an
// *[InspectionError]; otherwise nil.
func Objections(err error) []schema.Problem {
	if e, ok := errors.AsType[*schema.QueriesError](err); ok {
		return e.Problems
	}
	if e, ok := errors.AsType[*RosterError](err); ok {
		return e.problems()
	}
	if e, ok := errors.AsType[*InspectionError](err); ok {
		return e.problems()
	}
	return nil
}

// The rules of the searches of the finished bag. A decision cannot settle these
// problems: they show a fault of the search before, and decisions are made on its
// findings.
const (
	ruleRosterBytes = "leak.bytes"
	ruleFinished    = "leak.finished"
)

// problems returns a problem for each hit. It does not quote the value.
func (e *RosterError) problems() (list []schema.Problem) {
	for _, h := range e.Hits {
		list = append(list, finished(h.File, h.Source, "", ruleRosterBytes, fmt.Sprintf(
			"bytes %d to %d of data/%s would hold a value of the column %q of the roster, and the search for "+
				"identifiers missed it: remove the value at the source "+
				"(a recording: export it again without the value, or remove the recording from the record), and "+
				"report the miss to whoever maintains this tool",
			h.Start, h.End, h.File, h.Column)))
	}
	return list
}

func (e *InspectionError) problems() (list []schema.Problem) {
	for _, f := range e.Findings {
		list = append(list, finished(f.File, e.source[f.File], f.Pointer, ruleFinished, fmt.Sprintf(
			"bytes %d to %d of the text in data/%s look like %s (class %s, %s), and nobody decided to keep them: "+
				"correct the record, or the plan that lets the text leave",
			f.Start, f.End, f.File, leak.Article(f.Class.Words().Removed), f.Class, f.Basis)))
	}
	return list
}

// finished returns a problem of a finished payload file. It names the file at the site
// from which that one is made, if there is one.
func finished(file, source, pointer, rule, message string) schema.Problem {
	if source == "" {
		source = "data/" + file
	}
	return schema.Problem{File: source, Pointer: pointer, Rule: rule, Severity: schema.Error, Message: message}
}
