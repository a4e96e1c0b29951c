package main

import (
	"fmt"
	"io"
	"strings"
)

// printAudit prints the summary and the main results, with equal ones folded; --json has
// everything, and the page what a person must read.
func printAudit(w io.Writer, d *auditResult) {
	fmt.Fprintf(w, "%s %s: study %s, site %s, plan %q, key %s\n", d.Of, quoted(d.Name), d.Study, d.Site, d.Plan,
		dash(d.KeyID))
	fmt.Fprintf(w, "%s, %s, %s\n", count(d.Records, "record"), count(d.Recordings, "recording"), count(d.Tubes, "tube"))
	printSummary(w, d)
	if d.figures != nil {
		printRisk(w, d)
	}
	printRederived(w, d)
	for _, k := range d.QueryKinds() {
		fmt.Fprintf(w, "%s, %d times: %s [%s]\n    %s\n", k.Severity, k.Count, k.Message, k.Rule, folded(k.Where))
	}
	printFindings(w, openFindings(d.Leaks))
	for _, c := range d.Checks {
		if !c.OK {
			fmt.Fprintf(w, "NO  %s: %s\n", c.Name, c.Detail)
		}
	}
	fmt.Fprintf(w, "texts searched: %d; findings %d, redacted %d, kept %d\n", d.Texts.Searched, d.Texts.Findings,
		d.Texts.Redacted, d.Texts.Kept)
	if n := d.TextCount(); n.Texts > 0 {
		fmt.Fprintf(w, "texts to read: %s; the page lists them all, the shortest list first\n",
			count(n.Texts, "different text"))
	}
	if d.Report != "" {
		fmt.Fprintf(w, "page written: %s\n", quoted(d.Report))
		if d.Signature != "" {
			fmt.Fprintf(w, "signature written: %s\n", quoted(d.Signature))
		} else {
			fmt.Fprintf(w, "not signed: %s\n", d.Unsigned)
		}
	}
	fmt.Fprintln(w, "This is no legal determination of de-identification: the privacy officer, the ethics "+
		"committee,\nthe protocol and local law decide.")
}

// printSummary prints what fails, who is at risk, what helps most, and what was not tested.
func printSummary(w io.Writer, d *auditResult) {
	s := d.Summary
	if len(s.Fails) == 0 {
		fmt.Fprintln(w, "what fails: nothing of what was tested")
	} else {
		fmt.Fprintln(w, "what fails:")
	}
	for _, f := range s.Fails {
		fmt.Fprintf(w, "  %s: %d\n      to do: %s\n", f.What, f.Count, f.Do)
	}
	if len(s.AtRisk) > 0 {
		fmt.Fprintln(w, "who is at risk, in subjects:")
		rows := [][]string{{"  ATTACKER HOLDS", "OF", "DAY KNOWN", "TO 30 DAYS", "LINKED"}}
		for _, a := range s.AtRisk {
			rows = append(rows, append([]string{"  " + a.Who, fmt.Sprint(a.Of)}, a.cells()...))
		}
		table(w, rows)
	}
	if len(s.Changes) > 0 {
		fmt.Fprintln(w, "changes that help most, with lines for the plan, in place of the field's own:")
	}
	for i, c := range s.Changes {
		fmt.Fprintf(w, "  %d. %s\n", i+1, c.Words())
		for _, g := range c.Gains() {
			fmt.Fprintf(w, "     %s: %d -> %d subjects\n", g.What, g.Before, g.After)
		}
		if c.WhatIf != nil {
			fmt.Fprintf(w, "     k %d -> %d, alone: %d -> %d subjects\n", d.WhatIf.Now.K, c.WhatIf.K,
				d.WhatIf.Now.Unique,
				c.WhatIf.Unique)
		}
		for _, l := range c.Lines() {
			fmt.Fprintf(w, "     %s  in %s\n", l.Line, strings.Join(l.Fields, " "))
		}
	}
	if len(s.NotTested) > 0 {
		fmt.Fprintln(w, "not tested:")
	}
	for _, n := range s.NotTested {
		fmt.Fprintf(w, "  %s: %s\n", n.What, n.Why)
	}
}

// cells returns the counts of an attacker: "-" for what is not attacked.
func (a atRisk) cells() []string {
	cells := []string{"-", "-", "-"}
	if a.Dates {
		cells[0], cells[1] = fmt.Sprint(a.Exact), fmt.Sprint(a.Month)
	}
	if a.Links {
		cells[2] = fmt.Sprint(a.Linked)
	}
	if !a.Scored {
		cells = append(cells, "claimed, not compared with the truth")
	}
	return cells
}

// printRisk prints the figures, the attacks, and what a person must judge.
func printRisk(w io.Writer, d *auditResult) {
	if r := d.Risk; len(r.Quasi) == 0 {
		fmt.Fprintln(w, "risk: not computed, because the plan marks no field as a quasi-identifier")
	} else {
		fmt.Fprintf(w, "risk: k %d of %s, %d alone in their cell; greatest risk %.3g, mean %.3g; l %s\n", r.K,
			count(r.Subjects, "subject"), r.Unique, r.ProsecutorMax, r.ProsecutorMean, orNotComputed(r.L))
	}
	rows := [][]string{{"ATTACK", "TRIED", "SUCCEEDED", ""}}
	for _, a := range d.Attacks {
		rows = append(rows, []string{a.Name, fmt.Sprint(a.Tried), fmt.Sprint(a.Succeeded), outcome(a)})
	}
	table(w, rows)
	for _, k := range d.IssueKinds {
		weight := map[bool]string{true: "FAULT", false: "judge"}[k.Fault]
		fmt.Fprintf(w, "%s, %d times: %s [%s]\n", weight, k.Count, k.What, k.Code)
		if len(k.Where) > 0 {
			fmt.Fprintf(w, "    %s\n", folded(k.Where))
		}
	}
}

// orNotComputed returns a figure that is 0 if it was not computed.
func orNotComputed(n int) string {
	if n == 0 {
		return "not computed"
	}
	return fmt.Sprint(n)
}
