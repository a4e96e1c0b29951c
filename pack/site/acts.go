package site

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// Acts of a privacy officer. Each takes an entry that says who, when and why, and adds
// it to a log that is open to add, before anything is given out.

// Entries about acts.
const (
	Linked   = "linkage" // the laboratory got a list of old and new pseudonyms
	TracedTo = "traced"  // a pseudonym was led back to its subject
	Rotated  = "rotated" // the pseudonym key got a new generation
	Split    = "split"   // the pseudonym key was split into shares
)

// Facts of entries about acts.
const (
	factShipments = "shipments"
	factPseudonym = "pseudonym"
	factFound     = "found"
	factWithdrawn = "withdrawn"
	factBefore    = "before"
	factAfter     = "after"
	factShares    = "shares"
	factThreshold = "threshold"
	factSet       = "set"
)

// ErrNoSubject says that no subject of the collection has the id that was typed.
var ErrNoSubject = errors.New("no subject of this collection has that id; nothing was written")

// SubjectOf returns the id of the collection that a typed one means. The error is
// [ErrNoSubject], or a *schema.QueriesError for an id that may be two people's: what is
// written about one would name the other's tubes.
func SubjectOf(c *schema.Collection, typed string) (id string, err error) {
	id, ok := deid.Known(c, typed)
	if !ok {
		return "", ErrNoSubject
	}
	if two := c.TwoPeople(id); len(two) > 0 {
		return "", &schema.QueriesError{Problems: two}
	}
	return id, nil
}

// A Withdrawing is a withdrawal that was recorded, and what the laboratory must know.
type Withdrawing struct {
	Pseudonyms []string     // of the subject, the newest generation first
	Shipments  []string     // of the study, that hold its data or may
	Unlisted   []string     // of those, the ones sealed before the state noted whose data they hold
	Tubes      []string     // barcodes of this collection
	Notice     *pack.Notice // the same, to be signed for the laboratory
	Strangers  bool         // the collection has records of subjects not in the roster: one may be this subject's
}

// WithdrawSubject records that the subject id, from [SubjectOf], has withdrawn: later
// seals of every collection of the study leave it out.
func (l *Log) WithdrawSubject(id string, e custody.Entry) (*Withdrawing, error) {
	c := l.o.Collection
	names, err := deid.Pseudonyms(l.Generations, id)
	if err != nil {
		return nil, err
	}
	holding, unlisted := l.ShipmentsWith(names)
	w := &Withdrawing{Pseudonyms: names, Shipments: append(holding, unlisted...), Unlisted: unlisted}
	w.Tubes = deid.TubesOf(c, id)
	w.Notice = pack.NewNotice(c.Study.Study, c.Study.Site, w.Pseudonyms, w.Shipments, w.Tubes)
	w.Strangers = slices.ContainsFunc(c.Problems, func(p schema.Problem) bool { return p.Rule == "subject.unlisted" })
	e.What = Withdrawn
	e.Facts = map[string]string{
		factPseudonyms: strings.Join(names, " "), factShipments: strings.Join(w.Shipments, " "),
		factTubes: strconv.Itoa(len(w.Tubes)),
	}
	return w, l.Withdraw(e, id)
}

// A Tracing is what a pseudonym was led back to.
type Tracing struct {
	deid.Traced
	Found     bool     // somebody in this collection has the pseudonym; else nothing below is set
	Withdrawn bool     // the subject has withdrawn consent
	Shipments []string // of the study, that hold its data or may
	Unlisted  []string // of those, the ones sealed before the state noted whose data they hold
}

// Trace leads a pseudonym, in its usual form, back to its subject. That it was asked is
// recorded, whatever comes of it; with an error nothing may be shown.
func (l *Log) Trace(pseudonym string, e custody.Entry) (*Tracing, error) {
	t := &Tracing{}
	t.Traced, t.Found = deid.Trace(l.Generations, l.o.Collection, pseudonym)
	e.What = TracedTo
	e.Facts = map[string]string{factPseudonym: pseudonym, factFound: strconv.FormatBool(t.Found)}
	if t.Found {
		names, err := deid.Pseudonyms(l.Generations, t.SubjectID)
		if err != nil {
			return nil, err
		}
		gone := l.State.Gone()
		t.Withdrawn = slices.ContainsFunc(names, func(p string) bool { return gone[p] })
		holding, unlisted := l.ShipmentsWith(names)
		t.Shipments, t.Unlisted = append(holding, unlisted...), unlisted
		e.Facts[factKey], e.Facts[factWithdrawn] = t.KeyID, strconv.FormatBool(t.Withdrawn)
	}
	if err := l.Append(e); err != nil {
		return nil, fmt.Errorf("nothing is shown, because it could not be written into %s: %w", LogName, err)
	}
	return t, nil
}

