package deid

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/edf"
)

// An Inspection looks once more for identifiers in the payload of a bag, as it is
// written or as it arrived. It knows patterns and disguises, but neither the
// roster nor the plan nor the source. What it reads is independent of the search
// that released the payload: the finished bytes, anew. How it recognises is not:
// the patterns are those of package leak, so that a shape that leak does not know
// is missed both times. Safe for concurrent use.
//
// Values of a form that the tool itself gives (pseudonyms, dates that stand
// alone, names of recordings) and those that a record declares of its things are
// no identifiers here.
type Inspection struct {
	study, site string
	codes       *leak.Declared    // of the two
	roster      *RosterSearch     // nil at the laboratory
	source      map[string]string // as InspectionError's
	until       context.Context   // nil: never

	mu      sync.Mutex
	found   []foundAgain
	beyond  *foundAgain // the first that there was no room for: nothing excuses it
	settled map[SettledPlace]bool
	stays   map[[2]string][]span // texts of recordings by file and class, in order
	removed map[[2]string][]span // by file and pointer, in order
}

// A foundAgain waits until it is known whether somebody excuses it.
type foundAgain struct {
	leak.Finding
	mask bool // it has the form of what the treatment writes over a finding
}

// A SettledPlace is a text in which something that was found stays: what a person
// decided to keep, or a date that was moved. A text of a recording has no pointer: it is
// known by its bytes, and nothing else of the recording is excused.
type SettledPlace struct {
	File    string     `json:"file"` // below data/
	Pointer string     `json:"pointer"`
	Class   leak.Class `json:"class"`           // of a date that was moved; "" where something was kept
	Start   int64      `json:"start,omitempty"` // of the text, bytes of the file; recordings only
	End     int64      `json:"end,omitempty"`
}

func (s SettledPlace) compare(t SettledPlace) int {
	return cmp.Or(cmp.Compare(s.File, t.File), cmp.Compare(s.Pointer, t.Pointer), cmp.Compare(s.Start, t.Start),
		cmp.Compare(s.End, t.End), cmp.Compare(s.Class, t.Class))
}

// A RemovedPlace is a stretch that the treatment wrote over something that was
// found: X for X in a recording, a word in brackets in a record. Behind a title it
// would be taken for a name. It excuses no other bytes than its own, and these only
// where they have that form; what a person typed in the same form is searched.
type RemovedPlace struct {
	File    string `json:"file"`    // below data/
	Pointer string `json:"pointer"` // "" in recordings
	Start   int64  `json:"start"`   // bytes of the text at Pointer; of the file, in recordings
	End     int64  `json:"end"`
}

func (r RemovedPlace) compare(s RemovedPlace) int {
	return cmp.Or(cmp.Compare(r.File, s.File), cmp.Compare(r.Pointer, s.Pointer), cmp.Compare(r.Start, s.Start))
}

// maxInspected is the most findings of an inspection that are kept, those included
// that turn out to be settled.
const maxInspected = 10_000

// blind knows no roster.
var blind = sync.OnceValue(func() *leak.Scanner { return leak.New(nil) })

// NewInspection inspects a shipment of a site in a study.
func NewInspection(study, site string) *Inspection {
	return &Inspection{study: study, site: site, codes: leak.Declare(study, site), settled: map[SettledPlace]bool{},
		stays: map[[2]string][]span{}, removed: map[[2]string][]span{}}
}

// Inspection inspects what is released, for one sealing: it knows from the
// beginning what was settled, and compares every byte with the roster too.
func (c *Cleared) Inspection() (*Inspection, error) {
	i := NewInspection(c.study.Study, c.study.Site)
	i.source = c.source
	i.settle(c.ledger)
	var err error
	i.roster, err = c.RosterSearch()
	return i, err
}

// Err returns what speaks against the payload once all files have been seen: a
// *[RosterError], else an *[InspectionError], else nil.
func (i *Inspection) Err() error {
	if err := i.roster.Err(); err != nil {
		return err
	}
	if left := i.Left(); len(left) > 0 {
		return &InspectionError{left, i.source}
	}
	return nil
}

// Until lets the search end with ctx: what comes after is not searched, and whoever
// cancelled must not use the result. It is called before the first file.
func (i *Inspection) Until(ctx context.Context) *Inspection {
	i.until = ctx
	return i
}

// An InspectionError says that a finished bag holds what looks like an
// identifier and that nobody decided to keep. It is never empty.
type InspectionError struct {
	Findings []leak.Finding
	source   map[string]string // payload file to the file that it is made from, where that is known
}

