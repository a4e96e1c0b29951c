package deid

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"outbreath/deid/leak"
	"outbreath/keys"
	"outbreath/schema"
)

// A Draft is a treated collection that has not yet been released. Its methods
// are not safe for concurrent use.
type Draft struct{ draft }

type draft struct {
	c        *schema.Collection // without its sessions, whose trees are large
	treater  *treater
	searcher *searcher
	keyID    string // names the key in treatment.json
	program  string // names the program there
	sessions []*treated
	study    []place       // texts of study.json that hold a match
	searched int           // texts
	stated   []Discrepancy // between box and records, set by [Draft.State]
	traces   *traces       // texts of the EDF recordings; nil until they have been read
}

// A treated session is kept as bytes: a tree is much larger.
type treated struct {
	name       string // the session's pseudonym
	subject    string // the subject's
	file       string // where it came from
	json       []byte
	source     [sha256.Size]byte // of the site's own record, without the blanks between its tokens
	ended      time.Time
	declared   *leak.Declared
	places     []place // those of the searched places that hold a match
	searched   int     // places
	tubes      []ClearedTube
	recordings []recording
	absent     []schema.Problem // recordings that the folder does not hold
}

// MadeBy sets the program that treats the records, or that treated them first, in the
// form of [ProgramForm]. It is part of treatment.json, and therefore of the bag's
// digest. Call it before [Release]: an earlier Cleared does not change. The form is
// not checked here; a text of another form is searched for identifiers like any other.
func (d *Draft) MadeBy(program string) { d.program = program }

// ProgramForm matches the name of a program: "outbreath", version, commit, Go version.
var ProgramForm = regexp.MustCompile(`^outbreath [0-9A-Za-z.+-]{1,64}( [0-9a-f]{7}\+?)? [0-9A-Za-z.+-]{1,32}$`)

// Treat applies the plan to every record of c. The error is a
// *[schema.QueriesError] when a value cannot be treated (for example a collision
// of pseudonyms, or an identifier without a letter or digit).
//
// A collection with errors is treated as well, because a search of it is useful;
// Release refuses it with those Problems. Subjects who have withdrawn are treated
// too: call [LeaveOut] first.
//
// key may be nil: findings then have no id, and the draft cannot be released.
// Recordings are read through c.Root, which must stay open until the result of
// Release has been sealed.
func Treat(c *schema.Collection, key *keys.PseudonymKey) (*Draft, error) {
	around := *c
	around.Sessions = nil
	d := &Draft{draft{c: &around, searcher: &searcher{scan: leak.New(c.Roster)}}}
	if key != nil {
		d.searcher.keyed = true
		d.searcher.key = key.Derive(keys.Finding, c.Study.Study)
		d.keyID = KeyID(key, c.Study.Study)
	} else {
		key = keys.NewPseudonymKey([32]byte{}) // any will do for what cannot leave
	}
	var err error
	if d.treater, err = newTreater(c.Plan, c.Roster, NewPseudonymiser(key, c.Study.Study)); err != nil {
		return nil, err
	}
	d.treater.firstOf(c.Sessions)
	d.sessions = make([]*treated, len(c.Sessions))
	faults := make([][]schema.Problem, len(c.Sessions))
	parallel(len(c.Sessions), func(i int) {
		d.sessions[i], faults[i] = d.treat(c.Sessions[i])
	})
	problems := slices.Concat(faults...)
	if problems = append(problems, d.twice()...); len(problems) > 0 {
		return nil, &schema.QueriesError{Problems: problems}
	}
	d.searchStudy()
	for _, s := range d.sessions {
		d.searched += s.searched
	}
	return d, nil
}

// treat treats one session, searches it, and returns the record's faults, if any.
func (d *draft) treat(s *schema.Session) (*treated, []schema.Problem) {
	v, err := d.treater.visit(s)
	if err != nil {
		return nil, v.faults
	}
	out := d.treater.record(v)
	if len(v.faults) > 0 {
		return nil, v.faults
	}
	t := &treated{name: v.name, subject: v.subject, file: s.File, source: sha256.Sum256(s.Doc.Encode()), ended: s.Ended,
		json: bytes.Clone(out.Encode()), declared: leak.Declare(declared(d.c.Study, out)...)}
	v.places = append(v.places, place{file: s.File, text: s.File, manner: name})
	for i, r := range s.Recordings {
		v.places = append(v.places, place{file: r.File, text: r.File, manner: name})
		rec := d.recording(v, i)
		rec.gasKPa = gasOf(out, r.Pointer)
		t.recordings = append(t.recordings, rec)
	}
	t.tubes = tubesOf(v.name, out)
	for i := range v.places {
		v.places[i].declared = d.declaredAt(v.places[i].pointer, t)
	}
	t.places = d.suspects(v.places)
	t.searched = len(v.places)
	t.absent = v.absent
	return t, nil
}

// suspects returns the places that hold a match.
func (d *draft) suspects(all []place) []place {
	var held []place
	for _, p := range all {
		if len(d.searcher.matches(&p, p.text)) > 0 {
			held = append(held, p)
		}
	}
	return held
}

// searchStudy searches the fields of study.json, which are printed on the outside of
// the shipment.
func (d *draft) searchStudy() {
	s := d.c.Study
	all := []place{
		{file: "study.json", pointer: "/contact", text: s.Contact},
		{file: "study.json", pointer: "/site", text: s.Site},
		{file: "study.json", pointer: "/study", text: s.Study},
	}
	for i := range all {
		all[i].declared = leak.Declare(s.Study, s.Site)
	}
	d.study = d.suspects(all)
	d.searched += len(all)
}

