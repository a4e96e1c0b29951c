package intake

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	"outbreath/pack"
	"outbreath/pack/durable"
	"outbreath/pack/register"
)

// A Case says what the register's answer means for a shipment. Its values are stable.
type Case string

// Cases in which nothing is wrong with the shipment's number or tubes.
const (
	First           Case = "first"            // nothing came under the number before
	Again           Case = "again"            // the same shipment came before, to this station
	AgainSettled    Case = "again-settled"    // likewise, and its discrepancies were settled
	RejectedAlone   Case = "rejected-alone"   // it is rejected, and nothing good came under the number yet
	RejectedCopy    Case = "rejected-copy"    // it is rejected, and a good copy came before
	RejectedSettled Case = "rejected-settled" // it is rejected, and the number was settled before
)

// Cases that a person must look at.
const (
	Elsewhere   Case = "elsewhere"    // the same shipment came before, to another station
	Late        Case = "late"         // the number was settled as one that would not come, or as rejected
	SharedTubes Case = "shared-tubes" // another shipment has some of the barcodes
)

// Cases in which neither of two shipments may be used.
const (
	OtherContents Case = "other-contents" // other contents came under the number before
	Disputed      Case = "disputed"       // this one came first, and other contents since
)

// An Answer is what the register knows of a shipment, and what that means for it. As an
// error, it states the fact.
type Answer struct {
	register.Answer
	Case     Case
	Shipment string // its number
}

// judge finds the case of what the register answered to a station about a shipment. Of
// several, it takes the one that endangers most: contents before tubes, tubes before
// numbers.
func judge(ans register.Answer, shipment, station string) *Answer {
	rejected, repeat := ans.Kind == register.Rejected, ans.Kind == register.Repeat
	a := &Answer{Answer: ans, Shipment: shipment}
	switch {
	case ans.Kind == register.Conflict:
		a.Case = OtherContents
	case ans.Disputed:
		a.Case = Disputed
	case len(ans.Tubes) > 0:
		a.Case = SharedTubes
	case ans.Settled.Late() && !rejected:
		a.Case = Late
	case repeat && ans.First.Station != station:
		a.Case = Elsewhere
	case repeat && ans.Settled != nil:
		a.Case = AgainSettled
	case repeat:
		a.Case = Again
	case rejected && !ans.First.When.IsZero():
		a.Case = RejectedCopy
	case rejected && ans.Settled != nil:
		a.Case = RejectedSettled
	case rejected:
		a.Case = RejectedAlone
	default:
		a.Case = First
	}
	return a
}

// Decision returns the best decision that a shipment with this answer can have:
// [pack.Rejected], [pack.Discrepancies], or "" for the one that it has.
//
// Two contents under one number reject both, though they are authentic: whoever used
// either could give the samples of one subject to another, and a scheduler that goes on
// after discrepancies must not.
func (a *Answer) Decision() pack.Decision {
	switch a.Case {
	case OtherContents, Disputed:
		return pack.Rejected
	case Elsewhere, Late, SharedTubes:
		return pack.Discrepancies
	}
	return ""
}

func (a *Answer) Error() string {
	first := "first entered " + seen(a.First.When, a.First.Station)
	switch a.Case {
	case OtherContents:
		return fmt.Sprintf("ALARM: other contents came under the number %s before, %s", a.Shipment, first)
	case Disputed:
		return fmt.Sprintf("ALARM: this was %s, but other contents came under the number %s since", first, a.Shipment)
	case SharedTubes:
		var names []string
		for _, t := range a.Tubes {
			names = append(names, fmt.Sprintf("%s (%s of %s)", durable.Quote(t.Barcode), t.Shipment, t.Study))
		}
		return "barcodes that another shipment has too: " + someOf(names)
	case Late:
		return "this number was " + settled(a.Settled)
	case Elsewhere:
		return "a repeat: the same shipment was " + first
	case AgainSettled:
		return "a repeat: the same shipment was " + first + "; it was " + settled(a.Settled)
	case Again:
		return "a repeat: the same shipment was " + first + "; it counts once"
	case RejectedCopy:
		return "entered as a rejected copy; a good one was " + first
	case RejectedSettled:
		return "entered as rejected; this number was " + settled(a.Settled)
	case RejectedAlone:
		return "entered as rejected; a good copy has not arrived yet"
	}
	return "entered: nothing came under this number before"
}

// settled says when a number was settled, and as what.
func settled(s *register.Settlement) string {
	what := map[string]string{
		"missing":       "one that will not come",
		"rejected":      "rejected",
		"discrepancies": "one with discrepancies",
	}[s.State]
	return fmt.Sprintf("settled as %s %s (%s)", what, seen(s.When, s.Station), visible(s.Why))
}

// seen says when and where something was noted.
func seen(when time.Time, station string) string {
	return fmt.Sprintf("on %s UTC at station %s", when.Format(time.DateTime), durable.Quote(station))
}

// visible replaces what steers a terminal, or shows words in another order than they have.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}
