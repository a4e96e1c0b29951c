package site

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// A Wish is the shipment number that a seal is asked for. Without one the next number
// is taken.
type Wish struct {
	Again  string // make another copy of this shipment; as a person typed it
	Number string // take this number; as a person typed it
	Anew   bool   // sessions that left before are sealed once more, under a new number
}

// A Choice is what a [Wish] comes to.
type Choice struct {
	Number string             // "WEIR-0012"; "" for the next one, which [Log.Next] gives
	Copy   *Shipment          // the shipment that another copy is made of; nil for a new one
	Key    *keys.PseudonymKey // of the copy's generation; nil for a new shipment, or if the key is not here
}

// A NumberReason says why a shipment number is refused.
type NumberReason string

// Reasons of a *[NumberError].
const (
	NotANumber         NumberReason = "form"         // Number is "": what was typed is no number of Site
	NumberAcknowledged NumberReason = "acknowledged" // the laboratory has all of it, by its receipt of Day
	NumberGivenUp      NumberReason = "given-up"     // the site will never send it
	NumberNeverSealed  NumberReason = "never-sealed" // another copy of a shipment that there never was
	NumberUsed         NumberReason = "used"         // no new number: it was given on Day
	NumberWithdrawn    NumberReason = "withdrawn"    // a subject in it has withdrawn since
	NumberFar          NumberReason = "far"          // so far beyond Next that it is taken for a slip of the hand
	NumberTaken        NumberReason = "taken"        // another collection was given it meanwhile, on Day

	NumberGivenUpBefore NumberReason = "given-up-before" // it cannot be given up once more
	NumberAnswered      NumberReason = "answered"        // it cannot be given up: the laboratory's receipt is here
	NumberElsewhere     NumberReason = "elsewhere"       // it cannot be given up here: another collection has sealed it
	NumberSettled       NumberReason = "settled"         // no receipt objects to anything that is not settled
)

// A NumberError refuses a shipment number. Nothing was changed.
type NumberError struct {
	Reason            NumberReason
	Site, Number, Day string // Day is YYYY-MM-DD, "" where Reason names none
	Next              string // NumberFar: the site's next number
}

func (e *NumberError) Error() string {
	switch e.Reason {
	case NotANumber:
		return "the shipment number is not this site's code, a hyphen and four digits"
	case NumberAcknowledged:
		return fmt.Sprintf("the laboratory acknowledged %s as complete (receipt of %s)", e.Number, e.Day)
	case NumberGivenUp:
		return e.Number + " was given up; the number is not used again"
	case NumberNeverSealed:
		return e.Number + " was not sealed at this site, so there is nothing to copy"
	case NumberUsed:
		return fmt.Sprintf("%s is not a new number: it was given on %s", e.Number, e.Day)
	case NumberWithdrawn:
		return e.Number + " holds data of a subject who has withdrawn consent since; it must not be copied"
	case NumberGivenUpBefore:
		return e.Number + " was given up before"
	case NumberAnswered:
		return "the laboratory has answered for " + e.Number + ", so it cannot be given up"
	case NumberElsewhere:
		return fmt.Sprintf("%s was sealed from another collection, on %s", e.Number, e.Day)
	case NumberSettled:
		return "there is nothing to settle about " + e.Number
	case NumberFar:
		return e.Number + " is far beyond the numbers that this site has given"
	}
	return fmt.Sprintf("%s is the number of another shipment, of %s, and one number must never have two "+
		"contents", e.Number, e.Day)
}

// A SentReason says what can be done with sessions that have left before.
type SentReason string

// Reasons of a *[SentError].
const (
	SentSame         SentReason = "same"         // another copy of the shipment can be made
	SentWithdrawn    SentReason = "withdrawn"    // no copy: a subject in it has withdrawn since
	SentChanged      SentReason = "changed"      // no copy: the collection holds other sessions now
	SentAcknowledged SentReason = "acknowledged" // no copy: the laboratory has it
)

// A SentError says that sessions of the collection have left in an earlier shipment,
// and nobody has said that they are to leave under a new number.
type SentError struct {
	Reason   SentReason
	Number   string // of the shipment that holds most of them
	Day      string // YYYY-MM-DD, when that number was given
	Sessions int    // of the collection that it holds
	Others   int    // other shipments that hold some too
}

func (e *SentError) Error() string {
	switch e.Reason {
	case SentWithdrawn:
		return e.Holds() + "; a subject in it has withdrawn consent since, so it must not be copied"
	case SentChanged:
		return e.Holds() + ", and is not the same as it is now"
	case SentAcknowledged:
		return e.Holds() + ", and the laboratory has acknowledged it"
	}
	return e.Holds()
}

