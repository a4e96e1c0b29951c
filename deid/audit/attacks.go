package audit

import "outbreath/deid/attack"

// An Attack is an attack that was tried on the output, with its result.
//
// Verdict is "holds" if the attack gained nothing, "residual" if it gained what the
// plan is known to leave, "broken" if a treatment failed, "not run" if something that the
// attacker needs was missing, and "not scored" if its claims were not compared with the truth.
type Attack struct {
	Name      string  `json:"name"`
	Knows     string  `json:"knows"` // what the attacker is assumed to have
	Tried     int64   `json:"tried"`
	Unit      string  `json:"unit"` // of Tried and Succeeded
	Succeeded int64   `json:"succeeded"`
	Chance    float64 `json:"chance,omitempty"` // successes expected by guessing, for example among all who fit
	Verdict   string  `json:"verdict"`
	Detail    string  `json:"detail"`
	Lacks     Lack    `json:"-"` // why it was not run
}

// A Lack is an input without which an attack cannot be run.
type Lack int

const (
	LacksNothing Lack = iota
	LacksRoster       // a list of subjects
	LacksArchive      // the sealed archive
	LacksSource       // the site's own records
)

// The verdicts on an attack.
const (
	Holds    = "holds"
	Residual = "residual"
	Broken   = "broken"
	NotRun   = "not run"
	// NotScored is for claims that cannot be compared with the truth, which the site has.
	NotScored = "not scored"
)

// attacks runs all attacks, in the order of the report. by are those by attackers.
func (e *examiner) attacks(by []*attack.Attack) []Attack {
	list := append([]Attack{e.rosterHashes(), e.patternHashes()}, e.rows(by)...)
	return append(list, e.archive(), e.order(by), e.leftovers())
}

// grade returns the verdict on an attack that no plan promises to prevent.
func grade(succeeded int64) string {
	if succeeded > 0 {
		return Residual
	}
	return Holds
}
