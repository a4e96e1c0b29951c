package deid

import (
	"errors"
	"fmt"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// Objections returns what err says about a collection, one problem a place, when
// it is a *[schema.QueriesError], a *[RosterError] or an *[InspectionError];
// nil for any other.
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

// The rules of what the searches of the finished bag object to. No decision
// settles it: what let the text through is not what a decision is made on.
const (
	ruleRosterBytes = "leak.bytes"
	ruleFinished    = "leak.finished"
)

func (e *RosterError) problems() (list []schema.Problem) {
	for _, h := range e.Hits {
		list = append(list, finished(h.File, h.Source, "", ruleRosterBytes, fmt.Sprintf(
			"bytes %d to %d of data/%s would hold what stands in the column %q of the roster, and the search for "+
				"identifiers did not see it: take the value out at the source "+
				"(a recording: export it again without it, or leave it out of the record), and tell whoever looks "+
				"after this tool that its search missed it",
			h.Start, h.End, h.File, h.Column)))
	}
	return list
}

func (e *InspectionError) problems() (list []schema.Problem) {
	for _, f := range e.Findings {
		list = append(list, finished(f.File, e.source[f.File], f.Pointer, ruleFinished, fmt.Sprintf(
			"bytes %d to %d of the text in data/%s would leave, look like %s (class %s, %s), and nobody decided to "+
				"keep them: correct the record or the plan that lets the text out",
			f.Start, f.End, f.File, leak.Article(f.Class.Words().Removed), f.Class, f.Basis)))
	}
	return list
}

// finished names the file at the site where there is one.
func finished(file, source, pointer, rule, message string) schema.Problem {
	if source == "" {
		source = "data/" + file
	}
	return schema.Problem{File: source, Pointer: pointer, Rule: rule, Severity: schema.Error, Message: message}
}
