package schema

import (
	"errors"
	"io/fs"
	"os"
	"path"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"outbreath/pack/durable"
)

// A Collection is a site's folder as read by [Load].
type Collection struct {
	Dir      string
	Study    *Study
	Plan     *Plan
	Roster   *Roster
	Sessions []*Session // accepted records, ordered by file name
	Problems []Problem  // ordered by file, line, column, rule
	Omitted  []Omitted  // files that are not part of the job, and why
	Read     Counts     // everything found, accepted or not
	Root     *os.Root   // the folder; recordings are opened through it
}

// Counts are the sizes of a collection.
type Counts struct{ Records, Recordings, Tubes int }

// An Omitted file remains at the site and has no influence on the shipment.
type Omitted struct{ File, Why string }

// Bounds of a collection. A week at a site has some hundred records.
const (
	maxRecords     = 100_000
	maxRecordBytes = 1 << 30 // of all records together
)

// Load reads the collection in dir: study.json, plan, roster, every record,
// and the presence and first bytes of every recording (their bodies are read
// by [CSVCheck] and by deid). All problems are collected. The error, a *[ConfigError] or an
// I/O error, is for a folder that cannot be judged at all; if it does not exist, errors.Is
// reports [fs.ErrNotExist].
//
// The caller closes c.Root, after everything made from c has been sealed.
func Load(dir string) (c *Collection, err error) {
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return nil, &ConfigError{File: dir, Message: "this is a file: give the collection folder, which holds " +
			"study.json"}
	}
	c = &Collection{Dir: dir}
	if c.Root, err = durable.OpenFolder(dir); err != nil {
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
		if errors.Is(err, fs.ErrNotExist) {
			return &ConfigError{File: studyFile, Message: "there is no study.json in this folder", NoCollection: true}
		}
		return explainFile(err, studyFile, "")
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
	c.Problems = append(c.Problems, c.Roster.OnePerson()...)
	c.Problems = append(c.Problems, c.Roster.Garbled()...)
	c.Problems = append(c.Problems, c.Roster.postalCodes()...)
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
	if err := c.records(records, newInventory(files, c.Problems)); err != nil {
		return err
	}
	SortProblems(c.Problems)
	return nil
}

// records reads every record, and checks it in the order of file names against the rules that
// concern more than one record.
func (c *Collection) records(entries []fs.DirEntry, inv *inventory) error {
	var files []string
	for _, e := range entries {
		file := sessionsDir + "/" + e.Name()
		if !strings.EqualFold(path.Ext(file), ".json") {
			c.Problems = append(c.Problems, Problem{File: file, Rule: "folder.record", Severity: Error,
				Message: "the name of a session record ends in .json: rename this file if it is one; if not, move it " +
					"out of sessions"})
			continue
		}
		files = append(files, file)
	}
	c.Read.Records = len(files)
	tooMuch := &ConfigError{File: sessionsDir, Message: "there are more than 100,000 records, or more than 1 GiB " +
		"of them: split the collection"}
	if len(files) > maxRecords {
		return tooMuch
	}
	rules := newRules(c.Study, c.Roster)
	total := 0
	for batch := range slices.Chunk(files, atOnce) {
		for _, r := range c.readRecords(batch) {
			if r.err != nil {
				return r.err
			}
			if total += r.size; total > maxRecordBytes {
				return tooMuch
			}
			if err := c.record(r, rules, inv); err != nil {
				return err
			}
		}
	}
	if len(files) == 0 {
		c.Problems = append(c.Problems, Problem{File: sessionsDir, Rule: "collection.empty", Severity: Error,
			Message: "there are no session records yet: make them from the session log, or enter the sessions " +
				"at the terminal"})
	} else if strings.HasPrefix(c.Study.Contact, contactToWrite) {
		c.Problems = append(c.Problems, Problem{File: studyFile, Pointer: "/contact", Rule: "study.contact",
			Severity: Error,
			Message: "the contact is still that of a new folder: write there whom a finder of a lost stick " +
				"should call, an institution and not a person; everybody can read it on the medium"})
	}
	c.between()
	inv.unnamed(c)
	return nil
}

// atOnce bounds how many records are read at the same time, and so the memory: each may have
// 16 MiB.
const atOnce = 8

// A record is one file of sessions, read and validated against the plan only.
type record struct {
	file     string
	size     int
	node     *Node // nil if it cannot be read
	problems []Problem
	err      error // an I/O error
}

// readRecords reads files in parallel, and returns them in their order.
func (c *Collection) readRecords(files []string) []record {
	out := make([]record, len(files))
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(files)) {
		workers.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(files)); i = next.Add(1) - 1 {
				out[i] = c.readRecord(files[i])
			}
		})
	}
	workers.Wait()
	return out
}

// readRecord reads one record and validates it against the plan. A file that this user cannot
// read, or that is no longer an ordinary file, is a problem and not an error.
func (c *Collection) readRecord(file string) record {
	r := record{file: file}
	raw, err := readPlain(c.Root, file, maxJSONBytes)
	if err != nil {
		r.err = err
		switch {
		case errors.Is(r.err, fs.ErrPermission):
			r.err = nil
			r.problems = []Problem{{File: file, Rule: "folder.unreadable", Severity: Error, Message: errUnreadable}}
		case errors.As(r.err, new(*irregularError)): // it was a plain file when the folder was listed
			r.problems = []Problem{{File: file, Rule: ruleIrregular, Severity: Error, Message: r.err.Error()}}
			r.err = nil
		}
		return r
	}
	r.size = len(raw)
	node, err := ParseJSON(raw)
	if syntax, ok := err.(*SyntaxError); ok {
		r.problems = []Problem{{File: file, Line: syntax.Line, Column: syntax.Column, Rule: "json.syntax",
			Severity: Error, Message: syntax.Message}}
		return r
	}
	r.node = node
	r.problems = c.Plan.Validate(file, node)
	return r
}

// record adds one record to the collection. A record that does not fit the plan is not
// checked further, because the other rules rely on its fields.
func (c *Collection) record(r record, rules *rules, inv *inventory) error {
	c.Read.Tubes += len(entries(r.node, "tubes"))
	if len(r.problems) > 0 {
		if r.node == nil {
			inv.unknown = true
		}
		inv.reserve(r.node)
		c.Problems = append(c.Problems, r.problems...)
		return nil
	}
	s := newSession(r.file, r.node)
	q := &queries{file: r.file, node: r.node}
	rules.check(s, q)
	var err error
	if s.Recordings, err = inv.take(c, q); err != nil {
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
