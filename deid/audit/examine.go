package audit

import (
	"fmt"
	"strings"
	"time"

	"outbreath/deid/attack"
	"outbreath/deid/leak"
	"outbreath/schema"
)

// An Input is what the audit knows in addition to the output.
type Input struct {
	Study, Site string
	Fields      []Field
	Sealed      time.Time // day on the label; before sealing, today
	HoldingDays int       // of study.json; 0 at the laboratory

	Roster     *schema.Roster             // nil: attacks that need it are not run
	Source     map[string]*schema.Session // the site's records by session pseudonym; nil at the laboratory
	SubjectOf  map[string]string          // subject pseudonym to identifier; nil without the key
	Kept       map[string]bool            // "sessions/X.json /notes": places where a person decided to keep a finding
	Open       map[string]leak.Class      // likewise: places of findings that nobody has decided on
	Population *Population

	// MaxIDs is how many identifiers [Examine] tries to hash; 0: 10 million.
	MaxIDs int
}

// A Report holds every figure of an audit.
type Report struct {
	Risk    *Risk    `json:"risk"`
	WhatIf  *Choice  `json:"what_if"`
	Attacks []Attack `json:"attacks"`
	Issues  []Issue  `json:"issues"`

	// Attackers are the attacks by what the attacker holds, with what made them possible.
	Attackers []*attack.Attack `json:"attackers"`
	Holding   Holding          `json:"holding"`
	// Answers are changes that take something away from attackers; nil: none was tried.
	Answers []Answer `json:"answers"`

	NotTested []Untested `json:"not_tested"`

	// ShiftBands counts subjects by shift, in 13 bands of 28 days. It is nil if the
	// shifts are unknown, and for fewer than 20 subjects, because it would then reveal
	// the shift of some.
	ShiftBands []int `json:"shift_bands,omitempty"`
	// Months counts sessions by month of their date as it leaves, "2026-03".
	Months map[string]int `json:"months"`

	// ToRead is every text that leaves, for a person to read.
	ToRead []TextList `json:"texts_to_read"`

	Table *Table `json:"-"`
}

// OK reports whether no treatment failed and no attack broke one.
func (r *Report) OK() bool {
	for _, i := range r.Issues {
		if i.Fault {
			return false
		}
	}
	return true
}

// An examiner is one run of Examine.
type examiner struct {
	o     *Output
	in    *Input
	is    issues
	table *Table
	shift map[string]int // days, by subject pseudonym, where known
	hold  Holding
}

// ShiftSubjects is the least number of subjects for which shifts are shown in bands.
const ShiftSubjects = 20

// Examine checks the treatments of o, measures its risk and runs the attacks.
func Examine(o *Output, in *Input) *Report {
	e := &examiner{o: o, in: in, table: o.Table(in.Fields), shift: map[string]int{}}
	e.treatments()
	e.constant()
	rep := &Report{Table: e.table, Months: map[string]int{}}
	rep.Risk = Measure(e.table, in.Population)
	rep.Risk.Records = len(o.Records)
	by := Measure(o.byRecord(e.table), nil)
	rep.Risk.ByRecord = RecordRisk{by.K, by.Classes, by.ProsecutorMax, by.ProsecutorMean}
	rep.WhatIf = Consider(e.table)
	e.unique(rep.Risk)
	e.hold = e.holding()
	rep.Holding, rep.Attackers = e.hold, e.attackers()
	rep.Answers = e.answers(rep.Attackers)
	rep.Attacks = tried(e.attacks(rep.Attackers))
	rep.NotTested = e.untested(rep)
	rep.ToRead = e.textsToRead()
	rep.Issues = e.is.done()
	for _, r := range o.Records {
		if !r.Started.IsZero() {
			rep.Months[r.Started.Format("2006-01")]++
		}
	}
	if len(e.shift) >= ShiftSubjects {
		rep.ShiftBands = make([]int, 13)
		for _, d := range e.shift {
			rep.ShiftBands[(d-1)/28]++
		}
	}
	return rep
}

// unique adds an issue for every subject who is alone in a class.
func (e *examiner) unique(r *Risk) {
	for _, c := range r.SmallCells {
		if c.Size > 1 {
			break
		}
		e.is.add("risk.unique", false, "subject "+c.Who[0],
			fmt.Sprintf("no other subject shares these values of %s", strings.Join(labels(r.Quasi), ", ")),
			"see what changes if a field is made coarser or dropped, and decide whether the agreement and the "+
				"recipient allow the data as they are")
	}
}

// labels returns the labels of fields.
func labels(paths []string) []string {
	var list []string
	for _, p := range paths {
		list = append(list, Label(p))
	}
	return list
}
