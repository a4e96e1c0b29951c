package schema

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"

	"outbreath/pack/durable"
)

// Names in a collection folder.
const (
	sessionsDir   = "sessions"
	recordingsDir = "recordings"
	rosterFile    = "roster.csv"
)

// ruleIrregular is the rule about a name that is not an ordinary file.
const ruleIrregular = "folder.irregular"

// An irregularError says that a name is not an ordinary file.
type irregularError struct{ is string } // "a link", "a named pipe" ...

func (e *irregularError) Error() string {
	return "this is " + e.is + ", not an ordinary file: put the file itself in its place"
}

// A ChangedError says that a file was replaced, or changed its size, since it was found.
type ChangedError struct{ File string }

func (e *ChangedError) Error() string { return e.File + " changed while it was read" }

const errUnreadable = "this file cannot be read by you: ask for the right to read it, or run the command as the " +
	"person who owns it"

// openPlain opens an ordinary file, and refuses links, pipes and devices.
func openPlain(root *os.Root, name string) (*os.File, fs.FileInfo, error) {
	f, err := durable.Open(root, name)
	if refused := new(durable.Refusal); errors.As(err, &refused) {
		if refused.Is == "" {
			return nil, nil, &ChangedError{name}
		}
		return nil, nil, &irregularError{refused.Is}
	}
	if err != nil {
		return nil, nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, info, nil
}

// readPlain reads an ordinary file, but no more than limit + 1 bytes: the extra byte shows the
// parser that the file is too large.
func readPlain(root *os.Root, name string, limit int64) ([]byte, error) {
	f, info, err := openPlain(root, name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data := make([]byte, min(info.Size(), limit)+1)
	switch n, err := io.ReadFull(f, data); {
	case err == nil && info.Size() <= limit: // it has grown
		return nil, &ChangedError{name}
	case err != nil && err != io.EOF && err != io.ErrUnexpectedEOF:
		return nil, err
	default:
		return data[:n], nil
	}
}

// explainFile turns an error of readPlain into a *[ConfigError] about file where it can. missing
// is the message if the file does not exist.
func explainFile(err error, file, missing string) error {
	irregular := new(irregularError)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &ConfigError{File: file, Message: missing}
	case errors.As(err, &irregular):
		return &ConfigError{File: file, Message: irregular.Error()}
	}
	return err
}

// regular reports whether a directory entry is an ordinary file. Links, pipes and devices are
// never followed.
func regular(e fs.DirEntry) bool { return e.Type().IsRegular() }

// system reports whether a file has the name of one that operating systems leave behind.
func system(name string) bool {
	switch strings.ToLower(name) {
	case "thumbs.db", "ehthumbs.db", "desktop.ini", "$recycle.bin", "system volume information":
		return true
	}
	return strings.HasPrefix(name, ".") || strings.HasPrefix(name, "~$")
}

// ownFiles are the files at the top of a collection that are read or written by name.
var ownFiles = []string{studyFile, rosterFile, "review.jsonl", "custody.jsonl", "custody.jsonl.sig", "packing.json"}

// asideFiles are the prefixes of files that are kept with the collection, with the reason to
// keep them.
var asideFiles = map[string]string{
	"custody.damaged-": "a file that an officer had set aside; keep it",
	"review.aside-":    "a file that an officer had set aside; keep it",
	"custody.torn-":    "an unfinished line of custody.jsonl, which the tool set aside; keep it",
	"session-log.":     "the log that records are made from; it stays here",
	logSettings:        "the settings of the log; keep it",
	"filled.json":      "what was made from the log; keep it",
	"entry.json":       "a session that is being entered and not finished",
	"amendments.jsonl": "what was changed in records, by whom and why; keep it",
}

// aside returns why a file that was set aside is kept, or "" if it was not set aside.
func aside(name string) (why string) {
	for prefix, why := range asideFiles {
		if strings.HasPrefix(name, prefix) {
			return why
		}
	}
	return ""
}

// top sorts the entries of the collection folder: those that are read, those that are omitted,
// and problems. It reports which of the two subfolders exist.
func (c *Collection) top() (sessions, recordings bool, err error) {
	entries, err := durable.ReadDir(c.Root, ".")
	if err != nil {
		return false, false, err
	}
	for _, e := range entries {
		name := e.Name()
		low := strings.ToLower(name)
		switch {
		case slices.Contains(ownFiles, name):
			if !regular(e) {
				c.irregular(name, e.Type())
			}
		case aside(name) != "" && regular(e):
			c.omit(name, aside(name))
		case system(name):
			c.omit(name, "a hidden file or one of the operating system's")
		case name == sessionsDir && e.IsDir():
			sessions = true
		case name == recordingsDir && e.IsDir():
			recordings = true
		case low == sessionsDir || low == recordingsDir:
			c.Problems = append(c.Problems, Problem{File: name, Rule: "folder.name", Severity: Error,
				Message: fmt.Sprintf("this must be a folder with the name %s, in lower case: rename it, or replace "+
					"it by the folder itself", low)})
		case name == path.Clean(c.Plan.Name):
			c.omit(name, "the study's plan; the laboratory gets the schema made from it")
		case e.IsDir():
			c.omit(name+"/", "a folder that is not part of a collection")
		case !regular(e):
			c.irregular(name, e.Type())
		case name == exampleFile || strings.HasSuffix(low, ".md") || strings.HasSuffix(low, ".html"):
			c.omit(name, "explains the folder; it stays here")
		default:
			c.omit(name, "not part of a collection")
		}
	}
	return sessions, recordings, nil
}

// list returns the ordinary files of a subfolder, ordered by name.
func (c *Collection) list(dir string) ([]fs.DirEntry, error) {
	entries, err := durable.ReadDir(c.Root, dir)
	if err != nil {
		return nil, err
	}
	var files []fs.DirEntry
	for _, e := range entries {
		name := dir + "/" + e.Name()
		switch {
		case system(e.Name()):
			c.omit(name, "a hidden file or one of the operating system's")
		case e.IsDir():
			c.Problems = append(c.Problems, Problem{File: name, Rule: "folder.inside", Severity: Error,
				Message: fmt.Sprintf("a folder inside %s is not read: move its files up into %s, or the folder out "+
					"of the collection", dir, dir)})
		case !regular(e):
			c.irregular(name, e.Type())
		default:
			files = append(files, e)
		}
	}
	return files, nil
}

func (c *Collection) omit(file, why string) { c.Omitted = append(c.Omitted, Omitted{file, why}) }

func (c *Collection) irregular(file string, mode fs.FileMode) {
	err := &irregularError{durable.Kind(mode)}
	c.Problems = append(c.Problems, Problem{File: file, Rule: ruleIrregular, Severity: Error, Message: err.Error()})
}
