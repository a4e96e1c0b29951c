package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/pack/site"
	"outbreath/schema"
	"outbreath/schema/breath"
	"outbreath/schema/sessionlog"
)

// checkResult is the JSON form of check, as in the contract.
type checkResult struct {
	OK         bool             `json:"ok"`
	Ready      bool             `json:"ready"`      // OK, and nothing was left untested: seal will succeed
	NotTested  []string         `json:"not_tested"` // what was not tested, and how to have it tested
	Records    int              `json:"records"`
	Recordings int              `json:"recordings"`
	Tubes      int              `json:"tubes"`
	Problems   []schema.Problem `json:"problems"`
	Leaks      []leak.Finding   `json:"leaks"`
	Omitted    []schema.Omitted `json:"omitted"`

	Figures []deid.RecordingFigures `json:"figures"` // of recordings with CO2
}

func newCheckCmd(u *ui, o *options) *cobra.Command {
	var seal checkOptions
	c := &cobra.Command{
		Use:   "check COLLECTION [--to MEDIA] [--tubes FILE]",
		Short: "List everything to resolve before the folder can be sealed",
		Long: `Check every record against the plan's schema, the records against each other and
against the roster, and every recording against its format, and search everything
that would leave for identifiers. This does to the data all that seal does, except
writing: what passes check can be sealed. Nothing is changed.

Name the medium and the list of the box to have them checked too; what was not
tested is listed. Sessions that left before, and records that were changed since,
are reported: give --new-number and --amended here as you will give them to seal.
Recordings of CO2 are summarised in figures, for judging how the sample was taken.
` + statusHelp,
		Example: "  outbreath check week-48\n  outbreath check week-48 --to /media/stick --tubes box.txt",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			col, err := loadCollection(u, args[0])
			if err != nil {
				return err
			}
			defer col.Root.Close()
			if err := textsMayStay(col, "", actText{"--amended", seal.amended}); err != nil {
				return err
			}
			r, err := readLoaded(c.Context(), u, o, col, false)
			if err != nil {
				return err
			}
			untested, err := r.preflight(u, o, args[0], seal)
			if err != nil {
				return err
			}
			left := r.counts()
			names := r.names()
			problems, err := inTheLog(r.col, r.problems)
			if err != nil {
				return err
			}
			doc := checkResult{
				OK: r.ok(), Ready: r.ok() && len(untested) == 0, NotTested: nonNil(untested),
				Records: left.Records, Recordings: left.Recordings, Tubes: left.Tubes,
				Problems: names.Problems(problems), Leaks: names.Findings(r.findings), Omitted: []schema.Omitted{},
			}
			for _, o := range r.col.Omitted {
				o.File = names.Shown(o.File)
				doc.Omitted = append(doc.Omitted, o)
			}
			if r.draft != nil {
				doc.Figures = slices.Clone(r.draft.Figures())
				for i := range doc.Figures {
					doc.Figures[i].File = names.Shown(doc.Figures[i].File)
				}
			}
			doc.Figures = nonNil(doc.Figures)
			if err := u.result(doc, u.fitted(func(w io.Writer) { printCheck(w, doc) })); err != nil {
				return err
			}
			if !doc.OK {
				return statusError(exitResolve)
			}
			return nil
		},
	}
	c.Flags().StringArrayVar(&seal.to, "to", nil, "folder on the medium that you will seal onto; it is checked, "+
		"and not written to (repeatable)")
	c.Flags().BoolVar(&seal.anew, "new-number", false, "you will seal sessions of an earlier shipment again, "+
		"under a new number")
	c.Flags().StringVar(&seal.newPlan, "new-plan", "", "why the plan differs from that of the previous shipment, as "+
		"you will give it to seal; it is not kept")
	c.Flags().StringVar(&seal.amended, "amended", "", "why records were changed after they were sealed, as you will "+
		"give it to seal; it is not kept")
	c.Flags().StringVar(&seal.tubes, "tubes", "", "`FILE` with the barcodes in the box, "+tubesForms+", to compare "+
		"with the records")
	return c
}

// inTheLog says of each problem where in the log the value was read, for records that fill
// has made: there it is corrected.
func inTheLog(col *schema.Collection, problems []schema.Problem) ([]schema.Problem, error) {
	filled, err := sessionlog.ReadFilled(col.Root)
	if err != nil {
		return nil, err
	}
	out := slices.Clone(problems)
	for i, p := range out {
		if at := filled.Place(p.File, p.Pointer); at != "" {
			out[i].Message += placeInLog + at + ")"
		}
	}
	return out, nil
}

// placeInLog begins what a message says of the log.
const placeInLog = " (in the log: "

