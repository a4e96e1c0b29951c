package site

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"outbreath/deid"
	"outbreath/pack/custody"
)

const stateFormat = "outbreath-site-1"

// A State is what a site must not forget about one study, over all its
// collections. It holds pseudonyms, digests and numbers, and no identifier.
type State struct {
	Format    string       `json:"format"`
	Logs      []KnownLog   `json:"logs"`
	Shipments []Shipment   `json:"shipments"` // in the order in which their numbers were first given
	Withdrawn []Withdrawal `json:"withdrawn"`
}

// A KnownLog is a collection's custody log as the last command left it.
type KnownLog struct {
	ID       string    `json:"id"`                 // SHA-256 (hex) of its first line
	Length   int       `json:"length"`             // entries
	Head     string    `json:"head"`               // SHA-256 (hex) of the last line
	Signed   int       `json:"signed"`             // entries that a signature was seen to cover
	Last     time.Time `json:"last"`               // of the last entry
	Sessions []string  `json:"sessions,omitempty"` // pseudonyms of all sessions that the collection held then
	Pending  *Pending  `json:"pending,omitempty"`
	Replaced string    `json:"replaced,omitempty"` // ID of the log that an officer put in its place
}

// A Pending is a line that is about to be appended. It is written before the
// line, so that a run that was killed in between can be distinguished from a forged line.
type Pending struct {
	Line     string    `json:"line"`   // SHA-256 (hex)
	Length   int       `json:"length"` // of the log before it
	Head     string    `json:"head"`   // of the log before it
	When     time.Time `json:"when"`
	Restored bool      `json:"restored,omitempty"` // the line takes the log, as it is, for the present one
	Replaces []string  `json:"replaces,omitempty"` // then: IDs of the logs that it replaces
	Sealing  *Shipment `json:"sealing,omitempty"`  // what the line is about
}

// A Shipment is a number that the site has given, and its contents.
type Shipment struct {
	Number   string             `json:"number"` // "WEIR-0001"
	Log      string             `json:"log"`    // ID of the log that it was first sealed in
	Day      string             `json:"day"`    // YYYY-MM-DD
	Bag      string             `json:"bag"`    // SHA-256 (hex)
	KeyID    string             `json:"key_id"`
	What     string             `json:"what"` // the last of sealing, sealed, abandoned, given-up
	Sessions []Sealed           `json:"sessions,omitempty"`
	Subjects []string           `json:"subjects,omitempty"` // pseudonyms
	Stated   []deid.Discrepancy `json:"stated,omitempty"`   // what the packer said of the box
	Readers  string             `json:"readers,omitempty"`
	Plan     string             `json:"plan,omitempty"`     // [PlanName] of the plan that it was sealed under
	Accepted bool               `json:"accepted,omitempty"` // a receipt of the laboratory says that all of it arrived
	Makings  []Making           `json:"makings,omitempty"`  // each copy; the last may be one that was not finished
}

// A Making is the log's entry about one copy of a shipment, so that the copy is known
// when the log is lost.
type Making struct {
	What  string            `json:"what"` // sealed, or sealing while it is not settled
	When  time.Time         `json:"when"`
	Facts map[string]string `json:"facts,omitempty"`
}

// A Sealed is one session of a shipment.
type Sealed struct {
	Session string   `json:"session"`           // its pseudonym, under the key KeyID
	Subject string   `json:"subject,omitempty"` // the subject's
	Tubes   []string `json:"tubes,omitempty"`   // barcodes, as schema.Barcode has them
	Source  string   `json:"source"`            // HMAC-SHA256 (hex) of record and recordings as the site had them
}

// A Withdrawal is a subject's, under every generation of the key that there was,
// with what the collections that it was recorded for held of the subject.
type Withdrawal struct {
	Pseudonyms []string  `json:"pseudonyms"`
	When       time.Time `json:"when"`
	Sessions   []string  `json:"sessions,omitempty"` // pseudonyms in every generation
	Tubes      []string  `json:"tubes,omitempty"`    // barcodes, as schema.Barcode has them
	Looks      []string  `json:"looks,omitempty"`    // HMAC-SHA256 (hex) of how the subject's id looks
}

// parseState reads what encode has written; nil for no bytes at all.
func parseState(data []byte) (*State, error) {
	if len(data) == 0 {
		return nil, nil
	}
	var s State
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil || s.Format != stateFormat {
		return nil, errors.New("the site's state is not in the form " + stateFormat + "; a newer version of this " +
			"program may have written it")
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("something follows the site's state")
	}
	for _, l := range s.Logs {
		if l.Length < 0 || l.Pending != nil && l.Pending.Length < 0 {
			return nil, errors.New("the site's state holds a log of negative length")
		}
	}
	return &s, nil
}

func (s *State) encode() ([]byte, error) {
	s.Format = stateFormat
	data, err := json.Marshal(s)
	return append(data, '\n'), err
}

// log returns the log of that ID, or nil.
func (s *State) log(id string) *KnownLog {
	if s != nil {
		if i := slices.IndexFunc(s.Logs, func(l KnownLog) bool { return l.ID == id }); i >= 0 {
			return &s.Logs[i]
		}
	}
	return nil
}

// Shipment returns the contents of the number, or nil if it was never given. A
// nil State has given none.
func (s *State) Shipment(number string) *Shipment {
	if s != nil {
		if i := slices.IndexFunc(s.Shipments, func(x Shipment) bool { return x.Number == number }); i >= 0 {
			return &s.Shipments[i]
		}
	}
	return nil
}

