package audit

// An Attack is one that was run on the output, and how it went.
//
// Verdict is "holds" when it gained nothing, "residual" when it gains what the
// plan is known to leave, "broken" when a treatment failed, and "not run" when
// what the attacker needs was not at hand.
type Attack struct {
	Name      string  `json:"name"`
	Knows     string  `json:"knows"` // what the attacker is taken to have
	Tried     int64   `json:"tried"`
	Unit      string  `json:"unit"` // of Tried and Succeeded
	Succeeded int64   `json:"succeeded"`
	Chance    float64 `json:"chance,omitempty"` // successes to be expected by guessing
	Verdict   string  `json:"verdict"`
	Detail    string  `json:"detail"`
	Lacks     Lack    `json:"-"` // why it was not run
}

// A Lack is something without which an attack cannot be run.
type Lack int

const (
	LacksNothing Lack = iota
	LacksRoster       // a list of subjects
	LacksArchive      // the sealed archive
	LacksSource       // the site's own records
)

const (
	Holds    = "holds"
	Residual = "residual"
	Broken   = "broken"
	NotRun   = "not run"
)

func (e *examiner) attacks() []Attack {
	return []Attack{
		e.rosterHashes(), e.patternHashes(), e.visitDays(), e.visitClock(), e.sealingDate(), e.linkage(),
		e.fingerprint(), e.archive(), e.order(), e.leftovers(),
	}
}

// grade is the verdict on an attack whose success no plan promises to prevent.
func grade(succeeded int64) string {
	if succeeded > 0 {
		return Residual
	}
	return Holds
}
