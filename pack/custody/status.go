package custody

import (
	"slices"
	"time"
)

// What is done to a shipment, as [Entry.What] says it.
const (
	Sealing   = "sealing"   // about to get its name
	Sealed    = "sealed"    // whole on the medium
	Abandoned = "abandoned" // came to nothing; the number is not used again
	Receipt   = "receipt"   // the laboratory's signed receipt was checked
	Settled   = "settled"   // what the receipt objected to was settled
	GivenUp   = "given-up"  // the site will never send it; the number is not used again
)

// FactDecision is the fact of a receipt that holds the laboratory's decision.
const FactDecision = "decision"

// A State is where a shipment stands.
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

// A Shipment is what the journal says of one. Times are zero while nothing
// happened.
type Shipment struct {
	Shipment string    `json:"shipment"`
	State    State     `json:"state"`
	Sealed   time.Time `json:"sealed,omitzero"`
	Receipt  time.Time `json:"receipt,omitzero"`
	Settled  bool      `json:"settled"`
	Days     int       `json:"days"` // whole ones since it was sealed, while no receipt is there
}

// Shipments returns the shipments in the order in which they first stand in the
// journal. One is overdue when more than days days went by at now since it was
// sealed, and no receipt came.
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
		}
	case Abandoned:
		if s.State == Unfinished || s.State == "" {
			s.State = Dead
		}
	case GivenUp:
		s.State = Dead
	case Receipt:
		s.Receipt, s.Settled = e.When, false
		switch e.Facts[FactDecision] {
		case "accepted":
			s.State = Acknowledged
		case "discrepancies":
			s.State = Discrepancies
		default:
			s.State = Rejected
		}
	case Settled:
		s.Settled = s.State == Discrepancies || s.State == Rejected
	}
}

// Open says that a person has something to do about s.
func (s *Shipment) Open() bool {
	return s.State == Overdue || s.State == Unfinished || (s.State == Discrepancies || s.State == Rejected) && !s.Settled
}
