package sessionlog

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"regexp"
	"slices"
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

// cells names the first cells of many, those of one sheet, line or column together:
// "sheet sessions, cells D4, D5; sheet tubes, cell C2 and 3 more".
func cells(all []string) string {
	shown := all[:min(len(all), shownCells)]
	places := together(shown, byLine)
	if p := together(shown, byValue); len(p) < len(places) {
		places = p
	}
	s := strings.Join(places, "; ")
	if more := len(all) - len(shown); more > 0 {
		s += fmt.Sprintf(" and %d more", more)
	}
	return s
}

var (
	byLine  = regexp.MustCompile(`^(.*, )(line \d+, value|cell) (\w+)()$`)
	byValue = regexp.MustCompile(`^(.*, )(line) (\d+)(, value \d+)$`)
)

// together groups references of cells that differ only in what the form has as its
// third part. Others are left as they are.
func together(refs []string, form *regexp.Regexp) (places []string) {
	type group struct {
		parts []string
		names []string
	}
	var groups []*group
	for _, ref := range refs {
		m := form.FindStringSubmatch(ref)
		if m == nil {
			m = []string{"", "", "", ref, ""}
		}
		i := slices.IndexFunc(groups, func(g *group) bool {
			return m[2] != "" && g.parts[1] == m[1] && g.parts[2] == m[2] && g.parts[4] == m[4]
		})
		if i < 0 {
			i = len(groups)
			groups = append(groups, &group{parts: m})
		}
		groups[i].names = append(groups[i].names, m[3])
	}
	for _, g := range groups {
		word := g.parts[2]
		if len(g.names) > 1 {
			word += "s"
		}
		if word != "" {
			word += " "
		}
		places = append(places, g.parts[1]+word+strings.Join(g.names, ", ")+g.parts[4])
	}
	return places
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
	r.out.Understood = append(r.out.Understood, Understood{Where: c.name(), Table: c.src.name(), Heading: c.heading,
		Field: field, How: how})
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
