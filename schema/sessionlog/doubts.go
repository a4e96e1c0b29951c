package sessionlog

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
)

// id makes the identifier of a doubt: what kind it is, and a digest of what it is about,
// so that no value of the log is shown or kept with it.
func id(kind string, about ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(about, "\x00")))
	return kind + "-" + hex.EncodeToString(sum[:4])
}

// doubt raises a question, once for all cells that it concerns.
func (r *reader) doubt(d Doubt, cell string) {
	q, ok := r.asked[d.ID]
	if !ok {
		q = &question{Doubt: d}
		r.asked[d.ID] = q
		r.questions = append(r.questions, q)
	}
	if cell != "" {
		q.cells = append(q.cells, cell)
	}
}

// A question collects the cells of one doubt.
type question struct {
	Doubt
	cells []string
}

// shownCells is how many cells a doubt names; the others are counted.
const shownCells = 6

// doubts returns all questions, each with its cells.
func (r *reader) doubts() []Doubt {
	var out []Doubt
	for _, q := range r.questions {
		if d := q.Doubt; len(q.cells) > 0 {
			d.Where = cells(q.cells)
			out = append(out, d)
		} else {
			out = append(out, d)
		}
	}
	return out
}

// cells names the first cells of many: "sheet sessions, cell D4, D5 and 3 more".
func cells(all []string) string {
	s := all[0]
	place := s[:strings.LastIndexByte(s, ' ')+1]
	for _, c := range all[1:min(len(all), shownCells)] {
		s += ", " + strings.TrimPrefix(c, place)
	}
	if more := len(all) - shownCells; more > 0 {
		s += fmt.Sprintf(" and %d more", more)
	}
	return s
}

func (r *reader) problem(where, field, message string) {
	if len(r.out.Problems) < maxProblems {
		r.out.Problems = append(r.out.Problems, Problem{where, field, message})
	}
}

// maxProblems bounds what is said of one log: more of them mean a log that is wrong as
// a whole.
const maxProblems = 1000

func (c *column) understood(r *reader, how string) {
	field := ""
	if c.column != nil {
		field = c.column.Field
	}
	if how == "" {
		how = strings.Join(c.how, "; ")
	}
	r.out.Understood = append(r.out.Understood, Understood{c.name(), c.heading, field, how})
}

// say notes a decision about a column once.
func (c *column) say(how string) {
	for _, h := range c.how {
		if h == how {
			return
		}
	}
	c.how = append(c.how, how)
}
