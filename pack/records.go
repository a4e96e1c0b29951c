package pack

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"outbreath/deid"
	"outbreath/schema"
)

// tubesHeader is the first row of tubes.csv.
var tubesHeader = []string{"barcode", "session", "position", "fraction", "volume_ml", "storage"}

// records judges the records of a shipment while they pass: each against the
// schema that came with them, and all against the recordings, the list of
// tubes and the label. It keeps names and rows of tubes, no record.
//
// Names come in the order of the archive: discrepancies, handling, recordings, their summary,
// schema, sessions, treatment, tubes.
type records struct {
	ctx       context.Context
	label     *label
	again     *deid.Inspection
	validator *schema.Validator
	work      chan recordJob
	large     sync.Mutex // held while a record of more than maxUsual bytes is checked
	spoilt    bool       // such a record is at fault; under large
	running   sync.WaitGroup
	checked   []*checkedRecord // in the order of the archive, not yet merged
	found     map[string]bool  // recordings, and whether a record names them
	forms     []arrivedForm    // of recordings, until the schema declares the columns
	sessions  int
	lists     int                 // treatment.json and tubes.csv that were there
	tubes     map[string][]string // rows that tubes.csv must have, by barcode
	barcodes  []string            // of tubes.csv
	ledger    []byte              // treatment.json
	handled   map[string]bool     // barcodes of handling.csv, until tubes.csv has them; nil when it is not there
	stated    []deid.Discrepancy  // of discrepancies.csv
	problems  int
	first     string       // the first problem
	worked    atomic.Int64 // on the records, as schema.Validator.Work counts it
}

// A recordJob is one record on its way to a worker, which fills in to.
type recordJob struct {
	name string
	data []byte
	to   *checkedRecord
}

// A checkedRecord is what is kept of a record.
type checkedRecord struct {
	name       string
	problem    string     // "" when the record is as it must be
	recordings []string   // that it names
	tubes      [][]string // rows that tubes.csv must have
}

// newRecords starts workers, which stop ends.
func newRecords(ctx context.Context, l *label) *records {
	r := &records{ctx: ctx, label: l, again: deid.NewInspection(l.Study, l.Site).Until(ctx), work: make(chan recordJob),
		found: make(map[string]bool), tubes: make(map[string][]string)}
	for range min(workers(0), 4) { // each may hold a record of maxRecord bytes
		r.running.Go(func() {
			for j := range r.work {
				r.check(j)
			}
		})
	}
	return r
}

// stop waits for the workers.
func (r *records) stop() {
	if r.work != nil {
		close(r.work)
		r.running.Wait()
		r.work = nil
	}
}

// problem notes one, in words that hold no content of a file.
func (r *records) problem(format string, args ...any) {
	if r.problems++; r.problems == 1 {
		r.first = fmt.Sprintf(format, args...)
	}
}

// maxUsual is more than the bytes of any usual record.
const maxUsual = 1 << 20

// maxRecordsWork is how much work the records of one shipment may make, as
// schema.Validator.Work counts it: a minute of one core, for half a million usual ones.
const maxRecordsWork = 10_000_000_000

// maxProblems is how many faults are counted before a list is not read on.
const maxProblems = 1000

// counts reports whether the label counts one more file of kind k, so that no flood
// of files is unpacked that nobody announced.
func (r *records) counts(k kind) bool {
	switch k {
	case recordingFile:
		return len(r.found) < r.label.Recordings
	case sessionFile:
		return r.sessions < r.label.Sessions
	}
	return true
}

// schema takes the schema that the records must follow.
func (r *records) schema(data []byte) {
	v, err := schema.CompileOutgoing(data)
	if err != nil {
		r.problem("data/%s is not a usable schema", schemaName)
		return
	}
	r.validator = v
	r.proveForms(v.Columns())
}

// summary checks that the summary of the recordings can be read and speaks of
// recordings that are there, each once.
func (r *records) summary(data []byte) {
	n, err := schema.ParseJSON(data)
	if err != nil || n.Member("recordings") == nil || n.Member("recordings").Kind != schema.Array {
		r.problem("data/%s does not have the required form", deid.SummaryName)
		return
	}
	last := ""
	for _, rec := range items(n, "recordings") {
		file := text(rec, "file")
		if _, ok := r.found[file]; !ok || file <= last {
			r.problem("data/%s names a recording that is not in the shipment, or names one twice or out of order",
				deid.SummaryName)
			return
		}
		if id := text(rec, "session"); !strings.HasPrefix(file, "recordings/"+id+"-") {
			r.problem("data/%s gives a recording to another session than its name does", deid.SummaryName)
			return
		}
		last = file
	}
}

