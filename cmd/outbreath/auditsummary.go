package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"outbreath/deid/audit"
	"outbreath/schema"
)

// An auditSummary is what the page and the screen begin with. All of it is in the
// other figures too.
type auditSummary struct {
	Fails   []failing      `json:"fails"`
	AtRisk  []atRisk       `json:"at_risk"`
	Changes []audit.WhatIf `json:"changes"` // the three that help most, at most
	// NotTested is never counted as good.
	NotTested []audit.Untested `json:"not_tested"`
}

// A failing is one kind of thing that is not as it should be.
type failing struct {
	What  string `json:"what"`
	Count int    `json:"count"`
	Do    string `json:"do"`
	Part  string `json:"-"` // id of the section of the page that has the details
}

// An atRisk is an attacker, and for how many subjects the attack succeeded.
type atRisk struct {
	Attacker string `json:"attacker"`
	Holds    string `json:"holds"` // what the attacker is assumed to have
	Subjects int64  `json:"subjects"`
	Of       int64  `json:"of"`
	Gains    string `json:"gains"`
}

// summarise collects the summary of a report.
func (d *auditResult) summarise() *auditSummary {
	s := &auditSummary{Fails: d.failures(), AtRisk: []atRisk{}, Changes: []audit.WhatIf{},
		NotTested: []audit.Untested{}}
	if d.figures == nil {
		return s
	}
	if len(d.Risk.Quasi) > 0 {
		s.AtRisk = append(s.AtRisk, atRisk{"who knows the values of somebody in the data",
			strings.Join(labels(d.Risk.Quasi),
				", "), int64(d.Risk.Unique), int64(d.Risk.Subjects), "is alone with these values"})
	}
	for _, a := range d.Attacks {
		if strings.HasPrefix(a.Unit, "subjects") && a.Verdict != audit.NotRun {
			s.AtRisk = append(s.AtRisk, atRisk{a.Name, a.Knows, a.Succeeded, a.Tried, "is found"})
		}
	}
	slices.SortStableFunc(s.AtRisk, func(a, b atRisk) int { return cmp.Compare(b.Subjects, a.Subjects) })
	s.Changes = helpMost(d.WhatIf)
	s.NotTested = append(append(s.NotTested, d.NotTested...), d.Rederived.untested()...)
	if !d.Whole {
		s.NotTested = append(s.NotTested, audit.Untested{What: "recordings",
			Why: "they were not read, because something is open; run the audit again once it is settled"})
	}
	return s
}

// Worst returns the attacker who succeeds for the most subjects; nil if none does for any.
func (d *auditResult) Worst() *atRisk {
	if len(d.Summary.AtRisk) == 0 || d.Summary.AtRisk[0].Subjects == 0 {
		return nil
	}
	return &d.Summary.AtRisk[0]
}

// failures lists what is not as it should be, the gravest first.
func (d *auditResult) failures() []failing {
	list := []failing{}
	for _, c := range d.Checks {
		if !c.OK {
			list = append(list, failing{"the shipment's check " + c.Name, 1, c.Detail, "checks"})
		}
	}
	if d.Rederived.failed() {
		list = append(list, failing{"what leaves is not what source, plan and key give",
			max(len(d.Rederived.Mismatches), 1), mismatchAdvice(d.Of), "issues"})
	}
	if d.figures != nil {
		for _, k := range audit.Fold(d.Issues) {
			if k.Fault {
				list = append(list, failing{k.What, k.Count, k.Do, "issues"})
			}
		}
	}
	if n := d.Errors(); n > 0 {
		list = append(list, failing{"errors in the collection", n, "correct what the errors name", "findings"})
	}
	if n := d.OpenFindings(); n > 0 {
		list = append(list, failing{"findings that nobody has decided on", n, "decide on them with review", "findings"})
	}
	return list
}

// mostChanges is how many changes the summary proposes.
const mostChanges = 3

// helpMost returns changes of the plan: first the least that makes the smallest cell five
// subjects, then larger cells, then smaller ones. What does not enlarge it is none.
func helpMost(c *audit.Choice) []audit.WhatIf {
	const five = 5 // the least cell that is commonly asked for
	all := slices.DeleteFunc(slices.Concat(c.Suggestions, c.Single),
		func(w audit.WhatIf) bool { return w.K <= c.Now.K })
	slices.SortStableFunc(all, func(a, b audit.WhatIf) int {
		if enough := a.K >= five; enough != (b.K >= five) {
			return map[bool]int{true: -1, false: 1}[enough]
		} else if enough {
			return cmp.Compare(a.Loss, b.Loss)
		}
		return cmp.Or(cmp.Compare(b.K, a.K), cmp.Compare(a.Loss, b.Loss))
	})
	list := []audit.WhatIf{}
	for _, w := range all {
		known := slices.ContainsFunc(list, func(c audit.WhatIf) bool { return slices.Equal(c.Change, w.Change) })
		if len(list) < mostChanges && !known {
			list = append(list, w)
		}
	}
	return list
}

// labels returns the labels of fields.
func labels(paths []string) []string {
	var list []string
	for _, p := range paths {
		list = append(list, audit.Label(p))
	}
	return list
}

// A queryKind is all queries of one rule.
type queryKind struct {
	schema.Problem // the first
	Count          int
	Where          []string
}

// QueryKinds folds the problems by rule, errors first, then the most frequent first.
func (d *auditResult) QueryKinds() []queryKind {
	var kinds []queryKind
	at := map[string]int{}
	for _, p := range d.Problems {
		i, ok := at[string(p.Severity)+p.Rule]
		if !ok {
			i = len(kinds)
			at[string(p.Severity)+p.Rule] = i
			kinds = append(kinds, queryKind{Problem: p})
		}
		where := p.File
		if p.Line > 0 {
			where = fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
		}
		kinds[i].Count++
		kinds[i].Where = append(kinds[i].Where, where)
	}
	slices.SortStableFunc(kinds, func(a, b queryKind) int {
		return cmp.Or(cmp.Compare(a.Severity, b.Severity), cmp.Compare(b.Count, a.Count))
	})
	return kinds
}

// mostFolded is how many places of a kind are named; --json has all.
const mostFolded = 3

// folded joins the first places of a kind, and counts the rest.
func folded(places []string) string {
	if len(places) <= mostFolded {
		return strings.Join(places, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(places[:mostFolded], ", "), len(places)-mostFolded)
}