// printCheck prints the result for people: problems, findings and figures, then one line of
// counts, then what to do next.
func printCheck(w io.Writer, doc checkResult) {
	printProblems(w, weighing(doc.Problems, schema.Error))
	printWarnings(w, weighing(doc.Problems, schema.Warning))
	printFindings(w, doc.Leaks)
	for _, o := range doc.Omitted {
		fmt.Fprintf(w, "%s: not shipped: %s\n", quoted(o.File), o.Why)
	}
	printFigures(w, doc.Figures)
	errs, warnings := len(weighing(doc.Problems, schema.Error)), len(weighing(doc.Problems, schema.Warning))
	open := len(openFindings(doc.Leaks))
	fmt.Fprintf(w, "read %s, %s, %s: %s, %s, %s of %d undecided\n", count(doc.Records, "record"),
		count(doc.Recordings, "recording"), count(doc.Tubes, "tube"),
		count(errs, "error"), count(warnings, "warning"), count(open, "finding"), len(doc.Leaks))
	if certain := certainFindings(doc.Leaks); certain > 0 {
		fmt.Fprintf(w, "%s in free text will be removed on sealing; if one is no identifier, keep it with "+
			"review --decide NUMBER=keep and --reason\n", count(certain, "sure finding"))
	}
	if slices.Contains(doc.NotTested, untriedRehearsal) {
		fmt.Fprintln(w, "not tested:", untriedRehearsal)
	}
	questions := 0
	for _, p := range doc.Problems {
		if asked(p) {
			questions++
		}
	}
	switch {
	case errs > questions:
		fmt.Fprintln(w, "to do: correct what the errors name, then run check again")
	case open > 0:
		fmt.Fprintln(w, "to do: look at each place and decide with review: redact it, or keep it with a reason")
	default:
		printReady(w, doc, questions)
	}
	if questions > 0 {
		fmt.Fprintln(w, "to do: ["+site.RuleNumber+"] and ["+site.RuleAmended+"] are not errors in the data, but "+
			"questions that seal asks: give check the options that you will give to seal")
	}
}

// printReady prints what passed, and claims no more than was tested. questions is the number
// of seal's questions that are still open.
func printReady(w io.Writer, doc checkResult, questions int) {
	fmt.Fprintln(w, "no listed pattern was found; whether the data are de-identified enough is for the privacy "+
		"officer to decide")
	for _, what := range doc.NotTested {
		fmt.Fprintln(w, "not tested:", what)
	}
	switch {
	case doc.Ready:
		fmt.Fprintln(w, "ready to seal")
	case questions == 0:
		fmt.Fprintln(w, "no problem was found in what was tested")
	}
}

// maxFigures is the greatest number of recordings in the table of figures.
const maxFigures = 20

// printFigures prints the table of CO2 figures, one recording per row.
func printFigures(w io.Writer, figures []deid.RecordingFigures) {
	if len(figures) == 0 {
		return
	}
	rows := [][]string{{"recording", "seconds", "breaths", "a minute", "end-tidal kPa", "mask off", "longest gap",
		"CO2 over time"}}
	for _, f := range figures[:min(len(figures), maxFigures)] {
		rows = append(rows, []string{quoted(f.File), fmt.Sprintf("%.0f", f.Seconds), fmt.Sprint(f.Breaths),
			fmt.Sprintf("%.1f", f.PerMinute),
			fmt.Sprintf("%.2f", f.EndTidal), fmt.Sprintf("%.0f%%", 100*f.OffShare), fmt.Sprintf("%.2f s", f.LongestGap),
			breath.Sparkline(halved(f.Strip))})
	}
	table(w, rows)
	if more := len(figures) - maxFigures; more > 0 {
		fmt.Fprintf(w, "and %d more; --json lists all\n", more)
	}
	fmt.Fprintln(w, "figures for judging the sample; not a medical reading")
}

// halved joins each two neighbouring values of a strip to their maximum, so that a row of
// the table fits the width of a screen. NaN is a stretch without a value.
func halved(strip []float64) []float64 {
	var out []float64
	for i := 0; i < len(strip); i += 2 {
		v := strip[i]
		if i+1 < len(strip) && !(strip[i+1] <= v) {
			if next := strip[i+1]; !math.IsNaN(next) {
				v = next
			}
		}
		out = append(out, v)
	}
	return out
}

// weighing returns the problems of one severity.
func weighing(problems []schema.Problem, weight schema.Severity) []schema.Problem {
	var out []schema.Problem
	for _, p := range problems {
		if p.Severity == weight {
			out = append(out, p)
		}
	}
	return out
}

// alike is how many warnings with the same text are shown: a rack of tubes that has
// waited too long must not hide the other warnings.
const alike = 3

// printWarnings prints warnings one per line, and only counts the repetitions.
func printWarnings(w io.Writer, warnings []schema.Problem) {
	text := func(p schema.Problem) string { // without its place, which differs
		same, _, _ := strings.Cut(p.Message, placeInLog)
		return p.Rule + same
	}
	shown := map[string]int{}
	for _, p := range warnings {
		if shown[text(p)]++; shown[text(p)] <= alike {
			printProblems(w, []schema.Problem{p})
		}
	}
	said := map[string]bool{}
	for _, p := range warnings {
		if more := shown[text(p)] - alike; more > 0 && !said[text(p)] {
			said[text(p)] = true
			fmt.Fprintf(w, "and %d more [%s]; --json lists all\n", more, p.Rule)
		}
	}
}
