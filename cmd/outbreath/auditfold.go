package main

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"outbreath/deid"
	"outbreath/deid/audit"
	"outbreath/deid/leak"
	"outbreath/pack/custody"
	"outbreath/pack/site"
)

// Everything here folds what is equal, so that the page remains short however large the
// collection is. --json has all of it unfolded.

// A leakKind is all findings that look alike and were decided on alike.
type leakKind struct {
	leak.Finding // the first
	Count        int
	Where        []string
	Who, Why     string
}

// mostLeaks bounds the kinds of findings on the page.
const mostLeaks = 40

// LeakKinds folds the findings: open ones first, then those kept, then those redacted.
func (d *auditResult) LeakKinds() []leakKind {
	by := map[string]leak.Decision{}
	for _, dec := range d.Decisions {
		by[dec.ID] = dec
	}
	var kinds []leakKind
	at := map[string]int{}
	for _, state := range []string{"", "keep", "redact"} {
		for _, f := range d.Leaks {
			if f.Decision != state {
				continue
			}
			k := leakKind{Finding: f}
			if dec, ok := by[f.ID]; ok && state != "" {
				k.Who, k.Why = dec.Who, dec.Reason
			}
			key := fmt.Sprintf("%q", []string{state, string(f.Class), f.Basis, string(f.Confidence), k.Who, k.Why})
			i, ok := at[key]
			if !ok {
				i = len(kinds)
				at[key] = i
				kinds = append(kinds, k)
			}
			kinds[i].Count++
			kinds[i].Where = append(kinds[i].Where, strings.TrimSpace(f.File+" "+f.Pointer))
		}
	}
	return kinds
}

// MoreLeaks returns how many kinds of findings are not on the page.
func (d *auditResult) MoreLeaks() int { return max(0, len(d.LeakKinds())-mostLeaks) }

// LeakRows returns the kinds of findings that are on the page.
func (d *auditResult) LeakRows() []leakKind {
	all := d.LeakKinds()
	return all[:min(len(all), mostLeaks)]
}

// A mismatchKind is all differences that say the same.
type mismatchKind struct {
	What  string
	Count int
	Where []string
}

// listIndex is a place in a list, in a JSON pointer.
var listIndex = regexp.MustCompile(`/\d+`)

// MismatchKinds folds the differences between what leaves and what was computed again, by
// field and by what they say.
func (d *auditResult) MismatchKinds() []mismatchKind {
	var kinds []mismatchKind
	for _, m := range d.Rederived.Mismatches {
		what := strings.TrimSpace(listIndex.ReplaceAllString(m.Field, "/*") + " " + m.What)
		i := slices.IndexFunc(kinds, func(k mismatchKind) bool { return k.What == what })
		if i < 0 {
			if i = len(kinds); i == mostLeaks {
				kinds = append(kinds, mismatchKind{What: "others; --json lists them"})
			} else if i > mostLeaks {
				i = mostLeaks
			} else {
				kinds = append(kinds, mismatchKind{What: what})
			}
		}
		kinds[i].Count++
		kinds[i].Where = append(kinds[i].Where, m.File)
	}
	return kinds
}

// A fieldRow is a field with an invented example.
type fieldRow struct {
	deid.FieldLedger
	deid.Example
}

// FieldRows returns the fields that have values.
func (d *auditResult) FieldRows() []fieldRow {
	var rows []fieldRow
	for i, f := range d.Fields {
		row := fieldRow{FieldLedger: f}
		if i < len(d.Examples) {
			row.Example = d.Examples[i]
		}
		if f.Values > 0 {
			rows = append(rows, row)
		}
	}
	return rows
}

// EmptyFields returns the fields without a value, by treatment.
func (d *auditResult) EmptyFields() []string {
	by := map[string][]string{}
	for _, f := range d.Fields {
		if f.Values == 0 {
			by[f.Treatment] = append(by[f.Treatment], f.Path)
		}
	}
	var list []string
	for _, t := range sortedKeys(by) {
		list = append(list, t+": "+strings.Join(by[t], ", "))
	}
	return list
}

