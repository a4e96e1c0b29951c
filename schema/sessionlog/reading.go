package sessionlog

import (
	"time"

	"outbreath/schema"
)

// Inputs are what a log is read against.
type Inputs struct {
	Plan   *schema.Plan
	Study  *schema.Study
	Roster *schema.Roster // as roster.csv has it; nil if there is none yet
	Zone   string         // IANA name of the zone of the log's clock; "" if not known
	Today  time.Time      // nobody is born, and no tube filled, after this day
}

// A Reading is what [Read] made of a log. While it has doubts or problems, some values
// are missing from its records.
type Reading struct {
	Understood []Understood // by file, sheet and column
	Records    []*Record    // in the order of the log, one a session
	Roster     *Roster      // nil if the log has no roster
	Doubts     []Doubt      // in the order of the log; no two with one ID
	Problems   []Problem    // in the order of the log
	Zone       string       // that local times were read in; "" if there were none

	// Recordings holds the sessions that name their recordings in the log. For all
	// others, matching finds them.
	Recordings map[string]bool // by session_id
}

// An Understood says how one column, or one table as a whole, was read.
type Understood struct {
	Where   string // "sheet sessions, column D", or the table
	Table   string // "sheet sessions"; "" for what is of no table
	Heading string // as written; "" for the table as a whole
	Field   string // "/tubes/*/barcode", "roster:phone", "date"; "" if not read
	How     string // in words: "numbers with a decimal comma", "day first, as in cell D9"
}

// A Record is one session as single values.
type Record struct {
	ID     string                  // session_id
	Where  string                  // of its first row
	Values map[string]*schema.Node // by pointer, "/tubes/0/barcode"; study and site included
	Places map[string]string       // where in the log each value was read, by pointer
}

// A Roster holds the rows of a log's roster, values in the form that roster.csv asks for.
type Roster struct {
	Columns []string            // of [schema.RosterColumns] first, then the log's own
	Rows    []map[string]string // column to value, empty ones left out
	Places  []string            // where in the log each row is
}

// A Problem is something that only a change of the log can mend.
type Problem struct {
	Where   string // "sheet sessions, cell D14"
	Field   string // "/tubes/*/barcode", or ""
	Message string // what is wrong and what to do; never a value of the log
}

// A Doubt is a question that only a person can answer. While it is open, the values
// that it concerns are in no record.
type Doubt struct {
	ID       string // stable while the question is the same; key of [Settings.Answers]
	Where    string // the cells, or the column: "sheet sessions, cells D4, D5 and 3 more"
	Question string // never with a value of the log; headings are named
	Choices  []Choice
	Number   bool // the answer is a number, and not one of choices

	// Option names the setting that answers it besides Answers: "column", "dates",
	// "decimals", "zone", "recording", "clock", "gas-kpa"; "" if there is none, and then
	// changing the log answers it.
	Option  string
	Heading string // for "column": the heading as written
	Sheet   string // for "column": see [Heading.Sheet]
}

// A Choice is one answer to a doubt.
type Choice struct {
	Value string // to be stored: "day-first", "/started_at", "-"
	Words string // for a person
}
