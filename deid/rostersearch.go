package deid

import (
	"bytes"
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/edf"
)

// A RosterSearch compares every byte of the payload with the roster while it is sealed.
// It looks for the values as they are written in the roster, wherever they occur, the
// samples of an EDF recording included. It parses no format and splits no words: a
// fault in the code that does cannot let a name through. The values to compare are
// chosen with the vocabulary, folding and dates of package leak (see
// [leak.RosterLiterals]).
//
// It skips texts that a person decided to keep, rows of numbers in CSV recordings, and
// record numbers that are JSON numbers. Short names are compared in texts only, because
// samples would equal them by chance. A nil RosterSearch searches nothing. Safe for
// concurrent use.
type RosterSearch struct {
	literals  *leak.Literals
	inSamples func() *leak.Literals // nil without EDF recordings; else made for the first
	source    map[string]string     // payload file to file of the collection
	settled   map[string][]span     // by payload file: where hits are excused

	mu    sync.Mutex
	found []RosterHit
}

// A span is a stretch of a file, in bytes.
type span struct{ start, end int64 }

// A RosterHit is a place of the payload that holds a value of the roster. It does not
// hold the value itself.
type RosterHit struct {
	File       string // below data/
	Source     string // file of the collection; "" for lists made from several
	Start, End int64  // bytes of File
	Column     string // of the roster
}

// A RosterError lists the places where the payload holds values of the roster, at
// least one.
type RosterError struct{ Hits []RosterHit }

func (e *RosterError) Error() string {
	h := e.Hits[0]
	from, more := "", ""
	if h.Source != "" {
		from = " (made from " + strconv.Quote(h.Source) + ")"
	}
	if n := len(e.Hits) - 1; n > 0 {
		more = fmt.Sprintf("; further places: %d", n)
	}
	return fmt.Sprintf("data/%s%s holds at byte %d a value of the column %q of the roster, and the search for "+
		"identifiers missed it%s; nothing was sealed", h.File, from, h.Start, h.Column, more)
}

// Findings returns the hits in the form of the leak check's findings. They have no id:
// no decision can settle them.
func (e *RosterError) Findings() []leak.Finding {
	var list []leak.Finding
	for _, h := range e.Hits {
		list = append(list, leak.Finding{File: "data/" + h.File, Start: int(h.Start), End: int(h.End),
			Class: classOfColumn(h.Column),
			Basis: "roster: " + h.Column + ", byte for byte", Confidence: leak.Sure, Action: "review"})
	}
	return list
}

// classOfColumn returns the class of 45 CFR 164.514(b)(2)(i) of a column's values.
func classOfColumn(column string) leak.Class {
	switch {
	case strings.Contains(column, "name"):
		return "A"
	case column == "street":
		return "B"
	case strings.HasSuffix(column, "phone"):
		return "D"
	case column == "email":
		return "F"
	case column == "mrn":
		return "H"
	}
	return "R"
}

// RosterSearch returns the search for one sealing of c. The error is that of
// [leak.NewLiterals].
func (c *Cleared) RosterSearch() (*RosterSearch, error) {
	known := strings.Join([]string{string(c.plan.Outgoing()), c.study.Study, c.study.Site, ourText}, "\n")
	samples := slices.ContainsFunc(c.files, func(f File) bool { return strings.HasSuffix(f.Name, ".edf") })
	literals, err := leak.NewLiterals(leak.RosterLiterals(c.roster, known, samples))
	if err != nil {
		return nil, err
	}
	r := &RosterSearch{literals: literals, source: c.source, settled: c.settled}
	if samples {
		r.inSamples = sync.OnceValue(literals.Samples)
	}
	return r, nil
}

// ourText holds the words that we write into every shipment: the header rows of lists,
// the words of masks, and those of an EDF header. A roster value made of them is not
// compared.
const ourText = `barcode session position fraction volume_ml storage analyse first usual removed recordings figures file
	Startdate Annotations Signal Pressure Flow Volume Recording Reserved discrepancies missing unexpected
	returned reason`

// Err returns a *[RosterError] when something was found, ordered by file.
func (r *RosterSearch) Err() error {
	if r == nil {
		return nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.found) == 0 {
		return nil
	}
	slices.SortFunc(r.found, func(a, b RosterHit) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Start, b.Start), cmp.Compare(b.End, a.End),
			cmp.Compare(a.Column, b.Column))
	})
	var hits []RosterHit
	for _, h := range r.found { // without a hit that lies within another, such as a family name in a full name
		if n := len(hits); n == 0 || hits[n-1].File != h.File || h.End > hits[n-1].End {
			hits = append(hits, h)
		}
	}
	return &RosterError{hits}
}

// maxRosterHits is how many hits are kept.
const maxRosterHits = 100

