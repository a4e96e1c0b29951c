package schema

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"path/filepath"
	"strings"
)

// recordingName returns the file in the collection that a record names: "recordings/a.csv" and
// "a.csv" mean the same. It is "" for a name that could lead elsewhere, or that some media
// cannot hold.
func recordingName(text string) string {
	name := strings.TrimPrefix(text, recordingsDir+"/")
	switch {
	case name == "" || len(name) > 200 || !filepath.IsLocal(name):
	case strings.ContainsAny(name, `/\:*?"<>|`) || strings.ContainsFunc(name, isControl):
	case strings.HasPrefix(name, ".") || strings.HasSuffix(name, ".") || strings.HasSuffix(name, " "):
	default:
		return recordingsDir + "/" + name
	}
	return ""
}

// An inventory is the files of the recordings folder, with the records that name them.
type inventory struct {
	files map[string]bool   // "recordings/a.csv"
	lower map[string]string // name by its lower case
	named map[string]place  // by lower case: where a record first names it
	other map[string]bool   // in lower case: named in records that were not accepted

	odd     map[string]bool // not an ordinary file, and reported already
	unknown bool            // a record could not be read, so what it names is unknown
}

// newInventory returns the inventory of files, and of the irregular ones among problems.
func newInventory(files []fs.DirEntry, problems []Problem) *inventory {
	s := &inventory{files: make(map[string]bool), lower: make(map[string]string), named: make(map[string]place),
		other: make(map[string]bool), odd: make(map[string]bool)}
	for _, p := range problems {
		s.odd[p.File] = p.Rule == ruleIrregular
	}
	for _, e := range files {
		name := recordingsDir + "/" + e.Name()
		s.files[name] = true
		s.lower[strings.ToLower(name)] = name
	}
	return s
}

// reserve marks the recordings of a record that was not accepted as named.
func (s *inventory) reserve(n *Node) {
	for _, entry := range entries(n, "recordings") {
		s.other[strings.ToLower(recordingName(entry.Member("file").text()))] = true
	}
}

// take finds the recordings that a record names, checks the first bytes of each, and returns
// those that exist.
func (s *inventory) take(c *Collection, q *queries) ([]RecordingRef, error) {
	var refs []RecordingRef
	for i, entry := range entries(q.node, "recordings") {
		pointer := fmt.Sprintf("/recordings/%d/file", i)
		name := recordingName(entry.Member("file").text())
		format := entry.Member("format").text()
		if name == "" {
			q.error(pointer, "recording.name", "this must be the name of a file in the recordings folder, without "+
				"other folders, and of at most 200 characters that every medium knows: rename the file and correct "+
				"the name here")
			continue
		}
		low := strings.ToLower(name)
		if first, twice := s.named[low]; twice {
			q.error(pointer, "recording.twice", fmt.Sprintf("this recording is named in %s already: each recording "+
				"belongs to one session, which names it once", first))
			continue
		}
		s.named[low] = q.place(pointer)
		if ext := strings.ToLower(path.Ext(name)); ext != "."+format {
			q.error(pointer, "recording.format", fmt.Sprintf("the name of a recording in this format must end in "+
				".%s: rename the file, or correct the format", format))
		}
		if s.odd[name] {
			continue
		}
		if !s.files[name] {
			message := "there is no such file in the recordings folder: copy it there, or correct the name here"
			if s.lower[low] != "" {
				message = "the recordings folder has this file with other upper and lower case letters: write the " +
					"name as the file has it"
			}
			q.error(pointer, "recording.missing", message)
			continue
		}
		ref, err := look(c, q, RecordingRef{File: name, Format: format, Pointer: pointer})
		if errors.Is(err, fs.ErrPermission) {
			q.error(pointer, "folder.unreadable", "the file of this recording cannot be read by you: ask for the "+
				"right to read it, or run the command as the person who owns it")
			continue
		}
		if err != nil {
			return nil, err
		}
		refs = append(refs, ref)
	}
	return refs, nil
}

// look completes ref, and checks that the file begins as its format requires.
func look(c *Collection, q *queries, ref RecordingRef) (RecordingRef, error) {
	f, info, err := openPlain(c.Root, ref.File)
	if err != nil {
		return ref, err
	}
	defer f.Close()
	ref.Size, ref.ModTime = info.Size(), info.ModTime()
	if ref.Format == "csv" {
		ref.Columns = c.Plan.Columns()
	}
	head := make([]byte, 256)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return ref, err
	}
	switch head = head[:n]; {
	case n == 0:
		q.error(ref.Pointer, "recording.empty", "the file of this recording is empty: copy it from the sampler again")
	case ref.Format == "edf" && !bytes.HasPrefix(head, edfStart):
		q.error(ref.Pointer, "recording.format", "the file of this recording does not begin as an EDF file does: "+
			"correct the format, or copy the file again")
	case ref.Format == "csv" && (bytes.HasPrefix(head, edfStart) || bytes.ContainsFunc(head, untabular)):
		q.error(ref.Pointer, "recording.format", "the file of this recording is not CSV text: correct the format, "+
			"or copy the file again")
	}
	return ref, nil
}

// edfStart is the version field of an EDF header: "0" and seven spaces
// (EDF specification, 1992).
var edfStart = []byte("0       ")

// untabular reports whether a character cannot occur in a table of numbers.
func untabular(r rune) bool { return r < ' ' && r != '\t' && r != '\n' && r != '\r' }

// unnamed adds a warning for each recording that no record names.
func (s *inventory) unnamed(c *Collection) {
	if s.unknown {
		return
	}
	for name := range s.files {
		low := strings.ToLower(name)
		if _, ok := s.named[low]; !ok && !s.other[low] {
			c.Problems = append(c.Problems, Problem{File: name, Rule: "recording.unnamed", Severity: Warning,
				Message: "no record names this recording, so it will not be shipped: name it in its session's " +
					"record, or move it out of the collection"})
		}
	}
}
