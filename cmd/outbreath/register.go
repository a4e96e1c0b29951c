package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/pack"
	"outbreath/pack/place"
	"outbreath/pack/register"
)

type registerOptions struct {
	address, station      string
	overdue, prepare      bool
	days, reuse           int
	settle, study, reason string
}

// alone says whether the command asks the register and takes no shipments.
func (o *registerOptions) alone() bool { return o.overdue || o.prepare || o.settle != "" }

func (o *registerOptions) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&o.address, "register", "", "intake register: a file, or postgres://USER@HOST/DATABASE")
	f.StringVar(&o.station, "station", "", "name of this station in the register (default: the computer's name)")
	f.IntVar(&o.reuse, "reuse-days", 0, "a barcode of another shipment is no discrepancy when that one came longer ago (default: always one)")
	f.BoolVar(&o.overdue, "overdue", false, "list gaps in the numbering, silent sites and unsettled shipments; takes no shipments")
	f.BoolVar(&o.prepare, "prepare", false, "make the tables of a PostgreSQL register, or bring them up to date; needs a role that may make tables, takes no shipments")
	f.IntVar(&o.days, "days", 14, "with --overdue: a site is silent after so many days without a new shipment")
	f.StringVar(&o.settle, "settle", "", "number of a shipment that is settled with the site: one that will never come, or that has discrepancies or was rejected; needs --reason, takes no shipments")
	f.StringVar(&o.reason, "reason", "", "with --settle: how it was settled, without anything about a person")
	f.StringVar(&o.study, "study", "", "with --settle: the study, where a site sends for several")
}

// checkRegister is the check that tells what the register knows.
const checkRegister = "register"

// An intakeRegister enters verdicts in the name of one station.
type intakeRegister struct {
	*register.Register
	station string
	reuse   int // days; 0: a tube is never used again
}

func openRegister(ctx context.Context, u *ui, o *registerOptions) (*intakeRegister, error) {
	station := o.station
	if station == "" {
		station, _ = os.Hostname()
	}
	if station == "" || len(station) > 100 || strings.ContainsFunc(station, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return nil, usagef("give a short name with --station", "this station has no name that can stand in the register")
	}
	if o.days < 0 || o.reuse < 0 {
		return nil, usagef("give a number of days from 0", "--days and --reuse-days must not be negative")
	}
	if !strings.Contains(o.address, "://") {
		if err := place.Output(o.address); err != nil {
			return nil, err
		}
	}
	r, err := register.Open(ctx, o.address, func(holder string) {
		u.say("waiting for the register, which %s holds; Ctrl-C ends it, and what was entered counts once", holder)
	})
	if err != nil {
		return nil, err
	}
	return &intakeRegister{r, station, o.reuse}, nil
}

// enter notes the verdicts in their order, each with what the register knows
// of it as a check, and returns the gaps in the numbering of their sites.
func (r *intakeRegister) enter(ctx context.Context, verdicts []*pack.Verdict) ([]register.Gap, error) {
	sites := map[[2]string]bool{}
	for _, v := range verdicts {
		if v.Decision == pack.NotVerified {
			continue
		}
		if v.Study == "" {
			v.Add(pack.Check{Name: checkRegister, OK: true, Detail: "not entered: nothing of it is signed by a trusted site"}, "")
			continue
		}
		now := time.Now()
		since := time.Time{}
		if r.reuse > 0 {
			since = now.AddDate(0, 0, -r.reuse)
		}
		ans, err := r.Enter(ctx, register.Arrival{
			Study: v.Study, Site: v.Site, Shipment: v.Shipment, Bag: v.Bag, Archive: v.Archive, Decision: string(v.Decision),
			Barcodes: v.Recorded, Station: r.station, When: now, TubesSince: since,
		})
		if err != nil {
			return nil, err
		}
		sites[[2]string{v.Study, v.Site}] = true
		check, decision := r.judge(v, ans)
		v.Disputed = v.Disputed || decision == pack.Rejected
		v.Add(check, decision)
	}
	status, err := r.Overdue(ctx, time.Now(), 0)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(status.Gaps, func(g register.Gap) bool { return !sites[[2]string{g.Study, g.Site}] }), nil
}

