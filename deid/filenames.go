package deid

import (
	"strings"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// FileNames returns the names of files as they may be shown to anybody: a finding in
// a name is replaced by ***, unless a person decided to keep it. A nil FileNames
// changes nothing.
type FileNames struct {
	masks  *strings.Replacer
	places map[string][2]string // id of a finding in a recording's name to record and pointer that name it
}

// FileNames covers the files of the draft's records, and others, for example those of
// records that could not be treated, and files that no record names.
func (d *Draft) FileNames(dec *leak.Decisions, others []string) *FileNames {
	n := &FileNames{places: map[string][2]string{}}
	var pairs []string
	known := map[string]bool{}
	mask := func(p place) []leak.Finding {
		found := d.searcher.settle(p, dec).findings
		shown, at := "", 0
		for _, f := range found {
			if f.Decision != "keep" && f.End > at {
				shown, at = shown+p.text[at:max(at, f.Start)]+"***", f.End
			}
		}
		if at > 0 {
			pairs = append(pairs, p.text, shown+p.text[at:])
		}
		return found
	}
	for _, s := range d.sessions {
		pointers := map[string]string{}
		known[s.file] = true
		for _, r := range s.recordings {
			known[r.File] = true
			pointers[r.File] = r.Pointer
		}
		for _, p := range s.places {
			if p.manner != name {
				continue
			}
			for _, f := range mask(p) {
				if pointer, named := pointers[p.file]; named && f.ID != "" {
					n.places[f.ID] = [2]string{s.file, pointer}
				}
			}
		}
	}
	for _, file := range others {
		if known[file] {
			continue
		}
		known[file] = true
		mask(place{file: file, text: file, manner: name, declared: leak.Declare(d.c.Study.Study, d.c.Study.Site)})
	}
	n.masks = strings.NewReplacer(pairs...)
	return n
}

// Shown returns text, such as a file name or a message, with the names in it masked.
func (n *FileNames) Shown(text string) string {
	if n == nil {
		return text
	}
	return n.masks.Replace(text)
}

// Findings returns a copy of list for display: file names are masked, and a finding in
// the name of a recording is listed at the place in the record that names it. Ids are
// kept, because decisions refer to them.
func (n *FileNames) Findings(list []leak.Finding) []leak.Finding {
	out := make([]leak.Finding, len(list))
	for i, f := range list {
		if n != nil {
			if at, ok := n.places[f.ID]; ok {
				f.File, f.Pointer = at[0], at[1]
			}
		}
		f.File = n.Shown(f.File)
		out[i] = f
	}
	return out
}

// Problems returns a copy of list for display, with the file names masked.
func (n *FileNames) Problems(list []schema.Problem) []schema.Problem {
	out := make([]schema.Problem, len(list))
	for i, p := range list {
		p.File, p.Message = n.Shown(p.File), n.Shown(p.Message)
		out[i] = p
	}
	return out
}
