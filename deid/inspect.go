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

// An Inspection searches the finished payload of a bag for identifiers once more,
// while the bag is written or after it has arrived. It knows patterns and encodings,
// but neither the roster nor the plan nor the source. Its input is independent of the
// search that released the payload: it reads the finished bytes. Its method is not:
// it uses the patterns of package leak, and misses whatever leak does not know. Safe
// for concurrent use.
//
// It does not report values of a form that the tool itself writes (pseudonyms, texts
// that consist of a date only, names of recordings), nor the codes by which a record
// names its equipment and tubes.
type Inspection struct {
	study, site string
	codes       *leak.Declared    // study and site
	roster      *RosterSearch     // nil at the laboratory
	source      map[string]string // for InspectionError
	until       context.Context   // nil: never cancelled

	mu      sync.Mutex
	found   []foundAgain
	beyond  *foundAgain // the first finding after maxInspected; it is always reported
	settled map[SettledPlace]bool
	stays   map[[2]string][]span // settled texts of recordings by file and class, sorted
	removed map[[2]string][]span // by file and pointer, sorted
}

// A foundAgain is a finding that treatment.json may still excuse; the laboratory reads
// that file after the records.
type foundAgain struct {
	leak.Finding
	mask bool // it has the form of a mask that the treatment writes
}

// A SettledPlace is a text in which a finding stays: a person decided to keep it, or it
// is a date that was moved. A text of a recording has no pointer; Start and End locate
// it, and nothing else in the recording is excused.
type SettledPlace struct {
	File    string     `json:"file"` // below data/
	Pointer string     `json:"pointer"`
	Class   leak.Class `json:"class"`           // of a date that was moved; "" for a kept finding
	Start   int64      `json:"start,omitempty"` // of the text, in bytes of the file; recordings only
	End     int64      `json:"end,omitempty"`
}

func (s SettledPlace) compare(t SettledPlace) int {
	return cmp.Or(cmp.Compare(s.File, t.File), cmp.Compare(s.Pointer, t.Pointer), cmp.Compare(s.Start, t.Start),
		cmp.Compare(s.End, t.End), cmp.Compare(s.Class, t.Class))
}

// A RemovedPlace is a mask: the bytes that the treatment wrote over a finding, one X
// for each byte in a recording, a word in brackets in a record. After a title a mask
// would be taken for a name. A RemovedPlace excuses only its own bytes, and only if
// they have the form of a mask; the same form typed by a person elsewhere is searched.
type RemovedPlace struct {
	File    string `json:"file"`    // below data/
	Pointer string `json:"pointer"` // "" in recordings
	Start   int64  `json:"start"`   // in bytes of the text at Pointer; in recordings, of the file
	End     int64  `json:"end"`
}

func (r RemovedPlace) compare(s RemovedPlace) int {
	return cmp.Or(cmp.Compare(r.File, s.File), cmp.Compare(r.Pointer, s.Pointer), cmp.Compare(r.Start, s.Start))
}

// maxInspected is how many findings an inspection keeps, including those that turn out
// to be settled.
const maxInspected = 10_000

// blind returns the scanner that knows no roster; all inspections share it.
var blind = sync.OnceValue(func() *leak.Scanner { return leak.New(nil) })

// NewInspection returns an inspection without a roster, as the laboratory uses it. The
// codes of study and site are no findings.
func NewInspection(study, site string) *Inspection {
	return &Inspection{study: study, site: site, codes: leak.Declare(study, site), settled: map[SettledPlace]bool{},
		stays: map[[2]string][]span{}, removed: map[[2]string][]span{}}
}

// Inspection returns the inspection for one sealing of c. It knows the settled places
// from the beginning, and compares every byte with the roster as well.
func (c *Cleared) Inspection() (*Inspection, error) {
	i := NewInspection(c.study.Study, c.study.Site)
	i.source = c.source
	i.settle(c.ledger)
	var err error
	i.roster, err = c.RosterSearch()
	return i, err
}

// Err returns the objection to the payload once all files have been seen: a
// *[RosterError], otherwise an *[InspectionError], otherwise nil.
func (i *Inspection) Err() error {
	if err := i.roster.Err(); err != nil {
		return err
	}
	if left := i.Left(); len(left) > 0 {
		return &InspectionError{left, i.source}
	}
	return nil
}

// Until ends the search when ctx is cancelled: later bytes are not searched, and the
// caller must not use the result. Call it before the first file.
func (i *Inspection) Until(ctx context.Context) *Inspection {
	i.until = ctx
	return i
}

// An InspectionError lists texts of a finished bag that look like identifiers and that
// nobody decided to keep, at least one.
type InspectionError struct {
	Findings []leak.Finding
	source   map[string]string // payload file to the file that it is made from, if known
}