// declaredAt returns the declared codes that may occur in a text of a record. A value
// that is also in tubes.csv is later searched there with only the codes of its own row
// declared; it must not be excused by more here.
func (d *draft) declaredAt(pointer string, t *treated) *leak.Declared {
	s := d.c.Study
	if pointer == "/fraction" {
		return leak.Declare(s.Study, s.Site)
	}
	if rest, ok := strings.CutPrefix(pointer, "/tubes/"); ok {
		digits, _, _ := strings.Cut(rest, "/")
		if i, err := strconv.Atoi(digits); err == nil && i < len(t.tubes) {
			return leak.Declare(s.Study, s.Site, t.tubes[i].Barcode, t.tubes[i].Position)
		}
	}
	return t.declared
}

// declared returns the values by which a record names its equipment and tubes: they
// have the form of identifiers, but identify no person.
func declared(study *schema.Study, record *schema.Node) []string {
	list := []string{study.Study, study.Site}
	add := func(n *schema.Node) {
		if n != nil && (n.Kind == schema.String || n.Kind == schema.Number) && n.Text != "" {
			list = append(list, n.Text)
		}
	}
	for _, pointer := range []string{"/kit/lot", "/kit/unit", "/sampler/serial", "/sampler/firmware"} {
		add(record.At(pointer))
	}
	if tubes := record.Member("tubes"); tubes != nil {
		for _, t := range tubes.Items {
			add(t.Member("barcode"))
			add(t.Member("position"))
		}
	}
	return list
}

// tubesOf returns the tubes of a treated record. It must not read the source record:
// tubes.csv would then hold what the plan changes or drops.
func tubesOf(session string, record *schema.Node) []ClearedTube {
	value := func(n *schema.Node, name string) string {
		if m := n.Member(name); m != nil && (m.Kind == schema.String || m.Kind == schema.Number) {
			return m.Text
		}
		return ""
	}
	var list []ClearedTube
	if tubes := record.Member("tubes"); tubes != nil {
		for _, t := range tubes.Items {
			list = append(list, ClearedTube{
				Barcode: value(t, "barcode"), Session: session, Position: value(t, "position"),
				Fraction: value(record, "fraction"), VolumeML: value(t, "volume_ml"), Storage: value(t, "storage"),
			})
		}
	}
	return list
}

// twice finds sessions that share a pseudonym: their identifiers differ only in
// spelling, and one file would overwrite the other.
func (d *draft) twice() []schema.Problem {
	first := map[string]string{}
	var problems []schema.Problem
	for _, s := range d.sessions {
		if s == nil {
			continue
		}
		if other, ok := first[s.name]; ok {
			problems = append(problems, schema.Problem{
				File: s.file, Pointer: "/session_id", Rule: "session.twice", Severity: schema.Error,
				Message: "this session has the same identifier as " + strconv.Quote(other) +
					" apart from upper case, blanks and hyphens; correct the wrong one, or remove one of the two " +
					"records",
			})
		}
		first[s.name] = s.file
	}
	return problems
}

// Findings searches every text, kept field, file name and EDF text of the draft,
// marks the findings that dec settles, and returns all of them, ordered by file,
// pointer and offset. CSV recordings hold no text and are not read here. An EDF
// recording that breaks its format has no findings: [Draft.CheckRecordings] lists it,
// and [Release] refuses it.
func (d *Draft) Findings(dec *leak.Decisions) ([]leak.Finding, error) {
	if err := d.readTraces(); err != nil {
		return nil, err
	}
	var all []leak.Finding
	d.each(func(p place) { all = append(all, d.searcher.settle(p, dec).findings...) })
	slices.SortStableFunc(all, func(a, b leak.Finding) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Pointer, b.Pointer), cmp.Compare(a.Start, b.Start))
	})
	// An id has 40 bits: enough to name a finding, too few to rule out a collision. A
	// decision on one finding must not settle another.
	seen := map[string]bool{}
	all = slices.Compact(all) // a recording that two sessions name
	for _, f := range all {
		if seen[f.ID] && f.ID != "" {
			return nil, &schema.QueriesError{Problems: []schema.Problem{{
				File: f.File, Pointer: f.Pointer, Rule: "leak.id", Severity: schema.Error,
				Message: "by chance a finding in this text has the same id as another finding; change any word of " +
					"the text",
			}}}
		}
		seen[f.ID] = true
	}
	return all, nil
}

// each calls f for every place that holds a match.
func (d *draft) each(f func(place)) {
	for _, p := range d.study {
		f(p)
	}
	for _, s := range d.sessions {
		for _, p := range s.places {
			f(p)
		}
	}
	for _, p := range d.traces.places {
		f(p)
	}
}

// CanRedact reports whether a decision to redact has an effect on f. In study.json
// and in a field that is kept unchanged it has none: correct the source instead, or
// keep the value with a reason.
func (d *Draft) CanRedact(f leak.Finding) bool {
	if f.File == "study.json" {
		return false
	}
	if f.Pointer == "" {
		return true // a file name, or a text in a recording
	}
	field, ok := d.c.Plan.Field(planPath(f.Pointer))
	return ok && field.Treatment.Kind == schema.Text
}

var errNoKey = errors.New("no pseudonym key was given, so nothing can be released")

// parallel calls f for 0 to n-1 on all cores. A panic of f is raised again in the
// caller's goroutine, which can recover it.
func parallel(n int, f func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	var failed atomic.Value
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			defer func() {
				if r := recover(); r != nil {
					failed.CompareAndSwap(nil, fmt.Sprint(r))
				}
			}()
			for i := next.Add(1) - 1; i < int64(n); i = next.Add(1) - 1 {
				f(int(i))
			}
		})
	}
	wg.Wait()
	if r := failed.Load(); r != nil {
		panic(r)
	}
}
