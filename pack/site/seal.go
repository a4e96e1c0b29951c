package site

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// An Order says what a seal is to do, as people gave it.
type Order struct {
	Wish
	Media        []string  // a folder on each medium
	Who          string    // who seals, for the log
	When         time.Time // UTC, whole seconds: of the entries in the log
	ClockIsRight bool      // though the log has a later entry
	NewPlan      string    // why the plan is another than that of the shipment before; "" is no reason
	Amended      string    // why records were changed after they were sealed; "" is no reason
	Logs         []string  // SHA-256 (hex) of the session logs that the records were made from
	Program      string    // this program, as treatment.json, the label and the log name it
}

// A Seal is one run of sealing a collection. Its steps are called in this order, each
// once unless it says otherwise; between them a caller may ask a person:
//
//	OpenKeys, Begin, LeaveOut, Choose, Treat, Amendments, Clear, Write
//
// Nothing is written before Begin, nothing on a medium before Write, and what
// [Seal.Refusals] lists is refused before that.
type Seal struct {
	Log     *Log
	Readers []keys.Trusted // who can open the shipment; after OpenKeys
	Choice  Choice         // the number and what it is of; after Choose
	Draft   *deid.Draft    // after Treat
	Stated  []deid.Discrepancy

	Decisions *leak.Decisions // on findings, as the log has bound them; after Treat

	held   *Held
	col    *schema.Collection
	folder *keys.Folder
	key    *keys.PseudonymKey // the generation that the shipment is made with
	order  Order

	opts        pack.SealOptions // recipients and signer
	clockBehind bool
	sealed      []Sealed
	amended     []Amendment
	cleared     *deid.Cleared
	entry       custody.Entry
	begun       bool // the entry "sealing" was written
}

// NewSeal readies a seal of a collection that is loaded, with the site's key folder and
// its newest pseudonym key. held is nil for a seal that is only rehearsed with
// [Seal.Refusals].
func NewSeal(held *Held, c *schema.Collection, f *keys.Folder, key *keys.PseudonymKey, o Order) *Seal {
	return &Seal{held: held, col: c, folder: f, key: key, order: o}
}

// OpenKeys finds recipients and signer. Readers is set also with an error about the
// signer.
func (s *Seal) OpenKeys() error { return s.pass(atKeys) }

// Begin takes the log, which must be open to add, settles the seals that were
// interrupted, and releases it, also after an error: what follows takes long, and Write
// holds it again. The error may be a *[ClockError].
func (s *Seal) Begin(l *Log) (settled []Interrupted, err error) {
	defer l.Release()
	s.Log = l
	if err := s.pass(atLog); err != nil {
		return nil, err
	}
	s.entry = custody.Entry{When: s.order.When, Who: s.order.Who, Why: "sealed for the laboratory"}
	if s.clockBehind {
		s.entry.Why += "; the clock is behind an earlier entry, and the operator says that it is right"
	}
	return l.SettleInterrupted(s.order.Media, s.entry)
}

// ErrNobodyLeft says that every record is of a subject who has withdrawn.
var ErrNobodyLeft = errors.New("every record of this collection is of a subject who has withdrawn")

// LeaveOut takes the records of subjects who have withdrawn out of the collection, and
// returns them. The error is [ErrNobodyLeft], or a *schema.QueriesError about sessions,
// tubes and ids that the site knows as another's: see [Log.Objections].
func (s *Seal) LeaveOut() (gone []*schema.Session, err error) {
	gone = s.Log.LeaveOut(s.col)
	if len(gone) > 0 && len(s.col.Sessions) == 0 {
		return gone, ErrNobodyLeft
	}
	if known := s.Log.Objections(s.col); len(known) > 0 {
		return gone, &schema.QueriesError{Problems: known}
	}
	return gone, nil
}

// Choose chooses the number. The error may be a *[NumberError], a *[SentError], a
// *[PlanError], [ErrSamePlan] or a *[LastNumberError]. After a *SentError that allows
// another copy it may be called again, with w for the wish of the order.
func (s *Seal) Choose(w Wish) error {
	s.order.Wish = w
	if err := s.pass(atNumber); err != nil {
		return err
	}
	switch {
	case s.Choice.Copy != nil:
		s.entry.Why = "another copy of the same contents"
	case s.order.NewPlan != "":
		s.entry.Why += "; under another plan than before: " + s.order.NewPlan
	}
	if s.Choice.Key != nil {
		s.key = s.Choice.Key
	}
	return nil
}

