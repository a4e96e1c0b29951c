package audit

import (
	"fmt"
	"strings"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// searched returns the fields whose values are not searched, and the class of each field
// that the plan keeps: what it keeps on purpose is no fault of the treatment, and the
// linkage counts it.
func (e *examiner) searched() (skip map[string]bool, keeps map[string]string) {
	skip, keeps = map[string]bool{}, map[string]string{}
	for _, f := range e.in.Fields {
		switch f.treatment().Kind {
		case schema.Keep:
			if keeps[f.Path] = classOfName(f.Path); keeps[f.Path] != "C" {
				keeps[f.Path] = columnClass[f.Path[strings.LastIndexByte(f.Path, '/')+1:]]
			}
		case schema.Text, schema.Drop:
		default:
			skip[f.Path] = true
		}
	}
	return skip, keeps
}

// leftovers searches every text that leaves, with the audit's own search (see [Words]).
func (e *examiner) leftovers() Attack {
	a := Attack{Name: "leftover identifiers", Unit: "texts", Knows: "the roster, and time to read everything"}
	words := NewWords(e.in.Roster)
	skip, keeps := e.searched()
	own := map[string]bool{e.in.Study: true, e.in.Site: true, "": true}
	kept, doubtful, planned := 0, 0, 0
	memo := map[string][]Hit{}
	judge := func(hits []Hit, where, path string) {
		found := false
		for _, h := range hits {
			switch {
			case e.in.Kept[where]:
				kept++
			case h.Class == keeps[path]:
				planned++
			case !h.Sure:
				doubtful++
				e.is.add("leftover.word", false, where,
					"this word is a name in the roster, but may be an ordinary word here",
					"read the text; if it is the name, redact it or correct its source")
			default:
				found = true
				e.is.add("leftover."+h.Class, true, where,
					"this text holds "+leak.Article(leak.Class(h.Class).Words().Shown)+" ("+h.Basis+")",
					"redact it, or correct its source")
			}
		}
		if found {
			a.Succeeded++
		}
	}
	for _, r := range e.o.Records {
		for _, l := range r.Leaves {
			if skip[l.Path] || own[l.Text] || len(l.Text) < 3 {
				continue
			}
			a.Tried++
			hits, ok := memo[l.Text]
			if !ok {
				hits = words.Search(l.Text)
				if len(memo) < 100_000 {
					memo[l.Text] = hits
				}
			}
			judge(hits, r.Name+" "+l.Pointer(), l.Path)
		}
		if name := strings.TrimSuffix(strings.TrimPrefix(r.Name, "sessions/"),
			".json"); !pseudonymForm.MatchString(name) {
			a.Tried++ // pseudonyms are not searched: they spell words by chance
			judge(words.Search(r.Name), r.Name+" ", "")
		}
	}
	for _, t := range e.o.Recordings {
		a.Tried++
		judge(t.Hits, t.Name+" ", "")
	}
	a.Verdict = Holds
	if a.Succeeded > 0 {
		a.Verdict = Broken
	}
	a.Detail = fmt.Sprintf("a search that is independent of the leak check: whole words of names, codes with any "+
		"separators, and patterns; %d findings were kept by decision, %d words may be ordinary ones, and %d "+
		"values of the "+
		"roster leave where the plan keeps them", kept, doubtful, planned)
	if e.in.Roster == nil {
		a.Detail += "; without a roster, patterns only"
	}
	return a
}