// hit keeps a hit unless it lies in a settled place.
func (r *RosterSearch) hit(file string, h leak.Hit) {
	start, end := h.Offset, h.Offset+int64(h.Size)
	if slices.ContainsFunc(r.settled[file], func(s span) bool { return s.start <= start && end <= s.end }) {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.found) < maxRosterHits {
		r.found = append(r.found, RosterHit{file, r.source[file], start, end, h.Column})
	}
}

// small searches a whole file that is not a recording.
func (r *RosterSearch) small(file string, data []byte) {
	if r == nil {
		return
	}
	isJSON := strings.HasSuffix(file, ".json")
	s := r.literals.Stream(func(h leak.Hit, text []byte) {
		switch {
		case inPseudonym(data, int(h.Offset), h.Size),
			isJSON && h.Border == leak.Number && !quoted(data, int(h.Offset)),
			file == "treatment.json" && h.Border == leak.Word: // the plan's own words
			return
		}
		r.hit(file, h)
	})
	s.Write(data)
	s.Close()
}

// quoted reports whether data[at] is inside a JSON string.
func quoted(data []byte, at int) (in bool) {
	for i := 0; i < at; i++ {
		switch {
		case data[i] == '"':
			in = !in
		case data[i] == '\\' && in:
			i++
		}
	}
	return in
}

var anyPseudonym = regexp.MustCompile(pseudonymPattern)

// inPseudonym reports whether data[at:at+size] lies within a text of a pseudonym's
// form, whose letters may spell a name by chance.
func inPseudonym(data []byte, at, size int) bool {
	const most = 32 // more than a pseudonym's length
	if bytes.ContainsAny(data[at:at+size], "abcdefghijklmnopqrstuvwxyz") {
		return false
	}
	from := max(0, at-most)
	for _, p := range anyPseudonym.FindAllIndex(data[from:min(len(data), at+size+most)], -1) {
		if from+p[0] <= at && at+size <= from+p[1] {
			return true
		}
	}
	return false
}

// rosterLines searches the texts of a CSV recording that are not numbers. A nil one
// searches nothing.
type rosterLines struct {
	s  *leak.Stream
	at int64 // offset that s has reached
}

func (r *RosterSearch) lines(file string) *rosterLines {
	if r == nil {
		return nil
	}
	return &rosterLines{s: r.literals.Stream(func(h leak.Hit, _ []byte) { r.hit(file, h) })}
}

// text searches b, which begins at offset at of the file. Bytes skipped since the last
// text separate the two.
func (l *rosterLines) text(at int64, b []byte) {
	if l == nil || len(b) == 0 {
		return
	}
	if at > l.at {
		l.s.Skip(at - l.at)
	}
	l.s.Write(b)
	l.at = at + int64(len(b))
}

func (l *rosterLines) close() {
	if l != nil {
		l.s.Close()
	}
}

// rosterSamples searches an EDF recording: all of it for long literals, and the header
// for short ones as well. A nil one searches nothing.
type rosterSamples struct {
	r    *RosterSearch
	file string
	s    *leak.Stream
	head edf.Head // collects the header, whose length is given in itself
	done bool     // the header was searched
}

func (r *RosterSearch) samples(file string) *rosterSamples {
	if r == nil {
		return nil
	}
	return &rosterSamples{r: r, file: file, s: r.inSamples().Stream(func(h leak.Hit, _ []byte) { r.hit(file, h) })}
}

func (e *rosterSamples) write(p []byte) {
	if e == nil {
		return
	}
	e.s.Write(p)
	if !e.done {
		if e.head.Add(p); e.head.Whole() {
			e.header()
		}
	}
}

// header searches the header for short literals, except within pseudonyms.
func (e *rosterSamples) header() {
	e.done = true
	head := e.head.Bytes()
	s := e.r.literals.Stream(func(h leak.Hit, _ []byte) {
		if h.Border == leak.Word && !inPseudonym(head, int(h.Offset), h.Size) {
			e.r.hit(e.file, h)
		}
	})
	s.Write(head)
	s.Close()
	e.head = edf.Head{}
}

func (e *rosterSamples) close() {
	if e == nil {
		return
	}
	if !e.done {
		e.header()
	}
	e.s.Close()
}

// settle excuses every occurrence in data of the texts that a person decided to keep.
func (c *Cleared) settle(file string, data []byte, kept ...string) {
	for _, text := range kept {
		for at := 0; text != ""; {
			i := bytes.Index(data[at:], []byte(text))
			if i < 0 {
				break
			}
			at += i
			c.settled[file] = append(c.settled[file], span{int64(at), int64(at + len(text))})
			at++
		}
	}
}

// jsonText returns text as a JSON string of a treated record.
func jsonText(text string) string {
	return strings.TrimSpace(string((&schema.Node{Kind: schema.String, Text: text}).Encode()))
}