// Gone returns the pseudonyms of all who have withdrawn.
func (s *State) Gone() map[string]bool {
	out := map[string]bool{}
	if s != nil {
		for _, w := range s.Withdrawn {
			for _, p := range w.Pseudonyms {
				out[p] = true
			}
		}
	}
	return out
}

// take brings the state forward by one entry of the log id: numbers and
// withdrawals only ever become more. made is what the entry "sealing" is about,
// nil when only the log itself can tell.
func (s *State) take(id string, e custody.Entry, made *Shipment) {
	switch e.What {
	case custody.Sealing, custody.Sealed:
		s.give(id, e, made)
	case custody.Abandoned, custody.GivenUp:
		x := s.Shipment(e.Shipment)
		if x == nil {
			s.Shipments = append(s.Shipments, Shipment{Number: e.Shipment, Log: id, Day: e.When.Format(time.DateOnly)})
			x = &s.Shipments[len(s.Shipments)-1]
		}
		if e.What == custody.GivenUp || x.What != custody.Sealed {
			x.What = e.What
		}
		x.settled()
	case custody.Receipt:
		if x := s.Shipment(e.Shipment); x != nil && accepted(e) {
			x.Accepted = true
		}
	case Withdrawn:
		s.withdraw(e)
	}
}

func (s *State) give(id string, e custody.Entry, made *Shipment) {
	x := s.Shipment(e.Shipment)
	if x == nil {
		s.Shipments = append(s.Shipments, Shipment{Number: e.Shipment, Log: id, Day: e.When.Format(time.DateOnly)})
		x = &s.Shipments[len(s.Shipments)-1]
	}
	if x.Bag == "" {
		x.Bag, x.KeyID, x.Subjects = e.Facts[factBag], e.Facts[factKey], strings.Fields(e.Facts[factSubjects])
	}
	if x.Plan == "" {
		x.Plan = e.Facts[factPlan]
	}
	if made != nil && made.Bag == x.Bag && len(x.Sessions) == 0 {
		x.KeyID, x.Sessions, x.Subjects, x.Stated = made.KeyID, made.Sessions, made.Subjects, made.Stated
	}
	if x.What != custody.Sealed && x.What != custody.GivenUp {
		x.What = e.What
	}
	x.made(e)
}

// made keeps what the entry says of one copy, unless it is known already.
func (x *Shipment) made(e custody.Entry) {
	if e.What == custody.Sealed {
		x.settled()
	}
	if slices.ContainsFunc(x.Makings, func(m Making) bool { return m.isIn(e) }) {
		return
	}
	x.Makings = append(x.Makings, Making{e.What, e.When, ofCopy(e.Facts)})
}

// ofCopy returns the facts of an entry that belong to the copy, not to the entry.
func ofCopy(facts map[string]string) map[string]string {
	facts = maps.Clone(facts)
	delete(facts, custody.FactUnsigned)
	delete(facts, custody.FactRecalled)
	return facts
}

// settled forgets a copy that was about to be made.
func (x *Shipment) settled() {
	x.Makings = slices.DeleteFunc(x.Makings, func(m Making) bool { return m.What == custody.Sealing })
}

// isIn reports whether the entry is about the copy. Two copies may be made in one second:
// their digests differ.
func (m *Making) isIn(e custody.Entry) bool {
	when := e.When.Equal(m.When) || e.Facts[custody.FactRecalled] == m.When.UTC().Format(time.RFC3339)
	return when && e.What == m.What && maps.Equal(m.Facts, ofCopy(e.Facts))
}

// withdraw notes what an entry "withdrawn" says. What is known of the same subject
// becomes more, never less.
func (s *State) withdraw(e custody.Entry) {
	list := func(fact string) []string { return strings.Fields(e.Facts[fact]) }
	names := list(factPseudonyms)
	i := slices.IndexFunc(s.Withdrawn, func(w Withdrawal) bool { return overlap(w.Pseudonyms, names) })
	if i < 0 {
		i = len(s.Withdrawn)
		s.Withdrawn = append(s.Withdrawn, Withdrawal{When: e.When})
	}
	w := &s.Withdrawn[i]
	w.Pseudonyms = union(w.Pseudonyms, names)
	w.Sessions = union(w.Sessions, list(factSessions))
	w.Tubes = union(w.Tubes, list(factBarcodes))
	w.Looks = union(w.Looks, list(factLook))
}

func overlap(a, b []string) bool {
	return slices.ContainsFunc(a, func(x string) bool { return slices.Contains(b, x) })
}

// union appends to all what it lacks of more.
func union(all, more []string) []string {
	for _, m := range more {
		if !slices.Contains(all, m) {
			all = append(all, m)
		}
	}
	return all
}

// settle takes over what a pending line says once it is in the log.
func (s *State) settle(l *KnownLog, j *custody.Journal) {
	p := l.Pending
	l.Pending = nil
	l.Length, l.Head = p.Length+1, p.Line
	e := j.Entries[p.Length]
	l.Last = e.When
	if p.Restored {
		l.Replaced = ""
	}
	s.take(l.ID, e, p.Sealing)
	for _, id := range p.Replaces {
		if old := s.log(id); old != nil && id != l.ID {
			old.Replaced = l.ID
		}
	}
}