// A classRow is classes about which the same is said.
type classRow struct {
	Classes, Names   string
	Status, Evidence string
}

// ClassRows folds the classes of the rule that the plan is for.
func (d *auditResult) ClassRows() []classRow {
	var rows []classRow
	for _, c := range d.Classes() {
		i := slices.IndexFunc(rows, func(r classRow) bool { return r.Status == c.Status && r.Evidence == c.Evidence })
		if i < 0 {
			rows = append(rows, classRow{c.Class, c.Name, c.Status, c.Evidence})
			continue
		}
		rows[i].Classes += ", " + c.Class
		rows[i].Names += "; " + c.Name
	}
	return rows
}

// Classes returns the sixteen classes of a limited data set, or else the eighteen.
func (d *auditResult) Classes() []audit.Class {
	if len(d.Limited) > 0 {
		return d.Limited
	}
	return d.SafeHarbor
}

// mostCells is how many small cells the page lists.
const mostCells = 12

// CellRows returns the smallest cells.
func (d *auditResult) CellRows() []audit.Cell {
	return d.Risk.SmallCells[:min(len(d.Risk.SmallCells), mostCells)]
}

// A fileKind is files of one kind that leave.
type fileKind struct {
	Name  string
	Count int
	About string
}

// FileKinds returns what leaves, by kind of file.
func (d *auditResult) FileKinds() []fileKind {
	about := []fileKind{
		{"sessions/*.json", 0, "treated records, each under its session's pseudonym"},
		{"recordings/*.csv", 0, "columns of numbers, under the session's pseudonym"},
		{"recordings/*.edf", 0, "samples, header fields and annotations, under the session's pseudonym"},
		{deid.SummaryName, 0, "figures of the recordings"},
		{"tubes.csv", 0, "each barcode, its session's pseudonym, position, fraction, volume, storage"},
		{deid.HandlingName, 0, "which tubes to analyse first: those kept at ambient temperature, and those whose " +
			"session was more than half of the holding days before the newest; nothing finer about days"},
		{deid.DiscrepanciesName, 0, "tubes that are not in the box, with the reason that was typed"},
		{"session.schema.json", 0, "what the laboratory checks the records against"},
		{"treatment.json", 0, "what was done to each field, and counts"},
	}
	if d.Output == nil {
		return nil
	}
	for _, f := range d.Output.Files {
		name := f.Name
		if dir, file, ok := strings.Cut(name, "/"); ok && name != deid.SummaryName {
			name = dir + "/*" + file[max(0, strings.LastIndexByte(file, '.')):]
		}
		i := slices.IndexFunc(about, func(k fileKind) bool { return k.Name == name })
		if i < 0 {
			i = len(about)
			about = append(about, fileKind{Name: name})
		}
		about[i].Count++
	}
	return slices.DeleteFunc(about, func(k fileKind) bool { return k.Count == 0 })
}

// officerActs are the entries of the log that the page lists one by one, in words.
var officerActs = map[string]string{
	site.Withdrawn: "a subject withdrew consent", site.TracedTo: "a pseudonym was led back to its subject",
	site.Linked:  "the laboratory got a list that joins two generations of pseudonyms",
	site.Rotated: "the pseudonym key was rotated: a new generation",
	site.Split:   "the pseudonym key was split into shares",
}

// A custodyRow is one act, or all entries of one kind.
type custodyRow struct {
	What, Who, Why string
	Count          int
	First, Last    time.Time
}

// mostActs is how many acts the page lists one by one, the latest ones.
const mostActs = 25

