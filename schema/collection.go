package schema

import (
	"io/fs"
	"os"
	"path"
	"strings"
)

// A Collection is a site's folder as read by [Load].
type Collection struct {
	Dir      string
	Study    *Study
	Plan     *Plan
	Roster   *Roster
	Sessions []*Session // accepted records, ordered by file name
	Problems []Problem  // ordered by file, line, column, rule
	Omitted  []Omitted  // files that are no part of the job, and why
	Read     Counts     // what was found, accepted or not
	Root     *os.Root   // the folder; recordings are opened through it
}

// Counts says how much there is.
type Counts struct{ Records, Recordings, Tubes int }

// An Omitted file stays at the site and has no say in the shipment.
type Omitted struct{ File, Why string }

// Bounds of a collection; a week at a site has some hundred records.
const (
	maxRecords     = 100_000
	maxRecordBytes = 1 << 30 // of all records together
)

// Load reads the collection in dir: study.json, plan, roster, every record,
// and the presence and first bytes of every recording (their bodies are read
// by [CSVCheck] and by deid). All problems are collected; the error, a
// *[ConfigError] or an I/O error, is for a folder that cannot be judged at all.
// The caller closes c.Root.
func Load(dir string) (c *Collection, err error) {
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return nil, &ConfigError{dir, "this is a file: give the collection folder, which holds study.json"}
	}
	c = &Collection{Dir: dir}
	if c.Root, err = os.OpenRoot(dir); err != nil {
		return nil, err
	}
	if err := c.load(); err != nil {
		c.Root.Close()
		return nil, err
	}
	return c, nil
}

func (c *Collection) load() error {
	data, err := readPlain(c.Root, studyFile, maxSchemaBytes)
	if err != nil {
		return explainFile(err, studyFile, "there is no study.json in this folder: give the collection folder, or lay out a new one with begin")
	}
	if c.Study, err = parseStudy(data); err != nil {
		return err
	}
	if c.Plan, err = loadPlan(c.Root, c.Study.Plan); err != nil {
		return err
	}
	if c.Roster, c.Problems, err = loadRoster(c.Root); err != nil {
		return err
	}
	sessions, recordings, err := c.top()
	if err != nil {
		return err
	}
	var records, files []fs.DirEntry
	if sessions {
		if records, err = c.list(sessionsDir); err != nil {
			return err
		}
	}
	if recordings {
		if files, err = c.list(recordingsDir); err != nil {
			return err
		}
	}
	c.Read.Recordings = len(files)
	if err := c.records(records, newShelf(files)); err != nil {
		return err
	}
	SortProblems(c.Problems)
	return nil
}

// records reads every record, in the order of their names.
func (c *Collection) records(files []fs.DirEntry, shelf *shelf) error {
	rules := newRules(c.Study, c.Roster)
	total := 0
	for _, e := range files {
		file := sessionsDir + "/" + e.Name()
		if !strings.EqualFold(path.Ext(file), ".json") {
			c.Problems = append(c.Problems, Problem{File: file, Rule: "folder.record", Severity: Error,
				Message: "the name of a session record ends in .json: rename this file if it is one, else move it out of sessions"})
			continue
		}
		c.Read.Records++
		raw, err := readPlain(c.Root, file, maxJSONBytes)
		if err != nil {
			return err
		}
		if total += len(raw); total > maxRecordBytes || c.Read.Records > maxRecords {
			return &ConfigError{sessionsDir, "there are more than 100,000 records, or more than 1 GiB of them: split the collection"}
		}
		if err := c.record(file, raw, rules, shelf); err != nil {
			return err
		}
	}
	if c.Read.Records == 0 {
		c.Problems = append(c.Problems, Problem{File: sessionsDir, Rule: "collection.empty", Severity: Error,
			Message: "there are no session records yet: save each one as a .json file in the folder sessions, in the form that session-to-copy.json shows"})
	} else if strings.HasPrefix(c.Study.Contact, contactToWrite) {
		c.Problems = append(c.Problems, Problem{File: studyFile, Pointer: "/contact", Rule: "study.contact", Severity: Error,
			Message: "the contact is still the text that begin wrote: put there whom a finder of a lost stick should call, an institution and no person; everybody can read it on the medium"})
	}
	shelf.unnamed(c)
	return nil
}

// record reads one record. What breaks the plan goes no further: the other
// rules rely on its fields.
func (c *Collection) record(file string, raw []byte, rules *rules, shelf *shelf) error {
	node, err := ParseJSON(raw)
	if syntax, ok := err.(*SyntaxError); ok {
		shelf.unknown = true
		c.Problems = append(c.Problems, Problem{File: file, Line: syntax.Line, Column: syntax.Column,
			Rule: "json.syntax", Severity: Error, Message: syntax.Message})
		return nil
	}
	c.Read.Tubes += len(entries(node, "tubes"))
	if problems := c.Plan.Validate(file, node); len(problems) > 0 {
		shelf.reserve(node)
		c.Problems = append(c.Problems, problems...)
		return nil
	}
	s := newSession(file, raw, node)
	q := &queries{file: file, node: node}
	rules.check(s, q)
	if s.Recordings, err = shelf.take(c, q); err != nil {
		return err
	}
	c.Sessions = append(c.Sessions, s)
	c.Problems = append(c.Problems, trim(q.problems)...)
	return nil
}

// Errors returns the problems of severity Error.
func (c *Collection) Errors() []Problem {
	var errors []Problem
	for _, p := range c.Problems {
		if p.Severity == Error {
			errors = append(errors, p)
		}
	}
	return errors
}
