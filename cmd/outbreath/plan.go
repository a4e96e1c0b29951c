package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"outbreath/deid"
	"outbreath/schema"
	"outbreath/schema/edf"
)

// planField is one row of the treatment table.
type planField struct {
	Path      string `json:"path"`
	Treatment string `json:"treatment"`
	Risk      string `json:"risk"`
	Why       string `json:"why"`
	Before    string `json:"before"` // an invented value; "" for a field that leaves as it is
	After     string `json:"after"`
	Caution   string `json:"caution,omitempty"`
}

// wideField is the caution on a kept field that is wide enough for prose.
const wideField = "it leaves unchanged and accepts words, so a name could leave in it: it is searched like " +
	"notes, but give it a narrow \"pattern\" " +
	"and a \"maxLength\" of 64 or less, listed values (\"enum\"), or the treatment \"text\""

// planFields returns the treatment table of a plan, with an invented example for each field.
func planFields(p *schema.Plan) ([]planField, error) {
	examples, err := deid.Examples(p)
	if err != nil {
		return nil, err
	}
	out := make([]planField, 0, len(p.Fields))
	for i, f := range p.Fields {
		caution := ""
		if f.Wide {
			caution = wideField
		}
		out = append(out, planField{f.Path, f.Treatment.String(), f.Risk, f.Why, examples[i].Before, examples[i].After,
			caution})
	}
	return out, nil
}

// example shows what the treatment does to an invented value.
func (f planField) example() string {
	switch {
	case f.Before == "":
		return "leaves as it is"
	case f.After == "":
		return "does not leave"
	}
	return f.Before + " -> " + f.After
}

func newPlanCmd(u *ui, o *options) *cobra.Command {
	find := &reachOptions{}
	c := &cobra.Command{
		Use:   "plan COLLECTION",
		Short: "Print how every field is treated before it leaves",
		Long: "Print the treatment table of the collection's plan: field, treatment, an\ninvented value before " +
			"and after, and why. A plan with an untreated field is refused.\n" + reachHelp + statusHelp,
		Example: "  outbreath plan week-48\n  outbreath plan week-48 --reach k=5 --write week-48/plan-k5.json",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if find.asked(c) {
				return find.run(u, o, args[0])
			}
			col, err := loadCollection(u, args[0])
			if err != nil {
				return err
			}
			defer col.Root.Close()
			fields, err := planFields(col.Plan)
			if err != nil {
				return err
			}
			doc := map[string]any{"ok": true, "plan": col.Plan.Name, "study": col.Study.Study, "site": col.Study.Site,
				"fields": fields, "leaves": deid.Leaving(col.Plan),
				"technical_words": edf.Words(), "known": deid.KnownAnyway(col.Plan)}
			return u.result(doc, func(w io.Writer) {
				fmt.Fprintf(w, "plan %q, study %s, site %s\n\n", col.Plan.Name, col.Study.Study, col.Study.Site)
				rows := [][]string{{"FIELD", "TREATMENT", "RISK", "INVENTED EXAMPLE"}}
				for _, f := range fields {
					rows = append(rows, []string{f.Path, f.Treatment, dash(f.Risk), f.example()})
				}
				// the reason is printed below each row: as a column it would make the table too wide
				for i, line := range tableLines(rows) {
					fmt.Fprintln(w, line)
					if i > 0 && fields[i-1].Why != "" {
						fmt.Fprintf(w, "    %s\n", fields[i-1].Why)
					}
					if i > 0 && fields[i-1].Caution != "" {
						fmt.Fprintf(w, "    caution: %s\n", fields[i-1].Caution)
					}
				}
				printLeaving(w, col.Plan)
				fmt.Fprintln(w, "\nEvery field of a record is in the table; a field that is not cannot "+
					"leave.\nWhether this is enough is for the privacy officer, the protocol and local law to decide.")
			})
		},
	}
	find.flags(c)
	return c
}

// dash returns s, or "-" if it is empty.
func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
