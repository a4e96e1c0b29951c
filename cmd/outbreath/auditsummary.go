package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"outbreath/deid/attack"
	"outbreath/deid/audit"
	"outbreath/schema"
)

// An auditSummary is what the page and the screen begin with. All of it is in the
// other figures too.
type auditSummary struct {
	Fails   []failing  `json:"fails"`
	AtRisk  []atRisk   `json:"at_risk"`
	Changes []proposal `json:"changes"` // the three that help most, at most
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

// An atRisk is an attacker, and for how many subjects the attack succeeded. Claims that
// were not compared with the truth are not scored.
type atRisk struct {
	Attacker attack.Attacker `json:"attacker"`
	Who      string          `json:"who"`
	Of       int             `json:"of"` // subjects on which it was tried
	Dates    bool            `json:"dates"`
	Exact    int             `json:"days_exact"` // subjects whose days are known exactly
	Month    int             `json:"days_month"` // or within 30 days
	Links    bool            `json:"links"`
	Linked   int             `json:"linked"`
	Scored   bool            `json:"scored"`
}

// attackerWords are the attackers, by what they hold.
var attackerWords = map[attack.Attacker]string{
	attack.Data: "the data alone", attack.Label: "data and label", attack.Box: "data, label and box",
	attack.BookDays: "appointment book (days)", attack.BookHours: "appointment book (hours)",
	attack.Roster:       "the roster",
	attack.Acquaintance: "an acquaintance", attack.Post: "a public post", attack.TwoKeys: "shipments under two keys",
}

// A proposal is a change and its measured effect: on attackers, or on the smallest cell.
type proposal struct {
	Answer *audit.Answer `json:"answer,omitempty"`
	WhatIf *audit.WhatIf `json:"what_if,omitempty"`
	at     string        // of the proposal in --json
}

// Words returns the change in words.
func (p proposal) Words() string {
	if p.Answer != nil {
		return p.Answer.Change
	}
	return strings.Join(p.WhatIf.Change, ", ")
}

// A pasteLine is a line for the plan, and the fields that it is for.
type pasteLine struct {
	Line   string
	Fields []string
}

// Lines returns the lines for the plan.
func (p proposal) Lines() []pasteLine {
	var paste []audit.Paste
	if p.Answer != nil {
		paste = p.Answer.Paste
	} else {
		paste = p.WhatIf.Paste
	}
	var list []pasteLine
	for _, x := range paste {
		i := slices.IndexFunc(list, func(l pasteLine) bool { return l.Line == x.Line })
		if i < 0 {
			i = len(list)
			list = append(list, pasteLine{Line: x.Line})
		}
		list[i].Fields = append(list[i].Fields, x.Field)
	}
	return list
}

// A gain is what one attacker loses by a change.
type gain struct {
	What          string
	At            string // of the figures in --json, without "_before" and "_after"
	Before, After int
}

// mostGains is how many of them are shown.
const mostGains = 3

// Gains returns what attackers lose by the change, the greatest first.
func (p proposal) Gains() []gain {
	var list []gain
	if p.Answer == nil {
		return nil
	}
	for i, e := range p.Answer.Effects {
		who, at := attackerWords[e.Attacker], fmt.Sprintf("%s/answer/effects/%d/", p.at, i)
		list = append(list, gain{"days known by " + who, at + "days", e.DaysBefore, e.DaysAfter},
			gain{"linked by " + who, at + "linked", e.LinkedBefore, e.LinkedAfter})
	}
	slices.SortStableFunc(list, func(a, b gain) int { return cmp.Compare(b.Before-b.After, a.Before-a.After) })
	list = slices.DeleteFunc(list, func(g gain) bool { return g.Before <= g.After })
	return list[:min(len(list), mostGains)]
}

// summarise collects the summary of a report.
func (d *auditResult) summarise() *auditSummary {
	s := &auditSummary{Fails: d.failures(), AtRisk: []atRisk{}, Changes: []proposal{},
		NotTested: []audit.Untested{}}
	if d.figures == nil {
		return s
	}
	for _, a := range d.Attackers {
		if a.NotRun == attack.WasRun {
			s.AtRisk = append(s.AtRisk, atRisk{a.Attacker, attackerWords[a.Attacker], a.Subjects, a.Dates,
				a.Dating.Exact,
				a.Dating.Month, a.Links, a.Linked, a.Scored})
		}
	}
	s.Changes = d.proposals()
	s.NotTested = append(append(s.NotTested, d.NotTested...), d.Rederived.untested()...)
	if !d.Whole {
		s.NotTested = append(s.NotTested, audit.Untested{What: "recordings",
			Why: "they were not read, because something is open; run the audit again once it is settled"})
	}
	if d.Answers == nil {
		s.NotTested = append(s.NotTested, audit.Untested{What: "what changes would take from attackers",
			Why: "it is tried at the site only, and on no more than 1,500 sessions"})
	}
	return s
}

// proposals returns what helps most against attackers, then what helps the smallest cell.
func (d *auditResult) proposals() []proposal {
	list := []proposal{}
	for i := range d.Answers {
		if len(list) < mostChanges-1 && !d.Answers[i].Together {
			list = append(list, proposal{Answer: &d.Answers[i]})
		}
	}
	for _, w := range helpMost(d.WhatIf) {
		if len(list) < mostChanges {
			list = append(list, proposal{WhatIf: &w})
		}
	}
	for i := range list {
		list[i].at = fmt.Sprintf("/summary/changes/%d", i)
	}
	return list
}

// A worst is the attacker who succeeds for the most subjects.
type worst struct {
	Subjects, Of int
	Who          string
}

// Worst returns the attacker who succeeds for the most subjects; nil if none does for any.
func (d *auditResult) Worst() *worst {
	var most *worst
	for _, a := range d.Summary.AtRisk {
		if n := max(a.Exact, a.Linked); n > 0 && (most == nil || n > most.Subjects) {
			most = &worst{n, a.Of, a.Who}
		}
	}
	return most
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
			max(len(d.Rederived.Mismatches), 1), mismatchAdvice(d.Of), "rederived"})
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
