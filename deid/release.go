package deid

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"io"
	"slices"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// Release searches the draft, applies the decisions, searches the result again, and
// returns what may leave. dec may be nil: nothing has been decided. Release changes
// neither the draft nor its source, and may be called again with more decisions.
//
// The error is a *[FindingsError] if findings are undecided, and a
// *[schema.QueriesError] for all other obstacles, including the errors of the
// collection. Any other error is about a file that cannot be read, or a draft that was
// made without a key.
//
// The bodies of CSV recordings are not read here, except where a time axis is moved: call [Draft.CheckRecordings]
// first, or sealing refuses them.
func Release(d *Draft, dec *leak.Decisions) (*Cleared, error) {
	if !d.searcher.keyed {
		return nil, errNoKey
	}
	findings, err := d.Findings(dec)
	if err != nil {
		return nil, err
	}
	same, err := d.sameCurves()
	if err != nil {
		return nil, err
	}
	if problems := append(d.broken(findings, dec), same...); len(problems) > 0 {
		return nil, &schema.QueriesError{Problems: problems}
	}
	if open := slices.DeleteFunc(slices.Clone(findings),
		func(f leak.Finding) bool { return !f.Open() }); len(open) > 0 {
		return nil, &FindingsError{open}
	}
	c := &Cleared{study: d.c.Study, sessions: len(d.sessions), roster: d.c.Roster, plan: d.c.Plan,
		source: map[string]string{}, settled: map[string][]span{}}
	made := make([][]byte, len(d.sessions))
	kept := make([][]string, len(d.sessions))
	removed := make([][]RemovedPlace, len(d.sessions))
	failed := make([]error, len(d.sessions))
	parallel(len(d.sessions), func(i int) { made[i], kept[i], removed[i], failed[i] = d.final(d.sessions[i], dec) })
	if err := gather(failed); err != nil {
		return nil, err
	}
	for i, s := range d.sessions {
		c.add("sessions/"+s.name+".json", made[i])
		c.source["sessions/"+s.name+".json"] = s.file
		for _, text := range kept[i] {
			c.settle("sessions/"+s.name+".json", made[i], jsonText(text))
		}
		c.tubes = append(c.tubes, s.tubes...)
		c.subjects = append(c.subjects, s.subject)
		for k := range s.recordings {
			masks, err := d.releaseRecording(c, &s.recordings[k], dec)
			if err != nil {
				return nil, err
			}
			removed[i] = append(removed[i], masks...)
		}
	}
	sortTubes(c.tubes)
	slices.Sort(c.subjects)
	c.subjects = slices.Compact(c.subjects)
	table, err := tubesCSV(c.tubes)
	if err != nil {
		return nil, err
	}
	c.add("tubes.csv", table)
	d.markFirst(c.tubes)
	first, err := handlingCSV(c.tubes)
	if err != nil {
		return nil, err
	}
	c.add(HandlingName, first)
	if len(d.stated) > 0 {
		list, err := discrepanciesCSV(d.stated)
		if err != nil {
			return nil, err
		}
		c.add(DiscrepanciesName, list)
	}
	c.files = append(c.files, File{SummaryName, -1, func() (io.ReadCloser, error) { return d.summary(dec) }})
	c.add("session.schema.json", d.c.Plan.Outgoing())
	c.ledger = d.Ledger(findings, dec)
	c.ledger.Removed = append(c.ledger.Removed, slices.Concat(removed...)...)
	slices.SortFunc(c.ledger.Removed, RemovedPlace.compare)
	c.add("treatment.json", c.ledger.Encode())
	slices.SortFunc(c.files, func(a, b File) int { return cmp.Compare(a.Name, b.Name) })
	for _, text := range slices.Concat(kept...) { // a kept text of a record, such as a barcode, is in lists too
		c.settle("tubes.csv", table, text)
		c.settle(HandlingName, first, text)
	}
	return c, nil
}

// releaseRecording adds a recording to c, and returns the places where its treatment
// writes masks.
func (d *Draft) releaseRecording(c *Cleared, r *recording, dec *leak.Decisions) (removed []RemovedPlace, err error) {
	size := r.Size
	if r.Format == "csv" {
		if err := r.findAxes(d.c.Root); err != nil {
			return nil, err
		}
		if r.axes != nil {
			if size, err = r.sizeMoved(d.c.Root); err != nil {
				return nil, err
			}
		}
	}
	c.recordings++
	c.source[r.leaves] = r.File
	kept, masks := d.settledIn(r.File, dec)
	c.settled[r.leaves] = append(kept, masks...)
	for _, m := range masks {
		removed = append(removed, RemovedPlace{r.leaves, "", m.start, m.end})
	}
	c.files = append(c.files, File{r.leaves, size, func() (io.ReadCloser, error) { return d.reader(r, dec) }})
	return removed, nil
}

// settledIn returns the texts of an EDF recording in which a finding was kept, and the
// masks that the treatment writes, as spans of the file.
func (d *Draft) settledIn(file string, dec *leak.Decisions) (kept, masks []span) {
	for _, p := range d.traces.places {
		if p.file != file {
			continue
		}
		done, base := d.searcher.settle(p, dec), int64(p.base)
		if done.keeps() {
			kept = append(kept, span{base, base + int64(len(p.text))})
		}
		for _, m := range done.removed {
			masks = append(masks, span{base + m.start, base + m.end})
		}
	}
	return kept, masks
}