// ErrOneGeneration says that the key was never rotated: there is nothing to link.
var ErrOneGeneration = errors.New("the key folder holds one generation of the pseudonym key only")

// A LinkageList joins the pseudonyms of the two newest generations.
type LinkageList struct {
	Sealed        []byte         // age file, encrypted to Readers
	Before, After string         // IDs of the keys
	Readers       []keys.Trusted // the laboratories of the key folder's recipients
}

// Linkage records that the laboratories get the list that joins the pseudonyms of
// subjects who have not withdrawn, and returns it. The error may be [ErrOneGeneration].
func (l *Log) Linkage(e custody.Entry) (*LinkageList, error) {
	if len(l.Generations) < 2 {
		return nil, ErrOneGeneration
	}
	c, list := l.o.Collection, &LinkageList{Before: l.Generations[1].KeyID, After: l.Generations[0].KeyID}
	recipients, readers, err := l.o.Folder.Recipients(c.Study.Recipients, e.When.Format(time.DateOnly))
	if err != nil {
		return nil, err
	}
	list.Readers = readers
	text, err := deid.Linkage(l.Generations, c, l.State.Gone())
	if err != nil {
		return nil, err
	}
	if list.Sealed, err = keys.Encrypt(text, recipients...); err != nil {
		return nil, err
	}
	e.What, e.Facts = Linked, map[string]string{factBefore: list.Before, factAfter: list.After}
	return list, l.Append(e)
}

// RotateKey records that the pseudonym key has a new generation: the newest of l, which
// must have been opened after it was made.
func (l *Log) RotateKey(e custody.Entry) error {
	if len(l.Generations) < 2 {
		return ErrOneGeneration
	}
	e.What = Rotated
	e.Facts = map[string]string{factBefore: l.Generations[1].KeyID, factAfter: l.Generations[0].KeyID}
	return l.Append(e)
}

// SplitKey records that the newest generation of the pseudonym key was split into the
// shares of a set, any threshold of which join to it.
func (l *Log) SplitKey(set string, shares, threshold int, e custody.Entry) error {
	e.What = Split
	e.Facts = map[string]string{factKey: l.Generations[0].KeyID, factSet: set, factShares: strconv.Itoa(shares),
		factThreshold: strconv.Itoa(threshold)}
	return l.Append(e)
}

// Settle records that what a receipt objected to was settled with the laboratory. The
// error may be a *[NumberError]: [NumberSettled].
func (l *Log) Settle(number string, e custody.Entry) error {
	x := l.shipment(number, 0)
	if x.State != custody.Discrepancies && x.State != custody.Rejected || x.Settled {
		return &NumberError{Reason: NumberSettled, Number: number}
	}
	e.What, e.Shipment = custody.Settled, number
	return l.Append(e)
}

// GiveUp records that the site will never send a number, so that the laboratory can be
// told why it is missing. The error may be a *[NumberError].
func (l *Log) GiveUp(number string, e custody.Entry) error {
	if !l.shipment(number, 0).Receipt.IsZero() {
		return &NumberError{Reason: NumberAnswered, Number: number}
	}
	x := l.State.Shipment(number)
	switch {
	case x == nil:
		if err := l.near(l.o.Collection.Study.Site, number); err != nil {
			return err
		}
	case x.What == custody.GivenUp:
		return &NumberError{Reason: NumberGivenUpBefore, Number: number}
	case x.What != custody.Abandoned && !l.Own(x):
		return &NumberError{Reason: NumberElsewhere, Number: number, Day: x.Day}
	}
	e.What, e.Shipment = custody.GivenUp, number
	return l.Append(e)
}
