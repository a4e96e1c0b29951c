package sessionlog

import (
	"fmt"
	"strconv"
	"strings"

	"outbreath/schema"
	"outbreath/schema/sheet"
)

// LogFile is the name of the log in a collection folder.
const LogFile = "session-log.xlsx"

// Workbook returns an empty log for a plan: a sheet for each of [Columns], and one that
// explains them. Every spelling that it suggests is one that [Read] takes without a doubt.
func Workbook(p *schema.Plan, s *schema.Study) sheet.Book {
	var book sheet.Book
	for _, c := range Columns(p) {
		if n := len(book.Sheets); n == 0 || book.Sheets[n-1].Name != c.Sheet {
			book.Sheets = append(book.Sheets, sheet.Sheet{Name: c.Sheet})
		}
		at := &book.Sheets[len(book.Sheets)-1]
		at.Columns = append(at.Columns, sheetColumn(c))
	}
	book.Pages = []sheet.Page{explained(p, s)}
	return book
}

// sheetColumn says how a column is shown and what it checks as values are typed.
func sheetColumn(c Column) sheet.Column {
	out := sheet.Column{Heading: c.Heading, Comment: comment(c)}
	if c.Leaf == nil {
		if c.Field == rosterPrefix+"sex" {
			out.Choices = rosterSex.Listed
		}
		return out
	}
	switch leaf := c.Leaf; kindOf(&c) {
	case words:
		out.Choices = leaf.Listed
		if leaf.Accepts("boolean") {
			out.Choices = []string{"yes", "no"}
		}
	case numbers:
		out.Format = sheet.AsNumber
		least, greatest := bound(leaf.Minimum), bound(leaf.Maximum)
		if least != nil || greatest != nil {
			out.Check = &sheet.Check{Min: least, Max: greatest, Message: "a number" + between(leaf)}
		}
	case codes, texts:
		if leaf.MaxLength > 0 && leaf.MaxLength < 1000 {
			out.Check = &sheet.Check{MinLen: leaf.MinLength, MaxLen: leaf.MaxLength,
				Message: fmt.Sprintf("at most %d characters", leaf.MaxLength)}
		}
	}
	return out
}

func bound(s string) *float64 {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return nil
	}
	return &f
}

func between(l *schema.Leaf) string {
	switch {
	case l.Minimum != "" && l.Maximum != "":
		return ", from " + l.Minimum + " to " + l.Maximum
	case l.Minimum != "":
		return ", at least " + l.Minimum
	case l.Maximum != "":
		return ", at most " + l.Maximum
	}
	return ""
}

// comment explains a column in a few sentences.
func comment(c Column) string {
	var parts []string
	if c.Leaf != nil && c.Leaf.Description != "" {
		parts = append(parts, sentence(c.Leaf.Description))
	}
	parts = append(parts, form(c))
	if c.Required {
		parts = append(parts, "Needed.")
	}
	return strings.Join(parts, " ")
}

func sentence(s string) string { return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "." }

// form says how a value of a column is written.
func form(c Column) string {
	switch {
	case c.Field == DateField:
		return "The day of the session, year-month-day, such as 2026-03-02. Times in this row then need no date."
	case c.Field == sessionField && c.Sheet != SessionsSheet:
		return "The session that this row belongs to, as in the sheet " + SessionsSheet + "."
	case c.Field == rosterPrefix+"sex":
		return "One of: " + strings.Join(rosterSex.Listed, ", ") + "."
	case c.Field == rosterPrefix+"other_names":
		return "A semicolon between two."
	}
	switch kindOf(&c) {
	case dates:
		return "Year-month-day, such as 1970-01-31."
	case times:
		if !ofSession(c.Field) {
			return "Date and time, such as 2026-02-27 14:00."
		}
		return "Time of day, such as 09:10 or 09:10:30; with the date before it, such as 2026-03-03 00:10, where " +
			"it is " +
			"another day."
	case words:
		if c.Leaf.Accepts("boolean") {
			return "yes or no."
		}
		return "One of: " + strings.Join(c.Leaf.Listed, ", ") + "."
	case numbers:
		text := "A number" + between(c.Leaf)
		if c.Unit != "" {
			text += ", in " + c.Unit
		}
		return text + "."
	case filenames:
		return "The file's name. Leave this sheet empty where the program finds the files by itself."
	case texts:
		return "Words, without names or dates of people."
	}
	return "As it is printed or agreed."
}

// explained is the page that says in words what the sheets and columns are.
func explained(p *schema.Plan, s *schema.Study) sheet.Page {
	page := sheet.Page{Name: ExplainedSheet, Widths: []float64{16, 30, 90}}
	line := func(texts ...string) { page.Lines = append(page.Lines, sheet.Line{Texts: texts}) }
	head := func(texts ...string) { page.Lines = append(page.Lines, sheet.Line{Heading: true, Texts: texts}) }
	head("Log of sessions, study " + s.Study + ", site " + s.Site)
	line("Fill a row of the sheet " + SessionsSheet + " for each session, and in each further sheet a row for each " +
		"tube, " +
		"interruption or check, with the number of its session in front.")
	line("This file holds identities: it stays with the folder that it is in, and never goes onto the stick or " +
		"into a mail.")
	line("Leave a cell empty where there is no value. Columns may be moved or added; an added one is asked about " +
		"once.")
	line("Times are those of the clock at the site. A time after midnight needs no date if the session began " +
		"before it.")
	sheetName := ""
	for _, c := range Columns(p) {
		if c.Sheet != sheetName {
			sheetName = c.Sheet
			line()
			head("Sheet", "Column", "What to write")
		}
		line(c.Sheet, c.Heading, comment(c))
	}
	if beyond := Beyond(p); len(beyond) > 0 {
		line()
		head("Not in this log")
		line("These lists stand inside other lists, and are written into the records by hand: " +
			strings.Join(beyond, ", "))
	}
	return page
}