// Holds says which shipment holds how many sessions, without the reason.
func (e *SentError) Holds() string {
	sessions := fmt.Sprintf("%d sessions", e.Sessions)
	if e.Sessions == 1 {
		sessions = "1 session"
	}
	text := fmt.Sprintf("%s of %s holds %s of this collection already", e.Number, e.Day, sessions)
	switch {
	case e.Others == 1:
		text += "; 1 other shipment holds some too"
	case e.Others > 1:
		text += fmt.Sprintf("; %d other shipments hold some too", e.Others)
	}
	return text
}

var numberForm = regexp.MustCompile(`^[0-9]{1,4}$`)

// ParseNumber returns the shipment number of a site that a person typed as "12",
// "0012" or "WEIR-0012". The error is a *[NumberError]: [NotANumber].
func ParseNumber(site, typed string) (string, error) {
	digits := strings.TrimPrefix(typed, site+"-")
	if !numberForm.MatchString(digits) || strings.Trim(digits, "0") == "" {
		return "", &NumberError{Reason: NotANumber, Site: site}
	}
	return fmt.Sprintf("%s-%04s", site, digits), nil
}

// Choose says which number a seal of c takes. Records of subjects who have withdrawn
// must have been taken out of c, and seals that were interrupted settled. The error is
// a *[NumberError] or a *[SentError].
func (l *Log) Choose(c *schema.Collection, w Wish) (Choice, error) {
	asked := w.Again
	if asked == "" {
		asked = w.Number
	}
	if asked == "" {
		return Choice{}, l.notTwice(c, w.Anew)
	}
	number, err := ParseNumber(c.Study.Site, asked)
	if err != nil {
		return Choice{}, err
	}
	x := l.State.Shipment(number)
	if err := l.open(x, number); err != nil {
		return Choice{}, err
	}
	switch {
	case x == nil && w.Again != "":
		return Choice{}, &NumberError{Reason: NumberNeverSealed, Number: number}
	case x == nil:
		if err := l.near(c.Study.Site, number); err != nil {
			return Choice{}, err
		}
		return Choice{Number: number}, l.notTwice(c, w.Anew)
	case w.Anew && x.What != custody.Abandoned:
		return Choice{}, &NumberError{Reason: NumberUsed, Number: x.Number, Day: x.Day}
	}
	return l.copyOf(x)
}

// open refuses a number that is at its end: acknowledged as complete, or given up. x is
// nil for a number that was never given.
func (l *Log) open(x *Shipment, number string) error {
	for _, e := range l.Entries {
		if e.Shipment == number && accepted(e) {
			return &NumberError{Reason: NumberAcknowledged, Number: number, Day: e.When.Format(time.DateOnly)}
		}
	}
	if x != nil && x.What == custody.GivenUp {
		return &NumberError{Reason: NumberGivenUp, Number: number}
	}
	return nil
}

// near refuses a number far beyond the next one: all between would be lost.
func (l *Log) near(site, number string) error {
	if next, far := l.TooFar(site, number); far {
		return &NumberError{Reason: NumberFar, Site: site, Number: number, Next: next}
	}
	return nil
}

// copyOf chooses another copy of a shipment, with the key that made it.
func (l *Log) copyOf(x *Shipment) (Choice, error) {
	if l.HoldsWithdrawn(x) {
		return Choice{}, &NumberError{Reason: NumberWithdrawn, Number: x.Number}
	}
	choice := Choice{Number: x.Number, Copy: x}
	for i, g := range l.Generations {
		if g.KeyID == x.KeyID {
			choice.Key = l.Keys[i]
		}
	}
	return choice, nil
}

// notTwice keeps sessions that left in an earlier shipment from leaving once more under
// a new number, unless that is what is wanted.
func (l *Log) notTwice(c *schema.Collection, anew bool) error {
	earlier := l.Earlier(c)
	if len(earlier) == 0 || anew {
		return nil
	}
	x := earlier[0]
	e := &SentError{Reason: SentSame, Number: x.Number, Day: x.Day, Sessions: x.Sessions, Others: len(earlier) - 1}
	switch {
	case l.HoldsWithdrawn(x.Shipment):
		e.Reason = SentWithdrawn
	case !x.Same:
		e.Reason = SentChanged
	case l.open(x.Shipment, x.Number) != nil:
		e.Reason = SentAcknowledged
	}
	return e
}
