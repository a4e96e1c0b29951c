package sessionlog

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strings"

	"outbreath/pack/durable"
	"outbreath/schema"
)

const (
	rosterFile = "roster.csv"
	maxRoster  = 64 << 20 // bytes, as schema.Load takes them
)

// A RosterChange says what filling does to roster.csv.
type RosterChange struct {
	Added   int `json:"added"` // rows
	Changed int `json:"changed"`
	Left    int `json:"left"` // rows of subjects that the log does not have; they stay
}

// Merged returns the subjects of the log beside those of list, which may be nil: those
// of the log count where both have one.
func (l *Roster) Merged(list *schema.Roster) *schema.Roster {
	out := &schema.Roster{Rows: slices.Clone(l.Rows)}
	if list == nil {
		return out
	}
	for _, row := range list.Rows {
		if !slices.ContainsFunc(l.Rows, func(r map[string]string) bool {
			return schema.SameID(r["subject_id"], row["subject_id"])
		}) {
			out.Rows = append(out.Rows, row)
		}
	}
	return out
}

// compareRoster merges the log's list of subjects into roster.csv: rows and columns
// are added and values changed by the rules of records, and nothing is taken out.
func (c *Changes) compareRoster(root *os.Root, log *Roster, s *Settings, was map[string]map[string]string) error {
	if log == nil {
		return nil
	}
	if c.filled.Roster == nil {
		c.filled.Roster = map[string]map[string]string{}
	}
	list, err := rosterIn(root)
	if err != nil {
		return err
	}
	for _, name := range log.Columns {
		if !slices.Contains(list.Columns, name) {
			list.Columns = append(list.Columns, name)
		}
	}
	at := map[string]int{}
	for i, row := range list.Rows {
		if key, err := schema.Canonical(row["subject_id"]); err == nil {
			at[key] = i
		}
	}
	seen := map[string]bool{}
	for i, row := range log.Rows {
		key, err := schema.Canonical(row["subject_id"])
		if err != nil || seen[key] {
			return &schema.ConfigError{File: log.Places[i], Message: "this row of the roster has no subject_id that " +
				"can be used, or that of a row above it: correct it in the log"}
		}
		seen[key] = true
		c.filled.Roster[key] = row
		k, there := at[key]
		if !there {
			list.Rows = append(list.Rows, row)
			c.Roster.Added++
			continue
		}
		merged := c.mergeRow(list, k, key, row, was[key], s, log.Places[i])
		if !maps.Equal(merged, list.Rows[k]) {
			list.Rows[k] = merged
			c.Roster.Changed++
		}
	}
	for key := range at {
		if !seen[key] {
			c.Roster.Left++
		}
	}
	if c.Roster.Added+c.Roster.Changed > 0 {
		c.roster = encodeRoster(list)
	}
	return nil
}

// mergeRow decides about every value of one subject's row.
func (c *Changes) mergeRow(list *schema.Roster, k int, key string, log, was map[string]string, s *Settings,
	place string) map[string]string {
	is, out := list.Rows[k], map[string]string{}
	for _, column := range list.Columns {
		v, clash := merged(was[column], is[column], log[column])
		if clash {
			q := id("roster", key, column, is[column], log[column])
			switch s.Answers[q] {
			case "record":
			case "log":
				v = log[column]
			default:
				c.Doubts = append(c.Doubts, Doubt{ID: q, Where: place, Question: fmt.Sprintf("%s of this subject is "+
					"not the same in the log and in %s: which is right?", column, rosterFile),
					Choices: []Choice{{"record", "what " + rosterFile + " has"}, {"log", "what the log says"}}})
			}
		}
		if v != "" {
			out[column] = v
		}
	}
	return out
}

// rosterIn reads roster.csv, which must be free of errors: a row that cannot be read
// would be lost. A missing one is empty.
func rosterIn(root *os.Root) (*schema.Roster, error) {
	data, err := durable.Read(root, rosterFile, maxRoster)
	if errors.Is(err, fs.ErrNotExist) {
		return &schema.Roster{Columns: schema.RosterColumns()}, nil
	}
	if err != nil {
		return nil, err
	}
	list, problems, err := schema.ParseRoster(data)
	if err != nil {
		return nil, err
	}
	for _, p := range problems {
		if p.Severity == schema.Error && p.Rule == "roster.row" {
			return nil, &schema.ConfigError{File: rosterFile, Message: fmt.Sprintf("line %d: %s", p.Line, p.Message)}
		}
	}
	return list, nil
}

func encodeRoster(list *schema.Roster) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write(list.Columns) // a buffer takes everything
	row := make([]string, len(list.Columns))
	for _, values := range list.Rows {
		for i, name := range list.Columns {
			row[i] = strings.TrimSpace(values[name])
		}
		w.Write(row)
	}
	w.Flush()
	return b.Bytes()
}