func (e *InspectionError) Error() string {
	f := e.Findings[0]
	what := "a text that looks like an identifier"
	if n := len(e.Findings); n > 1 {
		what = fmt.Sprintf("%d texts that look like identifiers", n)
	}
	return fmt.Sprintf("the finished bag holds %s and that nobody decided to keep, the first in data/%s at %q (%s); "+
		"nothing was sealed", what, f.File, f.Pointer, f.Class.Words().Removed)
}

// Left returns what was found but where treatment.json says that something stays,
// ordered by file; pointers are into the file, offsets in its text. It is for
// when all files have been seen.
func (i *Inspection) Left() []leak.Finding {
	i.mu.Lock()
	defer i.mu.Unlock()
	var left []leak.Finding
	for k := range i.found {
		if f := &i.found[k]; !i.excused(f) {
			left = append(left, f.Finding)
		}
	}
	if i.beyond != nil {
		left = append(left, i.beyond.Finding)
	}
	order := func(a, b leak.Finding) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Pointer, b.Pointer), cmp.Compare(a.Start, b.Start))
	}
	slices.SortStableFunc(left, order)
	return slices.CompactFunc(left, func(a, b leak.Finding) bool {
		return order(a, b) == 0 && a.End == b.End &&
			a.Class == b.Class
	})
}

// excused says whether f is known to stay, or is a mask of ours.
func (i *Inspection) excused(f *foundAgain) bool {
	for _, class := range []leak.Class{"", f.Class} {
		if i.settled[SettledPlace{File: f.File, Pointer: f.Pointer, Class: class}] ||
			within(f, i.stays[[2]string{f.File, string(class)}]) {
			return true
		}
	}
	return f.mask && within(f, i.removed[[2]string{f.File, f.Pointer}])
}

// within reports whether f lies in one of spans, which are in order and do not overlap.
func within(f *foundAgain, spans []span) bool {
	after := sort.Search(len(spans), func(k int) bool { return spans[k].start > int64(f.Start) })
	return after > 0 && int64(f.End) <= spans[after-1].end
}

// ourWords is what the treatment puts into a record for what it takes out.
var ourWords = regexp.MustCompile(`\[removed: [a-z, -]+\]`)

// ownMask says whether text[start:end] has the form of what the treatment writes.
func ownMask(text string, start, end int) bool {
	return strings.Trim(text[start:end], "X") == "" ||
		slices.ContainsFunc(ourWords.FindAllStringIndex(text, -1), func(at []int) bool {
			return at[0] <= start && end <= at[1]
		})
}

// A long text is searched in windows of so many bytes, because the search takes
// more than twice as long for twice the text; no identifier is as long as what two
// windows share.
const (
	maxWindow  = 32 << 10
	sharedText = 1 << 10
)

// text searches one text and says whether anything was found, or nothing more is
// looked for.
func (i *Inspection) text(file, pointer string, base int, text string, declared *leak.Declared) bool {
	if at, _, found := schema.Hidden(text); found {
		i.note(foundAgain{leak.Finding{File: file, Pointer: pointer, Start: base + at, End: base + at + 1,
			Class: "R", Basis: "pattern: character that cannot be seen", Confidence: leak.Sure, Action: "review"},
			false})
		return true
	}
	if len(text) < 4 || own(text) || file == "treatment.json" && pointer == "/program" &&
		ProgramForm.MatchString(text) {
		return false
	}
	found := false
	for {
		if i.over() || i.full() {
			return true
		}
		window := text[:min(len(text), maxWindow)]
		found = i.window(file, pointer, base, window, declared) || found
		if len(window) == len(text) {
			return found
		}
		base, text = base+maxWindow-sharedText, text[maxWindow-sharedText:]
	}
}

// over reports whether the search has been cancelled.
func (i *Inspection) over() bool { return i.until != nil && i.until.Err() != nil }

// full reports whether more was found than is kept, which no decision settles.
func (i *Inspection) full() bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.beyond != nil
}

// window searches a part of a text.
func (i *Inspection) window(file, pointer string, base int, text string, declared *leak.Declared) bool {
	matches := blind().Scan(text, declared)
	if len(matches) == 0 {
		return false
	}
	for _, m := range matches {
		if m.Class == "C" && (file == "treatment.json" || file == "session.schema.json") {
			continue // a plan speaks of ages and dates, of nobody in particular
		}
		i.note(foundAgain{leak.Finding{File: file, Pointer: pointer, Start: base + m.Start, End: base + m.End,
			Class: m.Class, Basis: m.Basis, Confidence: m.Confidence, Action: "review"}, ownMask(text, m.Start, m.End)})
	}
	return true
}