// judge makes a check of what the register knows of v.
//
// Two contents under one number reject both, though they are authentic:
// whoever used it could give the samples of one subject to another, and a
// scheduler that goes on after status 1 must not.
func (r *intakeRegister) judge(v *pack.Verdict, ans register.Answer) (pack.Check, pack.Decision) {
	first := fmt.Sprintf("first entered on %s UTC at station %s", ans.First.When.Format(time.DateTime), quoted(ans.First.Station))
	fail := func(format string, args ...any) (pack.Check, pack.Decision) {
		return pack.Check{Name: checkRegister, Detail: fmt.Sprintf(format, args...)}, pack.Discrepancies
	}
	switch {
	case ans.Kind == register.Conflict:
		c, _ := fail("ALARM: other contents came under the number %s before, %s: keep both apart, use neither, and ask the site by telephone which counts; it may have sealed from two folders, and then it seals the other again under a free number", v.Shipment, first)
		return c, pack.Rejected
	case ans.Disputed:
		c, _ := fail("ALARM: this was %s, but other contents came under the number %s since: keep both apart, use neither, and ask the site by telephone which counts", first, v.Shipment)
		return c, pack.Rejected
	case len(ans.Tubes) > 0:
		var names []string
		for i, t := range ans.Tubes {
			if i == 5 {
				names = append(names, fmt.Sprintf("and %d more", len(ans.Tubes)-i))
				break
			}
			names = append(names, fmt.Sprintf("%s (%s of %s)", quoted(t.Barcode), t.Shipment, t.Study))
		}
		return fail("barcodes that another shipment has too: %s: nobody can tell from the barcode whose sample it is; put the tube aside until both are compared, or say with --reuse-days how long a tube takes to be conditioned and sent out again", strings.Join(names, ", "))
	case ans.Settled.Late() && ans.Kind != register.Rejected:
		return fail("this number was %s: ask the site what this shipment is, then settle it once more", settledWords(ans.Settled))
	case ans.Kind == register.Repeat && ans.First.Station != r.station:
		return fail("a repeat: the same shipment was %s: find out which station has it before anything is analysed twice", first)
	case ans.Kind == register.Repeat && ans.Settled != nil:
		return pack.Check{Name: checkRegister, OK: true, Detail: "a repeat: the same shipment was " + first + "; it was " + settledWords(ans.Settled)}, ""
	case ans.Kind == register.Repeat:
		return pack.Check{Name: checkRegister, OK: true, Detail: "a repeat: the same shipment was " + first + "; it counts once"}, ""
	case ans.Kind == register.Rejected && !ans.First.When.IsZero():
		return pack.Check{Name: checkRegister, OK: true, Detail: "entered as a rejected copy; a good one was " + first}, ""
	case ans.Settled != nil && ans.Kind == register.Rejected:
		return pack.Check{Name: checkRegister, OK: true, Detail: "entered as rejected; this number was " + settledWords(ans.Settled) + ": ask the site what this shipment is"}, ""
	case ans.Kind == register.Rejected:
		return pack.Check{Name: checkRegister, OK: true, Detail: "entered as rejected; a good copy has not arrived yet"}, ""
	}
	return pack.Check{Name: checkRegister, OK: true, Detail: "entered: nothing came under this number before"}, ""
}

// settledWords says when a number was settled, and as what.
func settledWords(s *register.Settlement) string {
	what := map[string]string{"missing": "one that will not come", "rejected": "rejected", "discrepancies": "one with discrepancies"}[s.State]
	return fmt.Sprintf("settled as %s on %s UTC at station %s (%s)", what, s.When.Format(time.DateTime), quoted(s.Station), printable(s.Why))
}

// settledNumber is the JSON document of verify --settle.
type settledNumber struct {
	OK bool `json:"ok"`
	register.Settlement
}

func runSettle(c *cobra.Command, u *ui, o *registerOptions) error {
	switch {
	case o.address == "":
		return usagef("name the register with --register DB", "--settle needs --register DB")
	case o.overdue:
		return usagef("give one of them at a time", "--settle and --overdue do not go together")
	case o.reason == "":
		return usagef("say with --reason how it was settled, without anything about a person", "--settle needs --reason TEXT")
	}
	if err := textsMayStay(nil, "", actText{"--reason", o.reason}); err != nil {
		return err
	}
	r, err := openRegister(c.Context(), u, o)
	if err != nil {
		return err
	}
	defer r.Close()
	s, err := r.Settle(c.Context(), register.Settlement{Study: o.study, Shipment: o.settle, Why: o.reason, Station: r.station, When: time.Now()})
	if err != nil {
		return err
	}
	return u.result(settledNumber{true, s}, func(w io.Writer) {
		fmt.Fprintf(w, "%s of %s: recorded as settled\n", s.Shipment, s.Study)
	})
}