func (e *InspectionError) Error() string {
	f := e.Findings[0]
	what := "a text that looks like an identifier, which nobody decided to keep,"
	if n := len(e.Findings); n > 1 {
		what = fmt.Sprintf("%d texts that look like identifiers, which nobody decided to keep, the first", n)
	}
	return fmt.Sprintf("the finished bag holds %s in data/%s at %q (%s); nothing was sealed", what, f.File,
		f.Pointer, f.Class.Words().Removed)
}

// Left returns the findings that treatment.json does not excuse, ordered by file.
// Pointers refer to the file, offsets to the text at the pointer. Call it when all
// files have been seen.
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

// excused reports whether f is in a settled place, or is a mask of ours.
func (i *Inspection) excused(f *foundAgain) bool {
	for _, class := range []leak.Class{"", f.Class} {
		if i.settled[SettledPlace{File: f.File, Pointer: f.Pointer, Class: class}] ||
			within(f, i.stays[[2]string{f.File, string(class)}]) {
			return true
		}
	}
	return f.mask && within(f, i.removed[[2]string{f.File, f.Pointer}])
}

// within reports whether f lies in one of spans, which are sorted and do not overlap.
func within(f *foundAgain, spans []span) bool {
	after := sort.Search(len(spans), func(k int) bool { return spans[k].start > int64(f.Start) })
	return after > 0 && int64(f.End) <= spans[after-1].end
}

// ourWords matches the masks that the treatment writes into records.
var ourWords = regexp.MustCompile(`\[removed: [a-z, -]+\]`)

// ownMask reports whether text[start:end] has the form of a mask.
func ownMask(text string, start, end int) bool {
	return strings.Trim(text[start:end], "X") == "" ||
		slices.ContainsFunc(ourWords.FindAllStringIndex(text, -1), func(at []int) bool {
			return at[0] <= start && end <= at[1]
		})
}

// A long text is searched in windows of maxWindow bytes, because the time of a search
// grows faster than the text. Neighbouring windows share sharedText bytes, more than
// the longest identifier.
const (
	maxWindow  = 32 << 10
	sharedText = 1 << 10
)

// text searches one text. It reports whether anything was found, or the search has
// ended early: either way the text must not be shown.
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

// full reports whether there are more than maxInspected findings. The inspection has
// then failed, and a further search is pointless.
func (i *Inspection) full() bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.beyond != nil
}

// window searches a part of a text and reports whether anything was found.
func (i *Inspection) window(file, pointer string, base int, text string, declared *leak.Declared) bool {
	matches := blind().Scan(text, declared)
	if len(matches) == 0 {
		return false
	}
	for _, m := range matches {
		if m.Class == "C" && (file == "treatment.json" || file == "session.schema.json") {
			continue // a plan mentions ages and dates in general
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
	case i.excused(&f): // at the site; at the laboratory Left decides, after treatment.json was read
	case len(i.found) < maxInspected:
		i.found = append(i.found, f)
	case i.beyond == nil:
		i.beyond = &f
	}
}

// ownForm matches whole texts that the tool itself writes, or whose form the plan
// fixes: a pseudonym, the name of a recording, a date or time, an age band, the URL of
// the schema's dialect.
var ownForm = regexp.MustCompile(`^(` + pseudonymPattern + `|recordings/` + pseudonymPattern + `-[0-9]+\.(csv|edf)|` +
	`[0-9]{4}-[0-9]{2}-[0-9]{2}([Tt][0-9:.]+([Zz]|[+-][0-9]{2}:[0-9]{2})?)?|[0-9]{1,3}-[0-9]{1,3}|90\+|` +
	`https://json-schema\.org/draft/2020-12/schema)$`)

// ownWords matches what the treatment writes into the two identification fields of an
// EDF header.
var ownWords = regexp.MustCompile(`^(` + pseudonymPattern + `|Startdate ([0-9]{2}-[A-Z]{3}-[0-9]{4}|X))`)

const pseudonymPattern = `[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z*]`

// own reports whether ownForm matches text. The first byte decides most cases without
// the regular expression.
func own(text string) bool {
	return len(text) < 80 && strings.IndexByte("0123456789ABCDEFGHJKMNPQRSTVWXYZrh", text[0]) >= 0 &&
		ownForm.MatchString(text)
}

// Small searches a whole payload file that is not a recording, as File does for files
// read in pieces; name is relative to data/. It does not report files that break their
// format: other checks do.
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

// value searches the names and texts of the JSON value that begins with token, and
// reports whether the value could be read. It builds no tree: the list of figures of
// thousands of recordings would need much memory.
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
				step = "/*" // the name must not be shown
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
	_, err := dec.Token() // the closing bracket
	return err == nil
}

