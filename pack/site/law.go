package site

import (
	"errors"
	"fmt"
	"strings"

	"outbreath/pack/custody"
	"outbreath/pack/durable"
)

// Rules of what is no error of the data: a person answers them with a wish or a reason.
const (
	RuleNumber  = "seal.number"  // [Order.Wish]
	RuleAmended = "seal.amended" // [Order.Amended]
	RulePlan    = "seal.plan"    // [Order.NewPlan]
)

// A Refusal is one thing that prevents a seal from being made, other than the data, the
// medium and the box.
type Refusal struct {
	File string // of the collection, or of the key folder, that it is about
	Rule string // stable, e.g. "seal.clock"
	Err  error
}

// A stage is the step of a seal at which a law is applied.
type stage int

const (
	atKeys    stage = iota // [Seal.OpenKeys]
	atLog                  // [Seal.Begin]
	atNumber               // [Seal.Choose]
	atRecords              // [Seal.Amendments]
)

// laws are all that a seal refuses, except by the data, the medium and the box, in the
// order in which it checks them. A seal stops at the first that is broken;
// [Seal.Refusals] lists all of them.
var laws = []struct {
	at         stage
	file, rule string
	test       func(*Seal) error
}{
	{atKeys, "recipients.txt", "seal.recipients", (*Seal).readers},
	{atKeys, "signing", "seal.signer", (*Seal).signer},
	{atLog, LogName, "seal.log", (*Seal).writable},
	{atLog, LogName, "seal.clock", (*Seal).clock},
	{atNumber, LogName, RuleNumber, (*Seal).number},
	{atNumber, "study.json", RulePlan, (*Seal).samePlan},
	{atNumber, LogName, "seal.last-number", (*Seal).numberLeft},
	{atRecords, "sessions", "seal.sources", (*Seal).sources},
	{atRecords, "sessions", RuleAmended, (*Seal).amendments},
}

// pass applies the laws of one stage, and returns the first that is broken.
func (s *Seal) pass(at stage) error {
	for _, law := range laws {
		if law.at != at {
			continue
		}
		if err := law.test(s); err != nil {
			return err
		}
	}
	return nil
}

// Refusals returns every law that a seal of this order would break, without changing
// anything. What is about the records is left out while there is no draft.
func (s *Seal) Refusals() (all []Refusal) {
	for _, law := range laws {
		if law.at == atRecords && s.Draft == nil {
			continue
		}
		if err := law.test(s); err != nil {
			all = append(all, Refusal{law.file, law.rule, err})
		}
	}
	return all
}

func (s *Seal) readers() (err error) {
	s.opts.Recipients, s.Readers, err = s.folder.Recipients(s.col.Study.Recipients, s.order.When.Format("2006-01-02"))
	return err
}

func (s *Seal) signer() (err error) {
	s.opts.Signer, err = s.folder.Signer()
	return err
}

func (s *Seal) writable() error { return custody.Writable(s.col.Root, LogName) }

func (s *Seal) clock() error {
	err := s.Log.ClockGoesOn(s.order.When)
	s.clockBehind = err != nil
	if s.order.ClockIsRight {
		return nil
	}
	return err
}

func (s *Seal) number() (err error) {
	s.Choice, err = s.Log.Choose(s.col, s.order.Wish)
	return err
}

// A PlanError says that the plan is not the one of the shipment before, and nobody
// said why. Data of one subject under two plans can undo each other's protection.
type PlanError struct {
	Plan        string // name of the plan now
	Number, Day string // of the shipment before; Day is YYYY-MM-DD
}

func (e *PlanError) Error() string {
	return fmt.Sprintf("the plan is %q now, and treats fields otherwise than %s of %s did: "+
		"data of one subject under two plans can undo each other, as true dates beside shifted ones give the "+
		"shift away",
		e.Plan, e.Number, e.Day)
}

// ErrSamePlan says that a reason was given for another plan, and the plan is the one of
// the shipment before.
var ErrSamePlan = errors.New("the plan is the one of the shipment before")

// samePlan refuses another plan without a reason. Another copy keeps its own plan: the
// bag's digest proves it.
func (s *Seal) samePlan() error {
	before := s.Log.EarlierPlan(s.col.Plan)
	switch {
	case s.Choice.Copy != nil:
	case before == nil && s.order.NewPlan != "":
		return ErrSamePlan
	case before != nil && s.order.NewPlan == "":
		return &PlanError{Plan: s.col.Plan.Name, Number: before.Number, Day: before.Day}
	}
	return nil
}

// numberLeft refuses to begin when no number follows.
func (s *Seal) numberLeft() error {
	if s.Choice.Number != "" {
		return nil
	}
	_, err := s.Log.Next(s.col.Study.Site)
	return err
}

// An AmendedError says that records were changed after they were sealed, and nobody
// said why.
type AmendedError struct{ List []Amendment }

func (e *AmendedError) Error() string {
	const most = 5
	changed, they := fmt.Sprintf("%d records were changed", len(e.List)), "they were"
	if len(e.List) == 1 {
		changed, they = "1 record was changed", "it was"
	}
	var names []string
	for _, a := range e.List[:min(len(e.List), most)] {
		names = append(names, durable.Quote(a.File)+" ("+a.Shipment+")")
	}
	if more := len(e.List) - most; more > 0 {
		names = append(names, fmt.Sprintf("and %d more", more))
	}
	return fmt.Sprintf("%s since %s sealed: %s", changed, they, strings.Join(names, ", "))
}

// sources finds what the state keeps of each record, and which were amended.
func (s *Seal) sources() error {
	sources, err := s.Draft.Sources()
	if err != nil {
		return err
	}
	s.sealed, s.amended = s.Log.Sealed(sources)
	return nil
}

// amendments refuses amended records without a reason. Another copy needs none: it
// holds what was sealed then.
func (s *Seal) amendments() error {
	if len(s.amended) > 0 && s.Choice.Copy == nil && strings.TrimSpace(s.order.Amended) == "" {
		return &AmendedError{s.amended}
	}
	return nil
}