// handlingList reads handling.csv, whose barcodes must be those of tubes.csv.
func (r *records) handlingList(data []byte) {
	r.handled = make(map[string]bool)
	if tooLong(data, r.label.Tubes) {
		r.problem("data/%s is not in the form of the list", deid.HandlingName)
		return
	}
	in := csv.NewReader(bytes.NewReader(data))
	in.ReuseRecord = true
	head, err := in.Read()
	if err != nil || !equalRows(head, []string{"barcode", "analyse"}) {
		r.problem("data/%s is not in the form of the list", deid.HandlingName)
		return
	}
	for i := 1; ; i++ {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			r.problem("data/%s: row %d is not in the form of the list", deid.HandlingName, i)
			return
		}
		if r.formula(deid.HandlingName, i, row) {
			return
		}
		if row[1] != deid.AnalyseFirst && row[1] != deid.AnalyseUsual || r.handled[row[0]] {
			r.problem("data/%s: row %d has a word that the list does not know, or a tube that occurs twice",
				deid.HandlingName, i)
			return
		}
		r.handled[strings.Clone(row[0])] = true
	}
}

// treatment checks that treatment.json can be read and speaks of this study and site.
func (r *records) treatment(data []byte) {
	r.lists++
	n, err := schema.ParseJSON(data)
	switch {
	case err != nil:
		r.problem("data/%s is not proper JSON", treatmentName)
	case text(n, "study") != r.label.Study || text(n, "site") != r.label.Site:
		r.problem("data/%s belongs to another study or site than the shipment", treatmentName)
	}
	r.ledger = bytes.Clone(data)
}

// session has one record checked.
func (r *records) session(name string, data []byte) {
	r.sessions++
	if r.validator == nil || r.work == nil {
		r.problem("data/%s is not between the schema and the list of tubes", name)
		return
	}
	to := &checkedRecord{name: name}
	r.checked = append(r.checked, to)
	r.work <- recordJob{name, data, to}
}

// check checks one record on its own.
func (r *records) check(j recordJob) {
	defer func() {
		if recover() != nil { // a library's fault must not look like a good record
			j.to.problem = "cannot be checked"
		}
	}()
	if len(j.data) > maxUsual {
		r.large.Lock() // their trees are many times as large
		defer r.large.Unlock()
		if r.spoilt {
			j.to.problem = "is very large, and was not read because another one is at fault"
			return
		}
		defer func() { r.spoilt = j.to.problem != "" }()
	}
	if r.ctx.Err() != nil {
		j.to.problem = "was not checked"
		return
	}
	n, err := schema.ParseJSON(j.data)
	if err != nil {
		j.to.problem = "is not proper JSON"
		return
	}
	if r.worked.Add(int64(r.validator.Work(n))) > maxRecordsWork {
		j.to.problem = "was not checked, because the schema makes the records before it take too long"
		return
	}
	if p := r.validator.Validate("data/"+j.name, n); len(p) > 0 {
		j.to.problem = broken(p[0])
		return
	}
	id := strings.TrimSuffix(strings.TrimPrefix(j.name, "sessions/"), ".json")
	type named struct{ member, want string }
	for _, f := range []named{{"session_id", id}, {"study", r.label.Study}, {"site", r.label.Site}} {
		if text(n, f.member) != f.want {
			j.to.problem = "has another /" + f.member + " than its name or the shipment"
			return
		}
	}
	r.again.Record(j.name, n)
	for _, rec := range items(n, "recordings") {
		file := text(rec, "file")
		if f := text(rec, "format"); f != "" && !strings.HasSuffix(file, "."+f) {
			j.to.problem = "gives a recording another format than its name does"
			return
		}
		j.to.recordings = append(j.to.recordings, file)
	}
	for _, t := range items(n, "tubes") {
		j.to.tubes = append(j.to.tubes, []string{text(t, "barcode"), id, text(t, "position"), text(n, "fraction"),
			text(t, "volume_ml"), text(t, "storage")})
	}
}

// broken says which rule of the schema p breaks. What a site could do about it is left out.
func broken(p schema.Problem) string {
	what, _ := strings.CutSuffix(p.Message, ": shorten them")
	if p.Pointer == "" {
		return "breaks the schema: " + what
	}
	return fmt.Sprintf("breaks the schema at %q: %s", p.Pointer, what)
}