func (c *Cleared) add(name string, data []byte) {
	c.files = append(c.files, File{name, int64(len(data)),
		func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(data)), nil }})
}

// broken returns the obstacles that no decision can settle: errors of the collection,
// recordings that are absent or break their format, and decisions that have no effect.
func (d *Draft) broken(findings []leak.Finding, dec *leak.Decisions) []schema.Problem {
	problems := d.c.Errors()
	explained := len(problems) > 0 // the collection's errors include the reason why a recording is absent
	for _, s := range d.sessions {
		if !explained {
			problems = append(problems, s.absent...)
		}
		for _, r := range s.recordings {
			problems = append(problems, d.traces.problems[r.File]...)
		}
	}
	for _, f := range findings {
		if decision, ok := dec.Of(f.ID); ok && f.Open() && decision.Action == "redact" {
			problems = append(problems, schema.Problem{
				File: f.File, Pointer: f.Pointer, Rule: "leak.redact", Severity: schema.Error,
				Message: "the decision here is redact, but this field leaves unchanged and cannot be redacted; " +
					"correct the source, or decide keep with a reason",
			})
		}
	}
	return problems
}

// final returns the final bytes of a record, which have passed a last search; the texts
// in which a finding was kept; and the masks that the treatment wrote.
func (d *Draft) final(s *treated, dec *leak.Decisions) (data []byte, kept []string, removed []RemovedPlace, err error) {
	settled := map[string]string{} // by pointer
	var changed []place
	for _, p := range s.places {
		if p.manner == name {
			continue
		}
		done := d.searcher.settle(p, dec)
		settled[p.pointer] = done.text
		if done.keeps() {
			kept = append(kept, done.text)
		}
		for _, r := range done.removed {
			removed = append(removed, RemovedPlace{"sessions/" + s.name + ".json", p.pointer, r.start, r.end})
		}
		if done.text != p.text {
			p.text = done.text
			changed = append(changed, p)
		}
	}
	data = s.json
	if len(changed) > 0 {
		doc, err := schema.ParseJSON(data)
		if err != nil {
			return nil, nil, nil, err // we wrote it ourselves
		}
		for _, p := range changed {
			doc.At(p.pointer).Text = p.text
		}
		if problems := d.treater.prove(s.file, doc); len(problems) > 0 {
			return nil, nil, nil, &schema.QueriesError{Problems: problems}
		}
		data = doc.Encode()
	}
	return data, kept, removed, d.last(s, data, settled)
}

// last parses and searches the bytes that leave. Every text with a match must equal a
// settled text.
func (d *Draft) last(s *treated, data []byte, settled map[string]string) error {
	doc, err := schema.ParseJSON(data)
	if err != nil {
		return err
	}
	again := &visit{Session: &schema.Session{File: s.file}, places: make([]place, 0, 24)}
	d.treater.words(again, doc)
	var open []leak.Finding
	for _, p := range again.places {
		if text, ok := settled[p.pointer]; ok && text == p.text {
			continue
		}
		p.declared = d.declaredAt(p.pointer, s)
		open = append(open, d.searcher.settle(p, nil).findings...)
	}
	if len(open) > 0 {
		return &FindingsError{open}
	}
	return nil
}

// words adds to v.places every text of a treated record that a person typed.
func (t *treater) words(v *visit, record *schema.Node) {
	record.Walk(func(at schema.Place, n *schema.Node) bool {
		if n.Kind != schema.Object && n.Kind != schema.Array {
			f, ok := t.plan.Field(at.Path)
			if ok && (f.Treatment.Kind == schema.Keep || f.Treatment.Kind == schema.Text) {
				v.search(n, &f, at.Pointer())
			}
		}
		return true
	})
}

// gather joins errors by type: it returns all problems as one error if there are any,
// otherwise all findings as one, otherwise the first error, otherwise nil.
func gather(failed []error) error {
	var problems []schema.Problem
	var findings []leak.Finding
	var other error
	for _, err := range failed {
		switch e := err.(type) {
		case nil:
		case *schema.QueriesError:
			problems = append(problems, e.Problems...)
		case *FindingsError:
			findings = append(findings, e.Findings...)
		default:
			other = cmp.Or(other, err)
		}
	}
	switch {
	case len(problems) > 0:
		return &schema.QueriesError{Problems: problems}
	case len(findings) > 0:
		return &FindingsError{findings}
	}
	return other
}

// tubeColumns is the header row of tubes.csv.
var tubeColumns = []string{"barcode", "session", "position", "fraction", "volume_ml", "storage"}

// tubesCSV returns tubes.csv (RFC 4180, but lines end with LF). It refuses a cell that
// a spreadsheet would run as a formula.
func tubesCSV(tubes []ClearedTube) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write(tubeColumns)
	for _, t := range tubes {
		row := []string{t.Barcode, t.Session, t.Position, t.Fraction, t.VolumeML, t.Storage}
		for _, cell := range row {
			if schema.Formula(cell) {
				return nil, &schema.QueriesError{Problems: []schema.Problem{{
					File: "tubes.csv", Rule: "tube.formula", Severity: schema.Error,
					Message: "a value of a tube begins with = + - @ or a tab, which a spreadsheet would run as a " +
						"formula; correct barcode, position, volume and storage in the records",
				}}}
			}
		}
		w.Write(row)
	}
	w.Flush()
	return b.Bytes(), w.Error()
}