// Record searches a parsed session record.
func (i *Inspection) Record(name string, doc *schema.Node) {
	i.node(name, "", doc, leak.Declare(declared(&schema.Study{Study: i.study, Site: i.site}, doc)...))
}

// settle replaces the settled and removed places by those of l.
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

// node searches all names and texts of n, which is at pointer.
func (i *Inspection) node(file, pointer string, n *schema.Node, declared *leak.Declared) {
	switch n.Kind {
	case schema.Object:
		for _, m := range n.Members {
			at := pointer + "/" + schema.EscapeToken(m.Name)
			if i.text(file, pointer, 0, m.Name, declared) {
				at = pointer + "/*" // the name must not be shown
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

// table searches a list such as tubes.csv: all cells but the first, which is the
// barcode. None of our cells holds a line end; a line that is not a row is searched as
// one text.
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
		list := []string{i.study, i.site, row[0]} // the same as declaredAt
		if name == "tubes.csv" && len(row) > 2 {
			list = append(list, row[2])
		}
		things := leak.Declare(list...)
		for c, cell := range row[1:] {
			i.text(name, "/"+strconv.Itoa(r)+"/"+strconv.Itoa(c+1), 0, cell, things)
		}
	}
}

// cells splits a row (RFC 4180). Most rows hold no quotation mark and need no parser.
func cells(line []byte) ([]string, error) {
	if bytes.IndexByte(line, '"') < 0 {
		return strings.Split(strings.TrimRight(string(line), "\r\n"), ","), nil
	}
	return csv.NewReader(bytes.NewReader(line)).Read()
}

// maxCells is more cells than any row of ours has.
const maxCells = 32

// File returns a writer for the bytes of the payload file name (relative to data/).
// Close it after the last byte. Neither Write nor Close fails.
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

// A csvInspection searches the header row of a CSV recording, and every later line
// from its first byte that cannot be part of a number. Rows of numbers are skipped.
type csvInspection struct {
	i      *Inspection
	name   string
	line   []byte // the part read so far of a line that is searched
	at     int64  // offset of the next piece
	headed bool   // the header row has passed
	roster *rosterLines
	before []byte // numerals with which the line began in earlier pieces; for roster
}

// numeral marks the bytes that rows of numbers consist of, including E and NaN.
var numeral = func() (t [256]bool) {
	for _, b := range []byte("0123456789+-.,eENa\r\n") {
		t[b] = true
	}
	return t
}()

// numerals returns how many bytes at the beginning of p are numeral. It compares eight
// bytes at a time, because almost all bytes of a shipment pass through here.
func numerals(p []byte) int {
	const ones, tops = 0x0101010101010101, 0x8080808080808080
	i := 0
	for {
		for i+8 <= len(p) { // high bit of each byte of "in": digits and + , - . but not the slash
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

// maxLine is the length, in bytes, above which a line is searched in pieces.
const maxLine = 64 << 10

// Write searches the lines that end in p, and remembers what a later piece may continue.
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

// began passes to the roster search the numerals of the line before its first other
// byte. p holds the numerals of this piece up to that byte. A value of the roster, such
// as an address, may begin with digits.
func (c *csvInspection) began(p []byte) {
	own := lineEnd(p)
	if len(own) < len(p) {
		c.before = c.before[:0]
	}
	at := c.at + int64(len(p)-len(own))
	c.roster.text(at-int64(len(c.before)), c.before)
	c.roster.text(at, own)
}

// maxNumerals is how many bytes of numerals a value of the roster can begin with.
const maxNumerals = 256

// lineEnd returns the bytes of p after its last line feed, at most maxNumerals.
func lineEnd(p []byte) []byte {
	p = p[max(0, len(p)-maxNumerals):]
	return p[bytes.LastIndexByte(p, '\n')+1:]
}

func (c *csvInspection) Close() error {
	c.search(c.at - int64(len(c.line)))
	c.roster.close()
	return nil
}

// search searches c.line, which begins at offset at, and empties it.
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
	size   int   // of a data record, in bytes
	at     int64 // offset of record
	done   bool  // there are no more texts, or the file is not EDF
	roster *rosterSamples
}

// maxEDFRecord is the size of the largest data record that is read, in bytes.
const maxEDFRecord = 16 << 20

// Write collects data records, because an annotation may be divided between two pieces.
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

// header takes bytes until the header is complete, searches its texts, and returns the
// bytes of p after it.
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

// annotations searches the annotations of the data record. Whether they are valid is
// checked elsewhere.
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
