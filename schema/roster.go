package schema

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode/utf8"
)

// Bounds of a roster.
const (
	maxRosterBytes   = 64 << 20
	maxRosterRows    = 200_000
	maxRosterColumns = 200
)

// A Roster is the site's list of subjects. It never leaves the site.
type Roster struct {
	Columns []string            // from the header row; those of [RosterColumns] in lower case
	Rows    []map[string]string // column name to value, values trimmed, empty ones left out
	Lines   []int               // of the rows, in the file, from 1
}

// RosterColumns returns the columns that roster.csv may have, in the order in which [Begin]
// writes them. A study may add others.
func RosterColumns() []string {
	return []string{
		"subject_id", "given_name", "family_name", "other_names", "sex", "birth_date", "mrn", "national_id",
		"phone", "email", "street", "city", "postal_code", "country", "emergency_contact_name",
		"emergency_contact_phone",
	}
}

// neededColumns are required: without them there is nothing to search for, and subjects cannot
// be distinguished.
var neededColumns = []string{"subject_id", "given_name", "family_name", "birth_date"}

// loadRoster reads roster.csv. The error is a *[ConfigError] or an I/O error.
func loadRoster(root *os.Root) (*Roster, []Problem, error) {
	data, err := readPlain(root, rosterFile, maxRosterBytes)
	if err != nil {
		return nil, nil, explainFile(err, rosterFile, "the site's list of subjects is not in the folder: add it, "+
			"because the leak check searches for what it lists")
	}
	return parseRoster(data)
}

// ParseRoster reads a list of subjects from outside a collection, in the form of roster.csv. The
// error, a *[ConfigError], means that the list cannot be used at all.
func ParseRoster(data []byte) (*Roster, []Problem, error) { return parseRoster(data) }

func parseRoster(data []byte) (*Roster, []Problem, error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	refuse := func(format string, args ...any) (*Roster, []Problem, error) {
		return nil, nil, &ConfigError{File: rosterFile, Message: fmt.Sprintf(format, args...)}
	}
	if len(data) > maxRosterBytes {
		return refuse("the list is larger than 64 MiB: it holds more than subjects")
	}
	if line := notText(data); line > 0 {
		return refuse("line %d is not UTF-8 text, so names in it would not be found: save the list as \"CSV "+
			"UTF-8\"", line)
	}
	p := &rosterParser{data: data, csv: csv.NewReader(bytes.NewReader(data)), roster: &Roster{},
		ids: make(map[string]int), alike: newLookalikes()}
	p.csv.ReuseRecord = true
	header, err := p.csv.Read()
	if err == io.EOF {
		return refuse("the list is empty: its first line must name the columns, such as %s",
			strings.Join(neededColumns, ","))
	}
	if err != nil {
		return refuse("line 1 cannot be read: quotation marks must enclose a whole value, and be doubled " +
			"inside it")
	}
	if message := p.columns(header); message != "" {
		return refuse("line 1: %s", message)
	}
	for {
		row, err := p.csv.Read()
		if err == io.EOF {
			break
		}
		if len(p.roster.Rows) == maxRosterRows {
			return refuse("the list has more than 200,000 subjects")
		}
		var broken *csv.ParseError
		switch {
		case errors.As(err, &broken) && errors.Is(err, csv.ErrFieldCount):
			p.problem(-1, "roster.row", Error, fmt.Sprintf("this row has %d values but the first line names %d "+
				"columns: put values with commas in quotation marks, and check for missing commas", len(row),
				len(header)))
			continue
		case errors.As(err, &broken):
			p.problems = append(p.problems, Problem{File: rosterFile, Line: broken.StartLine, Rule: "roster.row",
				Severity: Error,
				Message: "this row and those after it cannot be read: quotation marks must enclose a whole " +
					"value, and be doubled inside it"})
			return p.roster, p.problems, nil
		case err != nil:
			return nil, nil, err
		}
		p.row(row)
	}
	return p.roster, p.problems, nil
}

// notText returns the number of the first line that is not UTF-8 or holds a NUL, or 0.
func notText(data []byte) int {
	n := 0
	for line := range bytes.Lines(data) {
		if n++; !utf8.Valid(line) || bytes.IndexByte(line, 0) >= 0 {
			return n
		}
	}
	return 0
}