// Treat applies the plan to the records. The error may be a *schema.QueriesError.
func (s *Seal) Treat() (err error) {
	if s.Decisions, err = leak.ParseDecisions(s.Log.Review); err != nil {
		return &schema.ConfigError{File: ReviewName, Message: err.Error()}
	}
	if s.Draft, err = deid.Treat(s.col, s.key); err != nil {
		return err
	}
	program := s.order.Program
	if x := s.Choice.Copy; x != nil {
		if first := s.Log.ProgramOf(x.Number); first != "" {
			program = first
		}
	}
	s.Draft.MadeBy(program)
	return nil
}

// Amendments finds the records that were changed after they were sealed. The error is
// an *[AmendedError] while no reason was given; then it may be called again with one.
func (s *Seal) Amendments(reason string) error {
	s.order.Amended = reason
	return s.pass(atRecords)
}

// Clear searches the treated records and releases them. The draft must state what box
// and records do not share; stated is the same for the site's state. The records'
// documents, which are large, are dropped. The errors are those of deid.Release.
func (s *Seal) Clear(stated []deid.Discrepancy) (err error) {
	s.Stated = stated
	for _, session := range s.col.Sessions {
		session.Doc = nil
	}
	s.cleared, err = deid.Release(s.Draft, s.Decisions)
	return err
}

// A Writing says how [Seal.Write] writes.
type Writing struct {
	Number   string    // from [Seal.Number]
	PartSize int64     // largest file, bytes; 0: what the file system of the medium holds
	Repair   int       // repair data, percent of the archive; 0: none
	Date     time.Time // of sealing, for the label
	Progress func(done, total int64)
	// Named is called when all is written, before the shipment gets its name; an error
	// stops the seal. It may be nil.
	Named func(*deid.Cleared, *pack.Sealed) error
}

// Number returns the number that was chosen, or the next one. The error may be a
// *[LastNumberError].
func (s *Seal) Number() (string, error) {
	if s.Choice.Number != "" {
		return s.Choice.Number, nil
	}
	return s.Log.Next(s.col.Study.Site)
}

// Write seals onto the media, and records it before and after the shipment gets its
// name. After an error no medium has a shipment of that name, unless the error says
// that the shipment is whole. It may be one of package pack, a *[SourceChangedError], a
// *[ContentsError], a *[NumberError] or a *[WithdrawnError].
func (s *Seal) Write(ctx context.Context, w Writing) (*pack.Sealed, error) {
	o := s.opts
	o.Program, o.Media, o.Number = s.order.Program, s.order.Media, w.Number
	o.PartSize, o.Repair, o.Date, o.Progress = w.PartSize, w.Repair, w.Date, w.Progress
	o.BeforeCommit = func(done *pack.Sealed) error { return s.commit(w, done) }
	done, err := pack.Seal(ctx, s.cleared, o)
	if err != nil {
		if s.begun {
			err = errors.Join(err, s.Log.abandon(s.entry, w.Number, s.order.Media))
		}
		return nil, err
	}
	e := s.entry
	e.What, e.Shipment, e.Facts = custody.Sealed, w.Number, s.facts(done).encode()
	if err := s.Log.Append(e); err != nil {
		return nil, fmt.Errorf("the shipment is whole, but %s could not be written: %w", LogName, err)
	}
	return done, nil
}

// commit is the last look before the shipment gets its name.
func (s *Seal) commit(w Writing, done *pack.Sealed) error {
	if err := s.held.Unchanged(); err != nil {
		return err
	}
	facts := s.facts(done)
	if err := s.Log.sameContents(w.Number, facts, s.order.Again != ""); err != nil {
		return err
	}
	if w.Named != nil {
		if err := w.Named(s.cleared, done); err != nil {
			return err
		}
	}
	decided := s.Log.Review
	if err := s.Log.ToAdd(); err != nil {
		return err
	}
	if !bytes.Equal(decided, s.Log.Review) {
		return &custody.ChangedError{Path: ReviewName}
	}
	if len(s.amended) > 0 && s.Choice.Copy == nil {
		e := s.entry
		e.Why = s.order.Amended
		if err := s.Log.Amend(e, s.amended); err != nil {
			return err
		}
	}
	e := s.entry
	e.Shipment, e.Facts = w.Number, facts.encode()
	err := s.Log.Sealing(e, &Shipment{
		Number: w.Number, Bag: done.Bag, KeyID: deid.KeyID(s.key, s.col.Study.Study),
		Sessions: s.sealed, Subjects: s.cleared.Subjects(), Stated: s.Stated,
	})
	if n := len(s.Log.Entries); n > 0 {
		s.begun = s.Log.Entries[n-1].What == custody.Sealing && s.Log.Entries[n-1].Shipment == w.Number
	}
	return err
}

func (s *Seal) facts(done *pack.Sealed) CopyFacts {
	f := factsOf(done, s.order.Program, PlanName(s.col.Plan), s.Readers, len(s.Stated))
	f.Logs = s.order.Logs
	return f
}
