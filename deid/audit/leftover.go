package audit

import (
	"fmt"
	"slices"
	"strings"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// leftovers searches every text that leaves, with the audit's own search (see [Words]).
func (e *examiner) leftovers() Attack {
	a := Attack{Name: "leftover identifiers", Unit: "texts", Knows: "the roster, and time to read everything"}
	words := NewWords(e.in.Roster)
	skip, dates := map[string]bool{}, map[string]bool{}
	for _, f := range e.in.Fields {
		switch f.treatment().Kind {
		case schema.Keep:
			dates[f.Path] = classOfName(f.Path) == "C" // the plan lets them leave
		case schema.Text, schema.Drop:
		default:
			skip[f.Path] = true
		}
	}
	own := map[string]bool{e.in.Study: true, e.in.Site: true, "": true}
	kept, doubtful := 0, 0
	memo := map[string][]Hit{}
	judge := func(hits []Hit, where string) {
		found := false
		for _, h := range hits {
			switch {
			case e.in.Kept[where]:
				kept++
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
			if dates[l.Path] {
				hits = slices.DeleteFunc(slices.Clone(hits), func(h Hit) bool { return h.Class == "C" })
			}
			judge(hits, r.Name+" "+l.Pointer())
		}
		if name := strings.TrimSuffix(strings.TrimPrefix(r.Name, "sessions/"),
			".json"); !pseudonymForm.MatchString(name) {
			a.Tried++ // pseudonyms are not searched: they spell words by chance
			judge(words.Search(r.Name), r.Name+" ")
		}
	}
	for _, t := range e.o.Recordings {
		a.Tried++
		judge(t.Hits, t.Name+" ")
	}
	a.Verdict = Holds
	if a.Succeeded > 0 {
		a.Verdict = Broken
	}
	a.Detail = fmt.Sprintf("a search that is independent of the leak check: whole words of names, codes with any "+
		"separators, and patterns; %d findings were kept by decision, %d words may be ordinary ones", kept, doubtful)
	if e.in.Roster == nil {
		a.Detail += "; without a roster, patterns only"
	}
	return a
}
