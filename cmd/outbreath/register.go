package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"outbreath/pack/intake"
	"outbreath/pack/place"
	"outbreath/pack/register"
)

type registerOptions struct {
	address, station      string
	overdue, prepare      bool
	days, reuse           int
	settle, study, reason string
}

// alone reports whether the command only asks the register and takes no shipments.
func (o *registerOptions) alone() bool { return o.overdue || o.prepare || o.settle != "" }

// flags adds the options of the intake register to a command.
func (o *registerOptions) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&o.address, "register", "", "intake register: a file, or postgres://USER@HOST/DATABASE")
	f.StringVar(&o.station, "station", "", "name of this station in the register (default: the computer's name)")
	f.IntVar(&o.reuse, "reuse-days", 0,
		"a barcode of another shipment is no discrepancy if that one came longer ago (default: it always is)")
	f.BoolVar(&o.overdue, "overdue", false,
		"list gaps in the numbering, silent sites and unsettled shipments; takes no shipments")
	f.BoolVar(&o.prepare, "prepare", false,
		"create the tables of a PostgreSQL register, or update them; "+
			"needs a role that may create tables, takes no shipments")
	f.IntVar(&o.days, "days", 14, "with --overdue: a site is silent after this many days without a new shipment")
	f.StringVar(&o.settle, "settle", "",
		"number of a shipment that is settled with the site: one that will never come, "+
			"or that has discrepancies or was rejected; needs --reason, takes no shipments")
	f.StringVar(&o.reason, "reason", "", "with --settle: how it was settled, without anything about a person")
	f.StringVar(&o.study, "study", "", "with --settle: the study, where a site sends for several")
}

// openRegister opens the register for the station that --station or the host name gives.
func openRegister(ctx context.Context, u *ui, o *registerOptions) (*intake.Register, error) {
	station := o.station
	if station == "" {
		station, _ = os.Hostname()
	}
	if o.days < 0 || o.reuse < 0 {
		return nil, usagef("give a number of days from 0", "--days and --reuse-days must not be negative")
	}
	if !strings.Contains(o.address, "://") {
		if err := place.Output(o.address); err != nil {
			return nil, err
		}
	}
	r, err := intake.OpenRegister(ctx, o.address, station, func(holder string) {
		u.say("waiting for the register, which %s holds; Ctrl-C ends it, and what was entered counts once", holder)
	})
	if err != nil {
		return nil, err
	}
	r.Reuse = o.reuse
	return r, nil
}

// settledNumber is the JSON document of verify --settle.
type settledNumber struct {
	OK bool `json:"ok"`
	register.Settlement
}

// runSettle records that a number is settled with the site.
func runSettle(c *cobra.Command, u *ui, o *registerOptions) error {
	switch {
	case o.address == "":
		return usagef("name the register with --register DB", "--settle needs --register DB")
	case o.overdue:
		return usagef("give one of them at a time", "--settle and --overdue do not go together")
	case o.reason == "":
		return usagef("say with --reason how it was settled, without anything about a person",
			"--settle needs --reason TEXT")
	}
	if err := textsMayStay(nil, "", actText{"--reason", o.reason}); err != nil {
		return err
	}
	r, err := openRegister(c.Context(), u, o)
	if err != nil {
		return err
	}
	defer r.Close()
	s, err := r.Settle(c.Context(), o.study, o.settle, o.reason, time.Now())
	if err != nil {
		return err
	}
	return u.result(settledNumber{true, s}, func(w io.Writer) {
		fmt.Fprintf(w, "%s of %s: recorded as settled\n", s.Shipment, s.Study)
	})
}

// runPrepare creates or updates the tables of a register that several stations share.
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
		fmt.Fprintln(w, "the tables of the register are up to date. "+
			"A station's role needs SELECT, INSERT and UPDATE on them, and no right to create any")
	})
}

// overdueResult is the JSON document of verify --overdue.
type overdueResult struct {
	OK bool `json:"ok"`
	*register.Status
}

// runOverdue lists gaps, silent sites and unsettled shipments. Status 1 means that there is one.
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

// printOverdue prints the sites as a table, and below it gaps and unsettled shipments.
func printOverdue(w io.Writer, s *register.Status, days int) {
	rows := [][]string{{"STUDY", "SITE", "RECEIVED", "HIGHEST", "LAST ARRIVAL (UTC)", ""}}
	for _, site := range s.Sites {
		note := ""
		if site.Silent {
			note = fmt.Sprintf("SILENT for %s: ask the site whether a shipment is on its way", count(site.Days, "day"))
		}
		last := site.Last.Format(time.DateTime)
		rows = append(rows, []string{site.Study, site.Site, fmt.Sprint(site.Received), site.Highest, last, note})
	}
	table(w, rows)
	printGaps(w, s.Gaps)
	for _, o := range s.Open {
		words, since := unsettledWords[o.State], o.Since.Format(time.DateTime)
		fmt.Fprintf(w, "unsettled: %s of %s is %s since %s UTC, station %s: %s\n",
			o.Shipment, o.Study, words[0], since, quoted(o.Station), words[1])
	}
	if len(s.Settled) > 0 {
		fmt.Fprintf(w, "settled before: %s (--json lists them with the reasons)\n", count(len(s.Settled), "number"))
	}
	if s.OK() {
		fmt.Fprintf(w, "no gap in the numbering, and no site silent for more than %s\n", count(days, "day"))
	}
}

// unsettledWords are, for each state, the words for it and the advice.
var unsettledWords = map[string][2]string{
	"discrepancies": {"accepted with discrepancies",
		"settle them with the site, then verify it again, or record it with --settle"},
	"conflict": {"claimed by two contents", "ALARM: use neither, and ask the site by telephone which counts"},
	"rejected": {"rejected", "ask the site for a new copy; if none will come, record that with --settle"},
}

// printGaps prints the numbers that never arrived although a higher one did.
func printGaps(w io.Writer, gaps []register.Gap) {
	for _, g := range gaps {
		what := fmt.Sprintf("%s of %s has", g.From, g.Study)
		if g.Count > 1 {
			what = fmt.Sprintf("%s to %s of %s (%d numbers) have", g.From, g.To, g.Study, g.Count)
		}
		fmt.Fprintf(w, "gap: %s not arrived, and a higher number has on %s UTC: ask the site whether a stick is lost, "+
			"on its way, or the number was given up (custody there shows it); "+
			"if it will never come, record that with --settle\n", what, g.Since.Format(time.DateTime))
	}
}
