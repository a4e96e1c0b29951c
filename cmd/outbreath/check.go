package main

import (
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/breath"
)

// checkResult is the JSON form of check, as in the contract.
type checkResult struct {
	OK         bool             `json:"ok"`
	Records    int              `json:"records"`
	Recordings int              `json:"recordings"`
	Tubes      int              `json:"tubes"`
	Problems   []schema.Problem `json:"problems"`
	Leaks      []leak.Finding   `json:"leaks"`
	Omitted    []schema.Omitted `json:"omitted"`

	Figures []deid.RecordingFigures `json:"figures"` // of recordings with CO2 in kPa
}

func newCheckCmd(u *ui, o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "check COLLECTION",
		Short: "List every query that stands between the folder and a shipment",
		Long: `Check every record against the plan's schema, the records against each other
and against the roster, every recording against its format, and search all that
would leave for identifiers. Nothing is changed. Recordings of CO2 are shown in
figures, for judging how the sample was taken.
` + statusHelp,
		Example: "  outbreath check week-48",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			r, err := read(c.Context(), u, o, args[0], false)
			if err != nil {
				return err
			}
			defer r.col.Root.Close()
			doc := checkResult{
				OK: r.ok(), Records: r.col.Read.Records, Recordings: r.col.Read.Recordings, Tubes: r.col.Read.Tubes,
				Problems: nonNil(r.problems), Leaks: nonNil(r.findings), Omitted: nonNil(r.col.Omitted),
			}
			if r.draft != nil {
				doc.Figures = r.draft.Figures()
			}
			doc.Figures = nonNil(doc.Figures)
			if err := u.result(doc, func(w io.Writer) { printCheck(w, doc) }); err != nil {
				return err
			}
			if !doc.OK {
				return statusError(exitResolve)
			}
			return nil
		},
	}
}

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
	fmt.Fprintf(w, "read %s, %s, %s: %s, %s, %s of %d undecided\n", count(doc.Records, "record"), count(doc.Recordings, "recording"), count(doc.Tubes, "tube"),
		count(errs, "error"), count(warnings, "warning"), count(open, "finding"), len(doc.Leaks))
	if certain := certainFindings(doc.Leaks); certain > 0 {
		fmt.Fprintf(w, "%s in free text will be taken out on sealing; if one is no identifier, keep it with review --decide NUMBER=keep and --reason\n", count(certain, "sure finding"))
	}
	switch {
	case errs > 0:
		fmt.Fprintln(w, "to do: correct what the errors name, then run check again")
	case open > 0:
		fmt.Fprintln(w, "to do: look at each place and decide with review: redact it, or keep it with a reason")
	default:
		fmt.Fprintln(w, "nothing stands in the way of a shipment. This means that no listed pattern was found;\nwhether the data are de-identified enough is for the privacy officer to decide.")
	}
}

// maxFigures is how many recordings the table of figures has.
const maxFigures = 20

func printFigures(w io.Writer, figures []deid.RecordingFigures) {
	if len(figures) == 0 {
		return
	}
	rows := [][]string{{"recording", "seconds", "breaths", "a minute", "end-tidal kPa", "mask off", "longest gap", "CO2 over time"}}
	for _, f := range figures[:min(len(figures), maxFigures)] {
		rows = append(rows, []string{quoted(f.File), fmt.Sprintf("%.0f", f.Seconds), fmt.Sprint(f.Breaths), fmt.Sprintf("%.1f", f.PerMinute),
			fmt.Sprintf("%.2f", f.EndTidal), fmt.Sprintf("%.0f%%", 100*f.OffShare), fmt.Sprintf("%.2f s", f.LongestGap), breath.Sparkline(halved(f.Strip))})
	}
	table(w, rows)
	if more := len(figures) - maxFigures; more > 0 {
		fmt.Fprintf(w, "and %d more; --json lists all\n", more)
	}
	fmt.Fprintln(w, "figures for judging the sample; not a medical reading")
}

// halved joins each two stretches of a strip, so that a row fits on a screen.
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

func weighing(problems []schema.Problem, weight schema.Severity) []schema.Problem {
	var out []schema.Problem
	for _, p := range problems {
		if p.Severity == weight {
			out = append(out, p)
		}
	}
	return out
}

// alike is how many warnings of equal words are shown; a rack of tubes that has
// waited too long must not hide the rest.
const alike = 3

// printWarnings writes warnings one a line, and counts what only repeats.
func printWarnings(w io.Writer, warnings []schema.Problem) {
	shown := map[string]int{}
	for _, p := range warnings {
		if shown[p.Message]++; shown[p.Message] <= alike {
			printProblems(w, []schema.Problem{p})
		}
	}
	said := map[string]bool{}
	for _, p := range warnings {
		if more := shown[p.Message] - alike; more > 0 && !said[p.Message] {
			said[p.Message] = true
			fmt.Fprintf(w, "and %d more [%s]; --json lists all\n", more, p.Rule)
		}
	}
}