// runPrepare makes the tables of a register that several stations share.
func runPrepare(c *cobra.Command, u *ui, o *registerOptions) error {
	switch {
	case o.address == "":
		return usagef("name the register with --register DB", "--prepare needs --register DB")
	case o.overdue || o.settle != "":
		return usagef("give one of them at a time", "--prepare goes with --register alone")
	}
	if err := register.Prepare(c.Context(), o.address); err != nil {
		return err
	}
	return u.result(map[string]any{"ok": true}, func(w io.Writer) {
		fmt.Fprintln(w, "the tables of the register are those of this version. A station's role needs SELECT, INSERT and UPDATE on them, and no right to make any")
	})
}

// overdueResult is the JSON document of verify --overdue.
type overdueResult struct {
	OK bool `json:"ok"`
	*register.Status
}

func runOverdue(c *cobra.Command, u *ui, o *registerOptions) error {
	if o.address == "" {
		return usagef("name the register with --register DB", "--overdue needs --register DB")
	}
	r, err := openRegister(c.Context(), u, o)
	if err != nil {
		return err
	}
	defer r.Close()
	status, err := r.Overdue(c.Context(), time.Now(), o.days)
	if err != nil {
		return err
	}
	doc := overdueResult{status.OK(), status}
	if err := u.result(doc, func(w io.Writer) { printOverdue(w, status, o.days) }); err != nil {
		return err
	}
	if !doc.OK {
		return statusError(exitResolve)
	}
	return nil
}

func printOverdue(w io.Writer, s *register.Status, days int) {
	rows := [][]string{{"STUDY", "SITE", "RECEIVED", "HIGHEST", "LAST ARRIVAL (UTC)", ""}}
	for _, site := range s.Sites {
		note := ""
		if site.Silent {
			note = fmt.Sprintf("SILENT for %s: ask the site whether a shipment is on its way", count(site.Days, "day"))
		}
		rows = append(rows, []string{site.Study, site.Site, fmt.Sprint(site.Received), site.Highest, site.Last.Format(time.DateTime), note})
	}
	table(w, rows)
	printGaps(w, s.Gaps)
	for _, o := range s.Open {
		fmt.Fprintf(w, "unsettled: %s of %s is %s since %s UTC, station %s: %s\n", o.Shipment, o.Study, unsettledWords[o.State][0], o.Since.Format(time.DateTime), quoted(o.Station), unsettledWords[o.State][1])
	}
	if len(s.Settled) > 0 {
		fmt.Fprintf(w, "settled before: %s (--json lists them with the reasons)\n", count(len(s.Settled), "number"))
	}
	if s.OK() {
		fmt.Fprintf(w, "no gap in the numbering, and no site silent for more than %s\n", count(days, "day"))
	}
}

// unsettledWords: each state, and what to do about it.
var unsettledWords = map[string][2]string{
	"discrepancies": {"accepted with discrepancies", "settle them with the site, then verify it again, or record it with --settle"},
	"conflict":      {"claimed by two contents", "ALARM: use neither, and ask the site by telephone which counts"},
	"rejected":      {"rejected", "ask the site for a new copy; if none will come, record that with --settle"},
}

func printGaps(w io.Writer, gaps []register.Gap) {
	for _, g := range gaps {
		what := fmt.Sprintf("%s of %s has", g.From, g.Study)
		if g.Count > 1 {
			what = fmt.Sprintf("%s to %s of %s (%d numbers) have", g.From, g.To, g.Study, g.Count)
		}
		fmt.Fprintf(w, "gap: %s not arrived, and a higher number has on %s UTC: ask the site whether a stick is lost, on its way, or the number was given up (custody there tells); if it will never come, record that with --settle\n", what, g.Since.Format(time.DateTime))
	}
}