// merge brings the records together once all have been checked.
func (r *records) merge() {
	r.stop()
	for _, c := range r.checked {
		if c.problem != "" {
			r.problem("data/%s %s", c.name, c.problem)
		}
		for _, file := range c.recordings {
			if named, ok := r.found[file]; !ok || named {
				r.problem("data/%s names a recording that is not in the shipment, or that another entry names too",
					c.name)
				continue
			}
			r.found[file] = true
		}
		for _, row := range c.tubes {
			if _, twice := r.tubes[row[0]]; twice {
				r.problem("data/%s has a tube that occurs twice in the records", c.name)
				continue
			}
			r.tubes[row[0]] = row
		}
	}
	r.checked = nil
}

// tooLong reports whether a list has more than rows rows below its head, or a line
// that is longer than any that we write, which a reader of rows would take whole.
func tooLong(data []byte, rows int) bool {
	const most = 16 << 10
	if bytes.Count(data, []byte{'\n'}) > rows+1 {
		return true
	}
	for len(data) > most {
		end := bytes.LastIndexByte(data[:most], '\n')
		if end < 0 {
			return true
		}
		data = data[end+1:]
	}
	return false
}

// formula notes a cell that a spreadsheet would run.
func (r *records) formula(name string, line int, row []string) bool {
	if !slices.ContainsFunc(row, schema.Formula) {
		return false
	}
	r.problem("data/%s: row %d has a value that a spreadsheet would run as a formula (= + - @, a tab or a carriage "+
		"return at its beginning)", name, line)
	return true
}

// tubeList compares tubes.csv with the records.
func (r *records) tubeList(data []byte) {
	r.lists++
	r.merge()
	if tooLong(data, r.label.Tubes) {
		r.problem("data/%s is not in the form of the list, or not as long as %s says", tubesName, labelName)
		return
	}
	in := csv.NewReader(bytes.NewReader(data))
	in.FieldsPerRecord = len(tubesHeader)
	in.ReuseRecord = true
	for line := 0; r.problems < maxProblems; line++ {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			if line == 0 {
				r.problem("data/%s is empty", tubesName)
			}
			break
		}
		switch {
		case err != nil:
			r.problem("data/%s: row %d is not in the form of the list", tubesName, line)
			return
		case line == 0 && !equalRows(row, tubesHeader):
			r.problem("data/%s does not begin with the columns that it must have", tubesName)
			return
		case line == 0:
			continue
		}
		if r.formula(tubesName, line, row) {
			return
		}
		barcode := strings.Clone(row[0])
		want, ok := r.tubes[barcode]
		if !ok || want == nil {
			r.problem("data/%s: row %d is a tube that no record has, or that occurs twice", tubesName, line)
			continue
		}
		if !equalRows(row, want) {
			r.problem("data/%s: row %d does not agree with its record", tubesName, line)
		}
		r.barcodes = append(r.barcodes, barcode)
		if r.handled != nil && !r.handled[barcode] {
			r.problem("data/%s lacks the tube in row %d of data/%s", deid.HandlingName, line, tubesName)
		}
		delete(r.handled, barcode)
		r.tubes[barcode] = nil // seen
	}
}

// result says what is wrong, "" for nothing, after everything has been seen.
func (r *records) result() string {
	r.merge()
	for name, named := range r.found {
		if !named {
			r.problem("data/%s is a recording that no record names", name)
			break
		}
	}
	if len(r.handled) > 0 {
		r.problem("data/%s has a tube that data/%s lacks", deid.HandlingName, tubesName)
	}
	r.checkStated()
	for _, row := range r.tubes {
		if row != nil {
			r.problem("data/%s lacks a tube that a record has", tubesName)
			break
		}
	}
	l := r.label
	switch {
	case r.validator == nil || r.lists != 2:
		r.problem("data/%s, data/%s or data/%s is missing or cannot be used", schemaName, treatmentName, tubesName)
	case r.sessions != l.Sessions || len(r.found) != l.Recordings || len(r.barcodes) != l.Tubes:
		r.problem("%s counts %s, %s and %s; inside are %d, %d and %d",
			labelName, counted(l.Sessions, "session"), counted(l.Recordings, "recording"), counted(l.Tubes, "tube"),
			r.sessions, len(r.found), len(r.barcodes))
	}
	if r.problems > 1 {
		return fmt.Sprintf("%d faults, the first: %s", r.problems, r.first)
	}
	return r.first
}

func equalRows(a, b []string) bool { return strings.Join(a, "\x00") == strings.Join(b, "\x00") }

// text returns the value of a member that is a string or a number, else "".
func text(n *schema.Node, member string) string {
	if m := n.Member(member); m != nil && (m.Kind == schema.String || m.Kind == schema.Number) {
		return m.Text
	}
	return ""
}

func items(n *schema.Node, member string) []*schema.Node {
	if m := n.Member(member); m != nil {
		return m.Items
	}
	return nil
}