// Acts returns the acts about keys and subjects, the latest first.
func (d *auditResult) Acts() []custodyRow {
	var rows []custodyRow
	for _, e := range slices.Backward(d.Custody) {
		if say, ok := officerActs[e.What]; ok && len(rows) < mostActs {
			rows = append(rows, custodyRow{say, e.Who, e.Why, 1, e.When, e.When})
		}
	}
	return rows
}

// CustodyKinds returns all entries of the log by kind, in the order of the first of each.
func (d *auditResult) CustodyKinds() []custodyRow {
	var rows []custodyRow
	people := map[string][]string{}
	for _, e := range d.Custody {
		i := slices.IndexFunc(rows, func(r custodyRow) bool { return r.What == e.What })
		if i < 0 {
			i = len(rows)
			rows = append(rows, custodyRow{What: e.What, First: e.When})
		}
		rows[i].Count++
		rows[i].Last = e.When
		if !slices.Contains(people[e.What], e.Who) {
			people[e.What] = append(people[e.What], e.Who)
		}
	}
	for i := range rows {
		rows[i].Who = folded(people[rows[i].What])
	}
	return rows
}

// Shipments returns the states of the shipments in the log.
func (d *auditResult) Shipments() []string {
	j := custody.Journal{Entries: d.Custody}
	counts := map[string]int{}
	for _, s := range j.Shipments(d.at, math.MaxInt32) {
		counts[string(s.State)]++
	}
	var list []string
	for _, state := range sortedKeys(counts) {
		list = append(list, fmt.Sprintf("%d %s", counts[state], state))
	}
	return list
}

// mostDrawn is how many recordings the page draws.
const mostDrawn = 15

// Drawn returns the recordings that the page draws: the oddest ones, by how far their
// figures are from the median of all, in units of the median distance.
func (d *auditResult) Drawn() []*audit.Trace {
	if d.Output == nil {
		return nil
	}
	all := d.Output.Recordings
	odd := oddness(all)
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(odd[b], odd[a]) })
	var list []*audit.Trace
	for _, i := range order[:min(len(order), mostDrawn)] {
		list = append(list, all[i])
	}
	return list
}

// oddness returns for each recording the greatest distance of one of its figures from the
// median, in median absolute deviations; infinite without figures.
func oddness(all []*audit.Trace) []float64 {
	odd := make([]float64, len(all))
	for _, figure := range []func(*audit.Trace) float64{
		func(t *audit.Trace) float64 { return t.Figures.Seconds },
		func(t *audit.Trace) float64 { return t.Figures.PerMinute },
		func(t *audit.Trace) float64 { return t.Figures.EndTidal },
		func(t *audit.Trace) float64 { return t.Figures.OffShare },
	} {
		var values []float64
		for _, t := range all {
			if t.Figures != nil {
				values = append(values, figure(t))
			}
		}
		middle := median(values)
		var apart []float64
		for _, v := range values {
			apart = append(apart, math.Abs(v-middle))
		}
		spread := max(median(apart), 1e-6)
		for i, t := range all {
			if t.Figures == nil {
				odd[i] = math.Inf(1)
			} else if far := math.Abs(figure(t)-middle) / spread; far > odd[i] {
				odd[i] = far
			}
		}
	}
	return odd
}

// median returns the middle value, the upper one of two; 0 for none.
func median(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	values = slices.Sorted(slices.Values(values))
	return values[len(values)/2]
}

// TextCount returns how many different texts there are to read, apart from the plan's own,
// and in how many values.
func (d *auditResult) TextCount() (n struct{ Texts, Values int }) {
	if d.figures == nil {
		return n
	}
	for _, l := range d.ToRead {
		if !l.Plan {
			n.Texts += len(l.Texts)
			n.Values += l.Values
		}
	}
	return n
}

// Withheld returns how many different texts are not shown.
func (d *auditResult) Withheld() int {
	n := 0
	for _, l := range d.ToRead {
		for _, t := range l.Texts {
			if t.Withheld != "" {
				n++
			}
		}
	}
	return n
}
