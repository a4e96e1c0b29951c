package rederive

import (
	"cmp"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"outbreath/schema"
)

func (c *Comparison) isEnd(f schema.Field) bool { return f.Path == "/ended_at" }

// cautions go with every shipment; the text is part of its format.
var cautions = []string{
	"A clean search means that no listed identifier and no known pattern was found. It does not mean that nobody " +
		"can be recognised.",
	"This file is not a legal determination. The privacy officer, the ethics committee, the protocol, the consent " +
		"and the law decide.",
	"The pseudonyms are keyed hashes of the site's identifiers. Whoever holds the site's key can trace them to " +
		"subjects: these are personal data for that site, and may be for others.",
	"Rare conditions, dates, places and the curves of a recording can single out a person without a name. Do not " +
		"try to recognise anybody.",
	"The ranges that recordings are checked against find technical faults. They say nothing about a subject's health.",
}

var programForm = regexp.MustCompile(`^outbreath [0-9A-Za-z.+-]{1,64}( [0-9a-f]{7}\+?)? [0-9A-Za-z.+-]{1,32}$`)

// treatment compares treatment.json, which is counted anew.
func (c *Comparison) treatment(tubes []tube) {
	const path = "data/treatment.json"
	data, there := c.read(Treatment, path)
	if there == nil {
		return
	}
	made := &node{kind: object}
	made.put("format", str("outbreath-treatment-1"))
	made.put("study", str(c.source.Study))
	made.put("site", str(c.source.Site))
	made.put("plan", str(c.source.Plan))
	program := there.member("program").str()
	if programForm.MatchString(program) || program == "" && c.source.Shipment == "" {
		made.put("program", str(program))
		c.untestable(Treatment, "the name of the program in treatment.json",
			"the source does not say which version made the shipment; it has the form of such a name", 1, 0)
		c.sort(Treatment).Values.Rederived-- // it was not computed
	} else {
		made.put("program", str("outbreath, version and commit"))
	}
	made.put("key_id", str(c.keys.label()))
	made.put("fields", c.fields())
	made.put("texts", c.textCounts())
	made.put("settled", c.settled(tubes))
	made.put("removed", c.removed())
	recordings := &node{kind: object}
	recordings.put("csv", whole(c.formats["csv"]))
	recordings.put("edf", whole(c.formats["edf"]))
	recordings.put("axes_moved", whole(c.moves))
	made.put("recordings", recordings)
	made.put("cautions", c.cautions())
	c.trees(Treatment, path, made, there, data)
	if t := c.sort(Treatment); t.Bytes.Rederived > 0 {
		t.Bytes.Rederived -= int64(len(program))
		t.Bytes.NotTested += int64(len(program))
	}
}

// fields returns the plan with the number of values of each field.
func (c *Comparison) fields() *node {
	list := &node{kind: array}
	for i, f := range c.source.Fields {
		row := &node{kind: object}
		row.put("path", str(f.Path))
		row.put("treatment", str(f.Treatment.String()))
		row.put("risk", str(f.Risk))
		row.put("why", str(f.Why))
		row.put("values", whole(c.counts[i]))
		list.items = append(list.items, row)
	}
	return list
}

func (c *Comparison) textCounts() *node {
	var redacted, certain, kept int
	for _, f := range c.source.Findings {
		switch f.Decision {
		case "redact":
			redacted++
			if f.Automatic {
				certain++
			}
		case "keep":
			kept++
		}
	}
	n := &node{kind: object}
	n.put("searched", whole(c.searched+3)) // three texts of study.json
	n.put("findings", whole(len(c.source.Findings)))
	n.put("redacted", whole(redacted))
	n.put("certain", whole(certain))
	n.put("kept", whole(kept))
	return n
}

// A stay is a text in which a finding stays.
type stay struct {
	place
	class string
}

func (a stay) compare(b stay) int {
	return cmp.Or(cmp.Compare(a.file, b.file), cmp.Compare(a.pointer, b.pointer), cmp.Compare(a.start, b.start),
		cmp.Compare(a.end, b.end), cmp.Compare(a.class, b.class))
}

// settled returns the places where a finding was kept or a date moved.
func (c *Comparison) settled(tubes []tube) *node {
	leaves := map[string]string{}
	for name, s := range c.byName {
		leaves[s.file] = "sessions/" + name + ".json"
		for _, r := range s.recordings {
			leaves[r.file] = r.leaves(name)
		}
	}
	rows := map[[2]string]int{} // the last row of a session and barcode
	for i, t := range tubes {
		rows[[2]string{t.cells[1], t.cells[0]}] = i + 1
	}
	var list []stay
	for _, f := range c.source.Findings {
		at := stay{place: place{file: leaves[f.File], pointer: f.Pointer}}
		if strings.HasPrefix(at.file, "recordings/") {
			i := slices.IndexFunc(c.traces[f.File], func(m mark) bool { return m.start <= f.Start && f.End <= m.end })
			if i < 0 || f.Start < 256 {
				continue // in the name of the file
			}
			at.start, at.end = int64(c.traces[f.File][i].start), int64(c.traces[f.File][i].end)
		}
		switch {
		case at.file == "":
		case f.Decision == "keep":
			list = append(list, at)
			for _, t := range tubes {
				for k, column := range tubeColumns {
					pointer := "/tubes/" + strconv.Itoa(t.index) + "/" + column
					if column == "fraction" {
						pointer = "/" + column
					}
					if t.from == f.File && pointer == f.Pointer {
						row := rows[[2]string{t.cells[1], t.cells[0]}]
						list = append(list, stay{place: place{file: "tubes.csv",
							pointer: "/" + strconv.Itoa(row) + "/" + strconv.Itoa(k)}})
					}
				}
			}
		case f.Moved:
			at.class = f.Class
			list = append(list, at)
		}
	}
	slices.SortFunc(list, stay.compare)
	out := &node{kind: array}
	for _, s := range slices.Compact(list) {
		n := &node{kind: object}
		n.put("file", str(s.file))
		n.put("pointer", str(s.pointer))
		n.put("class", str(s.class))
		if s.start != 0 {
			n.put("start", whole(s.start))
		}
		if s.end != 0 {
			n.put("end", whole(s.end))
		}
		out.items = append(out.items, n)
	}
	return out
}

// removed returns the places of masks and moved dates.
func (c *Comparison) removed() *node {
	slices.SortFunc(c.marks, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.file, b.file), cmp.Compare(a.pointer, b.pointer), cmp.Compare(a.start, b.start),
			cmp.Compare(a.end, b.end))
	})
	out := &node{kind: array}
	for _, p := range c.marks {
		n := &node{kind: object}
		n.put("file", str(p.file))
		n.put("pointer", str(p.pointer))
		n.put("start", whole(p.start))
		n.put("end", whole(p.end))
		out.items = append(out.items, n)
	}
	return out
}

func (c *Comparison) cautions() *node {
	out := &node{kind: array}
	for _, s := range cautions {
		out.items = append(out.items, str(s))
	}
	half := strconv.FormatFloat(float64(c.source.HoldingDays)/2, 'f', -1, 64)
	out.items = append(out.items, str("handling.csv shows which tubes are from sessions that ended more than "+half+
		" days before the newest session in this shipment, or were kept at ambient temperature. It holds no date, but "+
		"together with the sealing date on the label it narrows down when those sessions took place."))
	return out
}
