package rederive

import (
	"slices"
	"strconv"
	"strings"
)

// Result compares what needs all files, and sums up. Call it once, after the last file.
func (c *Comparison) Result() *Result {
	if !c.finished {
		c.finished = true
		c.complete()
		tubes := c.tubes()
		c.tables(tubes)
		c.outgoing()
		c.summary()
		c.treatment(tubes)
		c.tags()
		c.onePerson()
	}
	r := c.findings.result()
	for _, s := range c.sessions {
		if s.seen {
			r.Sessions++
		}
	}
	r.Subjects = len(c.seenAs)
	if c.known {
		r.Generation = c.keys.label()
	}
	c.spread(r)
	c.keyTests(r)
	return r
}

// complete reports what the source gives and the bag lacks.
func (c *Comparison) complete() {
	for _, s := range c.sessions {
		if s.leftOut {
			continue
		}
		name := c.keys.pseudonym("session", s.id)
		if !s.seen {
			c.mismatch("data/sessions/"+name+".json", "", "is missing")
		}
		for _, r := range s.recordings {
			if !r.seen {
				c.mismatch("data/"+r.leaves(name), "", "is missing")
			}
		}
	}
	if len(c.sessions) == 0 {
		c.mismatch("data/sessions", "", "the collection has no record that could be compared")
	}
}

// onePerson reports subjects who leave under several pseudonyms or with several shifts.
func (c *Comparison) onePerson() {
	for who, names := range c.seenAs {
		if len(names) > 1 {
			c.mismatch("data/sessions", "/subject/subject_id", "one subject has "+strconv.Itoa(len(names))+
				" pseudonyms")
		}
		if n := len(c.moved[who]); n > 1 {
			c.mismatch("data/sessions", "/started_at", "one subject has "+strconv.Itoa(n)+" shifts")
		}
	}
}

// figureNames are the members of recordings/summary.json that hold numbers or true and
// false, measured on the curve.
var figureNames = []string{"seconds", "samples", "dropped", "breaths", "per_minute", "end_tidal_kpa",
	"mask_off_share", "longest_gap_s", "flat"}

// summary looks at the figures of the recordings: that they are figures, and of
// recordings of the bag. How they are measured is not computed here.
func (c *Comparison) summary() {
	const path = "data/recordings/summary.json"
	data, there := c.read(Summary, path)
	if there == nil {
		return
	}
	if string(there.write()) != string(data) {
		c.unlike(Summary, path, "", "is not a JSON text as the tool writes it", 1, int64(len(data)))
		return
	}
	made := &node{kind: object}
	made.put("format", str("outbreath-recordings-1"))
	made.put("note", str("Figures for judging the sample; not a medical reading."))
	list := &node{kind: array}
	made.put("recordings", list)
	var figures int64
	if rows := there.member("recordings"); rows != nil && rows.kind == array {
		last := ""
		for _, row := range rows.items {
			n, numbers := c.figuresOf(row, &last)
			list.items = append(list.items, n)
			figures += numbers
		}
	} else {
		list.kind = null
		list.text = "null"
	}
	before := c.sort(Summary).Values
	c.trees(Summary, path, made, there, data)
	t := c.sort(Summary)
	if figures = min(figures, t.Values.Rederived-before.Rederived); figures > 0 {
		t.Values.Rederived -= figures
		t.Values.NotTested += figures
		t.Bytes.NotTested, t.Bytes.Rederived = t.Bytes.NotTested+t.Bytes.Rederived, 0
		c.cannot("figures in recordings/summary.json",
			"how breaths are counted and measured is not computed again here; only their form was compared", figures)
	}
}

// figuresOf returns the row that may stand in the summary for row, and how many numbers
// were taken from it as they are.
func (c *Comparison) figuresOf(row *node, last *string) (made *node, figures int64) {
	made = &node{kind: object}
	name := strings.TrimPrefix(row.member("file").str(), "recordings/")
	s, r := c.ofRecording(name)
	if s == nil || r == nil || !r.seen || "recordings/"+name <= *last {
		made.put("file", str("a recording of the bag, each once, in their order"))
		return made, 0
	}
	*last = "recordings/" + name
	made.put("file", str(*last))
	made.put("session", str(name[:21]))
	for i, member := range row.names {
		if v := row.items[i]; slices.Contains(figureNames, member) && (v.kind == number && len(v.text) <= 12 ||
			v.kind == truth || v.kind == null) {
			made.put(member, v)
			figures++
		}
	}
	return made, figures
}

// read returns the text and the tree of a JSON file of the bag. It returns no tree, after a mismatch
// was noted, if the file is missing or holds anything but one object.
func (c *Comparison) read(sort, path string) (data []byte, tree *node) {
	data, ok := c.small[path]
	if !ok {
		c.mismatch(path, "", "is missing")
		return nil, nil
	}
	tree, err := parse(data)
	if err != nil || tree.kind != object {
		c.unlike(sort, path, "", "is not a JSON text that can be read here", 1, int64(len(data)))
		return nil, nil
	}
	return data, tree
}