// A rosterParser is the state of parseRoster.
type rosterParser struct {
	data     []byte
	csv      *csv.Reader
	roster   *Roster
	problems []Problem
	ids      map[string]int // canonical subject_id to its line
	alike    *lookalikes    // of those
}

// columns reads the header row. The message says what is wrong with it, or is "".
func (p *rosterParser) columns(header []string) string {
	if len(header) > maxRosterColumns {
		return "the list has more than 200 columns"
	}
	known := RosterColumns()
	for i, name := range header {
		name = strings.TrimSpace(name)
		if low := strings.ToLower(name); slices.Contains(known, low) {
			name = low
		}
		if name == "" {
			name = fmt.Sprintf("column %d", i+1)
		}
		if slices.Contains(p.roster.Columns, name) {
			return fmt.Sprintf("two columns have the same name (the second is column %d): rename one", i+1)
		}
		p.roster.Columns = append(p.roster.Columns, name)
	}
	if len(header) == 1 && strings.ContainsAny(header[0], ";\t") {
		return `the columns are separated by semicolons or tabs: save the list as "CSV UTF-8 (comma delimited)"`
	}
	if strings.Contains(strings.Join(header, ""), "\r") {
		return "the lines do not end as in CSV: save the list as \"CSV UTF-8\""
	}
	for _, name := range neededColumns {
		if !slices.Contains(p.roster.Columns, name) {
			return fmt.Sprintf("the column %s is missing: add it with this name", name)
		}
	}
	var missing []string
	for _, name := range known {
		if !slices.Contains(p.roster.Columns, name) {
			missing = append(missing, name)
		}
	}
	if missing != nil {
		p.problems = append(p.problems, Problem{File: rosterFile, Line: 1, Column: 1, Rule: "roster.column",
			Severity: Warning,
			Message: fmt.Sprintf("the list has no column %s: the leak check cannot search for what it does not know",
				strings.Join(missing, ", "))})
	}
	return ""
}

// row checks and keeps one row. It ignores rows without a value, which spreadsheets leave at the
// end.
func (p *rosterParser) row(values []string) {
	m := make(map[string]string, len(values))
	for i, v := range values {
		if v = strings.TrimSpace(v); v != "" {
			m[p.roster.Columns[i]] = strings.Clone(v)
		}
	}
	if len(m) == 0 {
		return
	}
	column := func(name string) int { return slices.Index(p.roster.Columns, name) }
	switch id, err := usable(m["subject_id"]); {
	case m["subject_id"] == "":
		p.problem(column("subject_id"), "roster.subject-id", Error, "this subject has no subject_id: add it")
	case err != nil:
		p.problem(column("subject_id"), "roster.subject-id", Error, "this subject_id cannot be used: "+err.Error())
	case p.ids[id] > 0:
		p.problem(column("subject_id"), "roster.twice", Error, fmt.Sprintf(
			"this subject_id and that in line %d are one identifier (%s): remove one of the two rows, or give one "+
				"of the two subjects another identifier, here and in the records", p.ids[id], sameCanonical))
	default:
		p.ids[id], _ = p.csv.FieldPos(column("subject_id"))
		if other, alike := p.alike.add(id, place{file: rosterFile, line: p.ids[id]}); alike {
			p.problem(column("subject_id"), "subject.alike", Warning, fmt.Sprintf(subjectAlike, other))
		}
	}
	if !isDate(m["birth_date"]) {
		p.problem(column("birth_date"), "roster.birth-date", Error,
			"birth_date must be a date of the calendar written year-month-day, such as 1970-12-31")
	}
	line, _ := p.csv.FieldPos(0)
	p.roster.Rows, p.roster.Lines = append(p.roster.Rows, m), append(p.roster.Lines, line)
}

// problem adds a problem about a value of the row just read; field is -1 for the whole row.
func (p *rosterParser) problem(field int, rule string, s Severity, message string) {
	if len(p.problems) >= maxProblems {
		return
	}
	line, column := p.csv.FieldPos(max(field, 0))
	p.problems = append(p.problems, Problem{File: rosterFile, Line: line, Column: p.characters(line, column),
		Rule: rule, Severity: s, Message: message})
}

// characters converts a column in bytes, from 1, to one in characters.
func (p *rosterParser) characters(line, column int) int {
	rest := p.data
	for range line - 1 {
		_, rest, _ = bytes.Cut(rest, []byte("\n"))
	}
	return utf8.RuneCount(rest[:min(column-1, len(rest))]) + 1
}