// note keeps f unless it is excused.
func (i *Inspection) note(f foundAgain) {
	i.mu.Lock()
	defer i.mu.Unlock()
	switch {
	case i.excused(&f): // at the site; the laboratory reads treatment.json late
	case len(i.found) < maxInspected:
		i.found = append(i.found, f)
	case i.beyond == nil:
		i.beyond = &f
	}
}

// ownForm is what the tool itself writes, or a record holds in a form that the
// plan fixes: a pseudonym, a recording's name, a date or time alone, a band, the
// name of the schema's dialect.
var ownForm = regexp.MustCompile(`^(` + pseudonymPattern + `|recordings/` + pseudonymPattern + `-[0-9]+\.(csv|edf)|` +
	`[0-9]{4}-[0-9]{2}-[0-9]{2}([Tt][0-9:.]+([Zz]|[+-][0-9]{2}:[0-9]{2}))?|[0-9]{1,3}-[0-9]{1,3}|90\+|` +
	`https://json-schema\.org/draft/2020-12/schema)$`)

// ownWords is what we write into the two identification fields of an EDF header.
var ownWords = regexp.MustCompile(`^(` + pseudonymPattern + `|Startdate ([0-9]{2}-[A-Z]{3}-[0-9]{4}|X))`)

const pseudonymPattern = `[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z*]`

// own says whether text is of a form of ours. Few texts begin as one does.
func own(text string) bool {
	return len(text) < 80 && strings.IndexByte("0123456789ABCDEFGHJKMNPQRSTVWXYZrh", text[0]) >= 0 &&
		ownForm.MatchString(text)
}

