package custody

import (
	"slices"
	"time"
)

// What is done to a shipment, as values of [Entry.What].
const (
	Sealing   = "sealing"   // about to get its name
	Sealed    = "sealed"    // whole on the medium
	Abandoned = "abandoned" // came to nothing; the number is not used again
	Receipt   = "receipt"   // the laboratory's signed receipt was checked
	Settled   = "settled"   // what the receipt objected to was settled
	GivenUp   = "given-up"  // the site will never send it; the number is not used again
)

// Facts of a receipt. FactDecision holds the laboratory's decision on the shipment;
// it is absent when the receipt does not prove which shipment it is about. FactReceived
// is when the laboratory made it (RFC 3339). FactRecalled is in an entry that replaces a
// lost one: the time of that one (RFC 3339).
const (
	FactDecision = "decision"
	FactReceived = "received_at"
	FactRecalled = "recalled"
)

// A State is how far a shipment has come.
type State string

const (
	Unfinished    State = "unfinished"   // the computer stopped while it was sealed
	Given         State = "sealed"       // and not yet acknowledged
	Overdue       State = "overdue"      // sealed, and no receipt for too long
	Acknowledged  State = "acknowledged" // everything arrived
	Discrepancies State = "discrepancies"
	Rejected      State = "rejected"
	Dead          State = "abandoned"
)

// A Shipment is what the journal holds of one. Times are zero until the event.
type Shipment struct {
	Shipment string    `json:"shipment"`
	State    State     `json:"state"`
	Sealed   time.Time `json:"sealed,omitzero"`
	Receipt  time.Time `json:"receipt,omitzero"`
	Settled  bool      `json:"settled"`
	GivenUp  bool      `json:"given_up"` // a receipt may come all the same
	Days     int       `json:"days"`     // whole ones since it was sealed, while no receipt is there

	Received time.Time `json:"received,omitzero"` // date of the receipt that counts, by the laboratory's clock
}

// Shipments returns the shipments in the order in which they first appear in the
// journal. One is overdue when, at now, more than days days have passed since it was
// sealed and no receipt has come.
func (j *Journal) Shipments(now time.Time, days int) []Shipment {
	all := []Shipment{}
	for _, e := range j.Entries {
		if e.Shipment == "" {
			continue
		}
		i := slices.IndexFunc(all, func(s Shipment) bool { return s.Shipment == e.Shipment })
		if i < 0 {
			i = len(all)
			all = append(all, Shipment{Shipment: e.Shipment})
		}
		all[i].take(e)
	}
	for i := range all {
		s := &all[i]
		if s.State != Given {
			continue
		}
		if s.Days = int(now.Sub(s.Sealed) / (24 * time.Hour)); s.Days > days {
			s.State = Overdue
		}
	}
	return all
}

// take brings s forward by one entry.
func (s *Shipment) take(e Entry) {
	switch e.What {
	case Sealing:
		if s.State == "" {
			s.State = Unfinished
		}
	case Sealed:
		if s.State != Acknowledged && s.State != Discrepancies {
			s.State, s.Sealed = Given, e.When // also again, after a rejection
			if at, err := time.Parse(time.RFC3339, e.Facts[FactRecalled]); err == nil {
				s.Sealed = at
			}
		}
	case Abandoned:
		if s.State == Unfinished || s.State == "" {
			s.State = Dead
		}
	case GivenUp:
		s.State, s.GivenUp = Dead, true
	case Receipt:
		s.receipt(e)
	case Settled:
		s.Settled = s.State == Discrepancies || s.State == Rejected
	}
}

// receipt takes a receipt over, unless it proves nothing of this shipment or is
// older than one that is here: they may reach the site in any order.
func (s *Shipment) receipt(e Entry) {
	decision := e.Facts[FactDecision]
	state, known := map[string]State{"accepted": Acknowledged, "discrepancies": Discrepancies}[decision]
	if !known {
		state = Rejected
	}
	at, err := time.Parse(time.RFC3339, e.Facts[FactReceived])
	if err != nil {
		at = e.When
	}
	if decision == "" || at.Before(s.Received) {
		return
	}
	s.Received, s.Receipt, s.Settled, s.State = at, e.When, false, state
}

// Open reports whether a person has something to do about s.
func (s *Shipment) Open() bool {
	return s.State == Overdue || s.State == Unfinished || (s.State == Discrepancies || s.State == Rejected) &&
		!s.Settled
}
