package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// reviewOptions are the flags of review.
type reviewOptions struct {
	decide     []string
	reason, by string
	list       bool
}

func newReviewCmd(u *ui, o *options) *cobra.Command {
	s := &reviewOptions{}
	c := &cobra.Command{
		Use:   "review COLLECTION [--decide ID=redact|keep --reason TEXT]",
		Short: "Decide on what the leak check found",
		Long: `At a terminal, walk through the open findings. Equal ones are decided together, the
words are shown on the terminal only, and you can stop at any moment. With --list, or
without a terminal, list the findings with their numbers, for --decide, and without
their words.

A decision is written to custody.jsonl and review.jsonl, and holds for exactly the
text that it was made on: if the text changes, you are asked again. Redacting replaces
the passage in what leaves; the record at the site is not changed. Keeping needs a
reason. Do not write the identifier into it.
` + statusHelp,
		Example: "  outbreath review week-48\n" +
			"  outbreath review week-48 --decide 7Q4K-9M2B=redact\n" +
			"  outbreath review week-48 --decide 7Q4K-9M2B=keep --reason \"name of the ward, not of a person\"",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error { return s.run(c, u, o, args[0]) },
	}
	f := c.Flags()
	f.StringArrayVar(&s.decide, "decide", nil, "NUMBER=redact or NUMBER=keep (repeatable)")
	f.StringVar(&s.reason, "reason", "", "why; needed for keep")
	f.BoolVar(&s.list, "list", false, "only list the findings, even at a terminal")
	f.StringVar(&s.by, "by", "", "who decides (default: the user's name on this computer)")
	return c
}

func (s *reviewOptions) run(c *cobra.Command, u *ui, o *options, dir string) error {
	col, err := loadCollection(u, dir)
	if err != nil {
		return err
	}
	defer col.Root.Close()
	if err := textsMayStay(col, s.by, actText{"--reason", s.reason}); err != nil {
		return err
	}
	r, err := readLoaded(c.Context(), u, o, col, true)
	if err != nil {
		return err
	}
	if r.searched == nil {
		return r.treated()
	}
	decisions, err := parseDecide(s.decide, s.reason, r)
	if err != nil {
		return err
	}
	walked := false
	if len(decisions) > 0 {
		err = r.decide(u, decisions, s.reason, operatorName(s.by))
	} else if !s.list && !u.json && !u.quiet {
		walked, err = s.walk(u, r)
	}
	if err != nil {
		return err
	}
	return r.printReview(u, walked)
}

// walk shows the groups of findings one by one at a terminal, for a person to decide.
// walked reports whether there was a terminal and something to show.
func (s *reviewOptions) walk(u *ui, r *reading) (walked bool, err error) {
	groups := r.groups()
	if len(groups) == 0 {
		return false, nil
	}
	w, ok := newWalker(u)
	if !ok {
		return false, nil
	}
	typed := deid.NewTyped(r.col)
	w.mayStay = func(reason string) error { return typed.Why(reason) }
	w.record = func(g *group, action, reason string) error {
		g.decision = action
		made := map[string]string{}
		for _, f := range g.findings {
			made[f.ID] = action
		}
		return r.decide(u, made, reason, operatorName(s.by))
	}
	return true, w.walk(groups)
}

// printReview prints what is decided and what is open; anything open means status 1. The
// findings are not listed again for somebody who has just walked through them.
func (r *reading) printReview(u *ui, walked bool) error {
	open := nonNil(openFindings(r.findings))
	faulty := len(weighing(r.problems, schema.Error)) > 0 // the records that they concern were not fully searched
	shown := r.names().Findings(r.findings)
	doc := map[string]any{
		"ok": len(open) == 0 && !faulty, "decided": len(r.findings) - len(open), "leaks": shown, "open": len(open),
	}
	if err := u.result(doc, func(w io.Writer) {
		if !walked {
			printFindings(w, shown)
		}
		fmt.Fprintf(w, "%s of %d undecided\n", count(len(open), "finding"), len(r.findings))
		if faulty {
			fmt.Fprintln(w, "records with errors were not searched: "+
				"correct what check names, then run review again for the rest")
		}
		if len(open) == 0 && !faulty {
			fmt.Fprintln(w, "Next: outbreath check, and if nothing else is open, outbreath seal")
		} else if len(open) > 0 {
			fmt.Fprintln(w, "to do: run review at a terminal, or open each file at the place named "+
				"and decide with --decide NUMBER=redact, or NUMBER=keep and --reason")
		}
	}); err != nil {
		return err
	}
	if len(open) > 0 || faulty {
		return statusError(exitResolve)
	}
	return nil
}

// decide records decisions, by finding number, in the log, and applies them to r.
func (r *reading) decide(u *ui, decisions map[string]string, reason, who string) error {
	err := r.log.ToAdd()
	if err != nil {
		return err
	}
	defer r.log.Release() // a person may take long over the next decision
	if r.decisions, err = parseDecisions(r.log); err != nil {
		return err
	}
	for _, action := range []string{"redact", "keep"} {
		var ids []string
		for _, id := range sortedKeys(decisions) {
			if decisions[id] == action {
				ids = append(ids, id)
			}
		}
		if err := r.log.Decide(custody.Entry{When: now(), Who: who}, action, reason, ids, r.before); err != nil {
			return err
		}
	}
	if r.decisions, err = parseDecisions(r.log); err != nil {
		return err
	}
	for i, f := range r.findings {
		if d, ok := decisions[f.ID]; ok {
			r.findings[i].Decision, r.findings[i].Automatic = d, false
		}
	}
	return nil
}

// before returns the decision in force on a finding, or "".
func (r *reading) before(id string) string {
	d, _ := r.decisions.Of(id)
	return d.Action
}

// parseDecide checks the arguments of --decide against the findings, and returns the
// decision for each finding number.
func parseDecide(args []string, reason string, r *reading) (map[string]string, error) {
	known := map[string]leak.Finding{}
	for _, f := range r.findings {
		known[f.ID] = f
	}
	out := map[string]string{}
	for _, a := range args {
		id, action, ok := strings.Cut(a, "=")
		if !ok || action != "redact" && action != "keep" {
			return nil, usagef("write --decide NUMBER=redact or --decide NUMBER=keep",
				"a decision is not in the form NUMBER=redact or NUMBER=keep")
		}
		f, ok := known[id]
		if !ok || id == "" {
			return nil, usagef("run review without --decide to see the numbers; a changed text has a new one",
				"there is no finding with the number given")
		}
		if action == "keep" && strings.TrimSpace(reason) == "" {
			return nil, usagef("say why with --reason TEXT, without the identifier itself",
				"keeping %s needs a reason", f.ID)
		}
		if p, ok := r.searched.Passage(f); ok && action == "keep" && holdsWords(reason, p.Suspect) {
			return nil, usagef("write it without them: the reason is kept in custody.jsonl permanently",
				"the reason for %s repeats the words themselves", f.ID)
		}
		instead := "correct the record"
		if f.Confidence != leak.Sure {
			instead += ", or keep it with a reason"
		}
		if action == "redact" && !r.searched.CanRedact(f) {
			return nil, usagef(instead, "%s is in a field that cannot be partly redacted", f.ID)
		}
		out[id] = action
	}
	return out, nil
}