// Small takes a whole payload file that is no recording, by its name below
// data/; it does what File does. What is not of its form is left to those who judge forms.
func (i *Inspection) Small(name string, data []byte) {
	if i.over() {
		return
	}
	i.roster.small(name, data)
	if strings.HasSuffix(name, ".csv") {
		i.table(name, data)
		return
	}
	if strings.HasPrefix(name, "sessions/") {
		if doc, err := schema.ParseJSON(data); err == nil {
			i.Record(name, doc)
		}
		return
	}
	if name == "treatment.json" {
		var l Ledger
		if json.Unmarshal(data, &l) == nil {
			i.settle(&l)
		}
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	if token, err := dec.Token(); err == nil {
		i.value(dec, token, name, "", 0)
	}
}

// value takes the names and texts of the JSON value that begins with token, and
// says whether it could be read. No tree is made of it: the figures of thousands
// of recordings are a long list.
func (i *Inspection) value(dec *json.Decoder, token json.Token, file, pointer string, depth int) bool {
	const deepest = 64 // as schema.ParseJSON
	if depth > deepest || i.over() {
		return false
	}
	known := i.codes
	if text, ok := token.(string); ok {
		i.text(file, pointer, 0, text, known)
		return true
	}
	open, ok := token.(json.Delim)
	if !ok {
		return true
	}
	for k := 0; dec.More(); k++ {
		token, err := dec.Token()
		if err != nil {
			return false
		}
		step := ""
		if name, ok := token.(string); ok && open == '{' {
			if step = "/" + schema.EscapeToken(name); i.text(file, pointer, 0, name, known) {
				step = "/*" // the name must not be told
			}
			if token, err = dec.Token(); err != nil {
				return false
			}
		}
		switch token.(type) {
		case string, json.Delim:
			if open == '[' {
				step = "/" + strconv.Itoa(k)
			}
			if !i.value(dec, token, file, pointer+step, depth+1) {
				return false
			}
		}
	}
	_, err := dec.Token() // what closes it
	return err == nil
}

// Record takes a session record that has been read.
func (i *Inspection) Record(name string, doc *schema.Node) {
	i.node(name, "", doc, leak.Declare(declared(&schema.Study{Study: i.study, Site: i.site}, doc)...))
}

// settle takes over where something stays.
func (i *Inspection) settle(l *Ledger) {
	i.mu.Lock()
	defer i.mu.Unlock()
	clear(i.stays)
	slices.SortFunc(l.Settled, SettledPlace.compare)
	for _, p := range l.Settled {
		if strings.HasPrefix(p.File, "recordings/") {
			at := [2]string{p.File, string(p.Class)}
			i.stays[at] = append(i.stays[at], span{p.Start, p.End})
		} else {
			i.settled[p] = true
		}
	}
	clear(i.removed)
	slices.SortFunc(l.Removed, RemovedPlace.compare)
	for _, r := range l.Removed {
		at := [2]string{r.File, r.Pointer}
		i.removed[at] = append(i.removed[at], span{r.Start, r.End})
	}
}

func (i *Inspection) node(file, pointer string, n *schema.Node, declared *leak.Declared) {
	switch n.Kind {
	case schema.Object:
		for _, m := range n.Members {
			at := pointer + "/" + schema.EscapeToken(m.Name)
			if i.text(file, pointer, 0, m.Name, declared) {
				at = pointer + "/*" // the name must not be told
			}
			i.node(file, at, m.Value, declared)
		}
	case schema.Array:
		for k, item := range n.Items {
			i.node(file, pointer+"/"+strconv.Itoa(k), item, declared)
		}
	case schema.String:
		i.text(file, pointer, 0, n.Text, declared)
	}
}

// table takes a list such as tubes.csv: cells beside the barcode, which comes
// first. No cell of ours holds a line end, and a line that is no row is one text.
func (i *Inspection) table(name string, data []byte) {
	known := i.codes
	for r := 0; len(data) > 0; r++ {
		end := bytes.IndexByte(data, '\n') + 1
		if end == 0 {
			end = len(data)
		}
		line := data[:min(end, maxLine)]
		data = data[len(line):]
		row, err := cells(line)
		if err != nil || len(row) > maxCells {
			i.text(name, "/"+strconv.Itoa(r), 0, string(line), known)
			continue
		}
		list := []string{i.study, i.site, row[0]} // as the record declares them
		if name == "tubes.csv" && len(row) > 2 {
			list = append(list, row[2])
		}
		things := leak.Declare(list...)
		for c, cell := range row[1:] {
			i.text(name, "/"+strconv.Itoa(r)+"/"+strconv.Itoa(c+1), 0, cell, things)
		}
	}
}

// cells reads a row (RFC 4180). Few hold a quotation mark.
func cells(line []byte) ([]string, error) {
	if bytes.IndexByte(line, '"') < 0 {
		return strings.Split(strings.TrimRight(string(line), "\r\n"), ","), nil
	}
	return csv.NewReader(bytes.NewReader(line)).Read()
}

// maxCells is more than any row of ours has.
const maxCells = 32

// File returns where the bytes of a payload file go, in order, to be closed after
// the last. Neither Write nor Close fails.
func (i *Inspection) File(name string) io.WriteCloser {
	switch recording := strings.HasPrefix(name, "recordings/"); {
	case recording && strings.HasSuffix(name, ".csv"):
		return &csvInspection{i: i, name: name, roster: i.roster.lines(name)}
	case recording && strings.HasSuffix(name, ".edf"):
		return &edfInspection{i: i, name: name, roster: i.roster.samples(name)}
	}
	return &smallInspection{i: i, name: name}
}

type smallInspection struct {
	bytes.Buffer
	i    *Inspection
	name string
}

func (s *smallInspection) Close() error {
	s.i.Small(s.name, s.Bytes())
	return nil
}

// A csvInspection searches the header of a CSV recording, and any later line
// that holds a byte which no number is written with. Numbers cost nothing more.
type csvInspection struct {
	i      *Inspection
	name   string
	line   []byte // of a line that is searched
	at     int64  // bytes seen
	headed bool
	roster *rosterLines
	before []byte // what the line began with in the pieces before, numerals all; for roster
}

// numeral marks the bytes of rows of numbers, with E and NaN.
var numeral = func() (t [256]bool) {
	for _, b := range []byte("0123456789+-.,eENa\r\n") {
		t[b] = true
	}
	return t
}()

// numerals returns how many bytes at the beginning of p are numeral.
func numerals(p []byte) int {
	const ones, tops = 0x0101010101010101, 0x8080808080808080
	i := 0
	for {
		for i+8 <= len(p) { // digits, + , - . and line feeds, eight at a time
			x := binary.LittleEndian.Uint64(p[i:])
			in := (x + (0x80-'+')*ones) &^ (x + (0x80-'9'-1)*ones) & (x ^ '/'*ones + 0x7F*ones)
			if (in|^(x^'\n'*ones+0x7F*ones))&^x&tops != tops || x&tops != 0 {
				break
			}
			i += 8
		}
		for end := min(len(p), i+8); i < end; i++ {
			if !numeral[p[i]] {
				return i
			}
		}
		if i == len(p) {
			return i
		}
	}
}

// maxLine is as much of a line as is searched at once, in bytes.
const maxLine = 64 << 10

func (c *csvInspection) Write(p []byte) (int, error) {
	for k := 0; k < len(p); k++ {
		if c.headed && len(c.line) == 0 {
			if k += numerals(p[k:]); k == len(p) {
				break
			}
			c.began(p[:k])
		}
		if p[k] != '\n' && len(c.line) < maxLine {
			c.line = append(c.line, p[k])
			continue
		}
		c.search(c.at + int64(k) - int64(len(c.line)))
		if p[k] != '\n' {
			c.line = append(c.line, p[k])
		}
		c.headed = true
	}
	c.at += int64(len(p))
	own := lineEnd(p)
	if len(own) < len(p) || len(c.line) > 0 {
		c.before = c.before[:0]
	}
	if c.roster != nil && len(c.line) == 0 {
		c.before = append(c.before, own...)
		c.before = c.before[max(0, len(c.before)-maxNumerals):]
	}
	return len(p), nil
}

// began hands the roster's search the numerals before the first byte that is
// none, where p ends.
func (c *csvInspection) began(p []byte) {
	own := lineEnd(p)
	if len(own) < len(p) {
		c.before = c.before[:0]
	}
	at := c.at + int64(len(p)-len(own))
	c.roster.text(at-int64(len(c.before)), c.before)
	c.roster.text(at, own)
}

// maxNumerals is as much of the numerals before as a value can begin with, in bytes.
const maxNumerals = 256

// lineEnd returns what p ends with behind its last line feed, at most maxNumerals.
func lineEnd(p []byte) []byte {
	p = p[max(0, len(p)-maxNumerals):]
	return p[bytes.LastIndexByte(p, '\n')+1:]
}

func (c *csvInspection) Close() error {
	c.search(c.at - int64(len(c.line)))
	c.roster.close()
	return nil
}

// search looks at a line, from the first byte that is no numeral.
func (c *csvInspection) search(at int64) {
	c.roster.text(at, c.line)
	c.i.text(c.name, "", int(at), string(c.line), c.i.codes)
	c.line = c.line[:0]
}

// An edfInspection searches the texts of the header and the annotations.
type edfInspection struct {
	i      *Inspection
	name   string
	head   edf.Head
	h      *edf.Header
	ranges []edf.Range
	record []byte
	size   int
	at     int64 // of record
	done   bool  // nothing more can be read
	roster *rosterSamples
}

// maxEDFRecord is the greatest data record that is read, in bytes.
const maxEDFRecord = 16 << 20

func (e *edfInspection) Write(p []byte) (int, error) {
	n := len(p)
	e.roster.write(p)
	if e.h == nil && !e.done {
		p = e.header(p)
	}
	for len(p) > 0 && !e.done {
		take := min(len(p), e.size-len(e.record))
		e.record = append(e.record, p[:take]...)
		p = p[take:]
		if len(e.record) == e.size {
			e.annotations()
			e.at += int64(e.size)
			e.record = e.record[:0]
		}
	}
	return n, nil
}

// header takes bytes until the header is whole, and returns those that follow.
func (e *edfInspection) header(p []byte) []byte {
	p = e.head.Add(p)
	if !e.head.Whole() {
		return p
	}
	h, err := edf.ReadHeader(bytes.NewReader(e.head.Bytes()))
	if err != nil {
		e.done = true
		return nil
	}
	e.h, e.ranges, e.size, e.at = h, h.AnnotationRanges(), h.RecordSize(), h.HeaderSize()
	e.done = len(e.ranges) == 0 || e.size < 1 || e.size > maxEDFRecord
	known := e.i.codes
	for _, t := range h.Texts() {
		e.i.text(e.name, "", int(t.Offset), t.Value, known)
	}
	e.i.text(e.name, "", 8, ownWords.ReplaceAllString(h.Patient, "X"), known)
	e.i.text(e.name, "", 88, ownWords.ReplaceAllString(h.Recording, "X"), known)
	return p
}

func (e *edfInspection) Close() error {
	e.roster.close()
	return nil
}

func (e *edfInspection) annotations() {
	for _, a := range e.ranges {
		tals, err := edf.ParseTALs(e.record[a.Offset : a.Offset+a.Size])
		if err != nil {
			continue
		}
		for _, t := range tals {
			for _, text := range t.Texts {
				e.i.text(e.name, "", int(e.at)+a.Offset+text.Start, text.Value, e.i.codes)
			}
		}
	}
}
