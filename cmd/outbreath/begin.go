package main

import (
	"bytes"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"outbreath/schema"
	"outbreath/schema/sessionlog"
	"outbreath/schema/sheet"
)

type beginOptions struct{ study, site, like, contact string }

func newBeginCmd(u *ui, _ *options) *cobra.Command {
	var o beginOptions
	c := &cobra.Command{
		Use:   "begin DIR --study CODE --site CODE | begin DIR --like EARLIER",
		Short: "Create an empty collection folder",
		Long: "Create an empty collection: study.json, the roster's header row, session-log.xlsx to\n" +
			"keep the log of sessions in, a record to copy, and START-HERE.html, a page that\n" +
			"explains them. --like copies study.json, roster.csv, the study's own plan and the\n" +
			"settings of the log from an earlier collection. --contact is what a finder of a lost\n" +
			"stick reads on it: telephone or address of the institution, and no person's name.\n" + statusHelp,
		Example: "  outbreath begin week-48 --study LARK-2 --site WEIR\n" +
			"  outbreath begin week-48 --study LARK-2 --site WEIR --contact '+1 646 555 0199'\n" +
			"  outbreath begin week-49 --like week-48",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := runBegin(args[0], o); err != nil {
				return err
			}
			return u.result(map[string]any{"ok": true, "folder": args[0]}, func(w io.Writer) {
				first := "open START-HERE.html in it, write the contact into study.json, fill roster.csv,\n"
				switch {
				case o.like != "":
					first = "add new subjects to roster.csv in it,\n"
				case o.contact != "":
					first = "open START-HERE.html in it, fill roster.csv,\n"
				}
				fmt.Fprintf(w, "%s is ready.\nNext: %sand keep the log of the sessions in session-log.xlsx.\n",
					quoted(args[0]), first)
			})
		},
	}
	c.Flags().StringVar(&o.study, "study", "", "study code")
	c.Flags().StringVar(&o.site, "site", "", "site code")
	c.Flags().StringVar(&o.contact, "contact", "", "telephone or address of the institution, `TEXT` for a finder")
	c.Flags().StringVar(&o.like, "like", "", "earlier collection `FOLDER` whose settings and roster are taken over")
	return c
}

func runBegin(dir string, o beginOptions) error {
	study := &schema.Study{Study: o.study, Site: o.site}
	var files []schema.File
	var plan *schema.Plan
	var err error
	switch {
	case o.like != "" && o.study+o.site+o.contact != "":
		return usagef("give --like alone: codes and contact are those of the earlier collection",
			"--like cannot be given together with codes or a contact")
	case o.like != "":
		var e *schema.Earlier
		if e, err = schema.ReadEarlier(o.like); err != nil {
			return err
		}
		study, plan, files = e.Study, e.Plan, e.Files
		if err = forNextWeek(files); err != nil {
			return err
		}
	case o.study == "" || o.site == "":
		return usagef("give both codes as the protocol writes them", "begin needs --study and --site")
	default:
		if plan, err = schema.LoadPlan("shifted"); err != nil {
			return err
		}
	}
	if o.contact != "" {
		file, err := schema.StudyWith(o.study, o.site, o.contact)
		if err != nil {
			return err
		}
		files = append(files, file)
	}
	var book bytes.Buffer
	if err := sheet.Write(&book, sessionlog.Workbook(plan, study)); err != nil {
		return err
	}
	return schema.Begin(dir, study.Study, study.Site,
		append(files, schema.File{Name: sessionlog.LogFile, Data: book.Bytes()})...)
}

// forNextWeek takes out of the settings of an earlier log what was answered about its own
// recordings and sessions: a file of the same name is another week's.
func forNextWeek(files []schema.File) error {
	i := slices.IndexFunc(files, func(f schema.File) bool { return f.Name == sessionlog.SettingsFile })
	if i < 0 {
		return nil
	}
	set, err := sessionlog.ParseSettings(files[i].Data)
	if err != nil {
		return err
	}
	set.DropSingle()
	files[i].Data = set.Encode()
	return nil
}
