package schema

import (
	"cmp"
	"fmt"
	"slices"
)

// A Severity is whether a problem stops a shipment: an Error does, a Warning does not.
type Severity string

const (
	Error   Severity = "error"
	Warning Severity = "warning"
)

// A Problem is one query about one place in the collection. It holds no value
// from the record, so that it can be printed, logged or mailed.
type Problem struct {
	File     string   `json:"file"`    // slash-separated, relative to the collection
	Pointer  string   `json:"pointer"` // RFC 6901; "" for the whole file
	Line     int      `json:"line"`    // from 1; 0 if unknown
	Column   int      `json:"column"`  // from 1, in characters; 0 if unknown
	Rule     string   `json:"rule"`    // stable, e.g. "tube.twice"
	Severity Severity `json:"severity"`
	Message  string   `json:"message"` // what is wrong, and what to change
}

// Problem returns an error about one place in the record.
func (s *Session) Problem(pointer, rule, message string) Problem {
	q := queries{file: s.File, node: s.Doc}
	q.error(pointer, rule, message)
	return q.problems[0]
}

// SortProblems orders problems by file, place and rule.
func SortProblems(problems []Problem) {
	slices.SortFunc(problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column),
			cmp.Compare(a.Rule, b.Rule), cmp.Compare(a.Pointer, b.Pointer), cmp.Compare(a.Message, b.Message))
	})
}

// A ConfigError says that the collection as a whole cannot be read: a file in place of
// the folder, no study.json, an unusable plan, a roster without a needed column.
type ConfigError struct {
	File    string
	Message string // what is wrong and what to do; no value of the file

	NoCollection bool // the folder has no study.json, so it is not a collection
}

func (e *ConfigError) Error() string { return fmt.Sprintf("%s: %s", e.File, e.Message) }

// A QueriesError carries the problems that stop a shipment. It is never empty.
type QueriesError struct{ Problems []Problem }

func (e *QueriesError) Error() string {
	p := e.Problems[0]
	if n := len(e.Problems); n > 1 {
		return fmt.Sprintf("%d problems; the first: %s: %s", n, p.File, p.Message)
	}
	return fmt.Sprintf("%s: %s", p.File, p.Message)
}
