package entry

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"outbreath/schema"
)

// A Kind says what is asked.
type Kind uint8

// The kinds of questions, in the order in which they come.
const (
	Ask    Kind = iota // one value
	Scan               // tubes one after the other, until there are no more
	Review             // all that is needed is there: look at it, correct it, write it
)

// A Question is what comes next.
type Question struct {
	Kind Kind
	Item
	Offer     *schema.Node // what an empty line takes; nil: see Now
	OfferFrom string       // "last session", "present"; "" for none
	Now       bool         // an empty line, or n, is the present time
}

// Next says what is to be asked.
func (s *Session) Next() Question {
	for _, i := range s.order() {
		if i.Leaf == nil {
			return Question{Kind: Scan, Item: i}
		}
		if i.Value == nil {
			return s.question(i)
		}
	}
	return Question{Kind: Review}
}

// At returns the question for one value, which may be there already.
func (s *Session) At(pointer string) (q Question, ok bool) {
	for _, i := range s.Items() {
		if i.Pointer == pointer {
			return s.question(i), true
		}
	}
	return q, false
}

func (s *Session) question(i Item) Question {
	q := Question{Item: i, Now: isTime(i.Leaf)}
	switch {
	case i.Value != nil:
		q.Offer, q.OfferFrom = i.Value, "present"
	case i.Pointer == sessionAt:
		q.Offer, q.OfferFrom = s.nextID(), "next number"
	default:
		q.Offer, q.OfferFrom = s.lastValue(i)
	}
	if q.Offer == nil {
		q.OfferFrom = ""
	}
	return q
}

func isTime(l *schema.Leaf) bool { return l.Format == "date-time" }

// Phases of a session as it happens: who, with what, which tubes, when, how it ended.
const (
	whoIs = iota
	whichSession
	aboutSubject
	before
	scanning
	inPlace
	begun
	tubeTimes
	ended
	outcome
	after
	others
)

// order returns the values that are needed and, where tubes are still to be scanned, an
// Item without a Leaf; in the order in which they become known at the sampler.
func (s *Session) order() []Item {
	type placed struct {
		Item
		phase, by int
	}
	var all []placed
	fields := map[string]int{}
	for _, i := range s.Items() {
		if fields[i.Field] == 0 {
			fields[i.Field] = len(fields) + 1
		}
		if !i.Needed {
			continue
		}
		p := placed{Item: i, phase: phaseOf(i)}
		if p.phase == tubeTimes {
			p.by = fields[i.Field] // all tubes are opened before the first is closed
		}
		all = append(all, p)
	}
	if !s.done[tubesAt] && s.outline.Find(barcodeOf) != nil {
		all = append(all, placed{Item: Item{Pointer: tubesAt, List: tubesAt}, phase: scanning})
	}
	slices.SortStableFunc(all, func(a, b placed) int {
		return cmp.Or(cmp.Compare(a.phase, b.phase), cmp.Compare(a.by, b.by))
	})
	out := make([]Item, len(all))
	for i, p := range all {
		out[i] = p.Item
	}
	return out
}

func phaseOf(i Item) int {
	switch {
	case i.Pointer == subjectAt:
		return whoIs
	case i.Pointer == sessionAt:
		return whichSession
	case i.Pointer == startedAt:
		return begun
	case i.Pointer == "/outcome":
		return outcome
	case i.Field == barcodeOf:
		return scanning
	case i.List == tubesAt && isTime(i.Leaf):
		return tubeTimes
	case i.Field == positionOf:
		return inPlace
	case i.List == tubesAt:
		return after
	case i.List != "":
		return others
	case isTime(i.Leaf):
		return ended
	case strings.HasPrefix(i.Pointer, "/subject/"):
		return aboutSubject
	}
	return before
}

// offered are the fields whose value of the last session is offered: what belongs to the
// room, the staff and the protocol. What is measured or read off anew is never offered,
// because a value that an empty line takes is not looked at.
var offered = []string{"/operator", "/fraction", "/sampler/serial", "/sampler/firmware", "/kit/lot",
	positionOf, "/tubes/*/storage", "/tubes/*/sorbent", "/tubes/*/nominal_ml"}

// lastValue returns what the tube before, else the last session, has for a value.
func (s *Session) lastValue(i Item) (*schema.Node, string) {
	field := i.Field
	if !slices.Contains(offered, field) {
		return nil, ""
	}
	var n *schema.Node
	from := "last session"
	if s.last != nil {
		n = s.last.At(i.Pointer)
	}
	if i.List != "" && i.Entry > 0 && field != positionOf {
		if other := s.values[strings.Replace(field, "*", strconv.Itoa(i.Entry-1), 1)]; other != nil {
			n, from = other, "tube before"
		}
	}
	if n == nil || n.Kind == schema.Object || n.Kind == schema.Array || s.refuses(i.Pointer, n) != nil {
		return nil, ""
	}
	if field == positionOf && s.takenPosition(i, n) {
		return nil, ""
	}
	return n, from
}

// LastOffers returns the optional values that have none yet and for which the last
// session's is offered.
func (s *Session) LastOffers() []Question {
	var out []Question
	for _, i := range s.Items() {
		if i.Value == nil && !i.Needed {
			if q := s.question(i); q.Offer != nil {
				out = append(out, q)
			}
		}
	}
	return out
}

// nextID counts the last session's number on, as far as it ends with digits.
func (s *Session) nextID() *schema.Node {
	if s.last == nil || s.last.At(sessionAt) == nil {
		return nil
	}
	id := s.last.At(sessionAt).Text
	stem := strings.TrimRight(id, "0123456789")
	digits := id[len(stem):]
	if digits == "" || len(digits) > 9 {
		return nil
	}
	n, _ := strconv.Atoi(digits)
	for range 1000 {
		n++
		next := strconv.Itoa(n)
		if len(next) < len(digits) {
			next = strings.Repeat("0", len(digits)-len(next)) + next
		}
		if key, err := schema.Canonical(stem + next); err == nil && s.sessions[key] == "" {
			return text(stem + next)
		}
	}
	return nil
}
