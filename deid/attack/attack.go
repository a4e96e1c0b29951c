package attack

// An Attacker is a kind of attacker, by what they hold.
type Attacker string

// The attackers, in the order in which Run returns their attacks.
const (
	Data         Attacker = "data"         // the data alone
	Label        Attacker = "label"        // and the label: sealing date, site
	Box          Attacker = "box"          // and the box: barcodes, kits, when tubes were cleaned
	BookDays     Attacker = "book-days"    // data and the days of an appointment book
	BookHours    Attacker = "book-hours"   // and its hours
	Roster       Attacker = "roster"       // data, label and the roster
	Acquaintance Attacker = "acquaintance" // somebody who knows a subject's own values
	Post         Attacker = "post"         // data and a public post: date, hour, sex, decade of age
	TwoKeys      Attacker = "two-keys"     // two shipments, between which the key was changed
)

// Knowledge is what attackers hold besides the data. What is nil or zero is not
// available, and the attacks that need it are not run.
type Knowledge struct {
	Sealed Day // on the label
	// HoldingDays is how many days tubes may be held, by the protocol. If 0, that of the
	// payload counts.
	HoldingDays int
	// HeldDays is for how many days tubes are held in fact, if longer than allowed: whoever
	// receives the boxes knows.
	HeldDays int
	// Weekends reports that no session is on a Saturday or Sunday, which opening hours tell.
	Weekends bool
	Holidays []Day // on which the site is closed

	Kits    map[string]string // barcode to what is printed on its kit
	Cleaned map[string]Clean  // barcode to when the laboratory cleaned the tube

	Book   map[string][]Appointment // by person
	Roster []Person
	Posts  []PublicPost
	Second *Shipment // of the same site, under another key; nil: the shipment is halved
}

// A Clean is the local time at which a tube was conditioned.
type Clean struct {
	Day   Day
	Clock int // seconds of the day
}

// An Appointment is one visit in the site's book.
type Appointment struct {
	Day   Day
	Clock int // seconds of the day
}

// A Person is a row of the roster: its canonical identity and its values by column.
type Person struct {
	ID     string
	Values map[string]string
}

// A PublicPost is what somebody has told the public of one visit.
type PublicPost struct {
	Person string
	Day    Day
	Hour   int
	Sex    string
	Decade int // of age: 40 for 40 to 49; below 0: not told
}

// A Reason is why an attack was not run.
type Reason string

// The reasons.
const (
	WasRun      Reason = ""
	NoSessions  Reason = "no record leaves"
	NoSubjects  Reason = "no subject code leaves, so nothing can be told by subject"
	NoLabel     Reason = "there is no sealing date"
	NoBox       Reason = "what is printed on the tubes in the box is not known here"
	NoBook      Reason = "the true visits are not known here"
	NoRoster    Reason = "there is no roster here"
	NoFields    Reason = "no field that leaves is in the roster"
	NoOwnValues Reason = "no value of the subject leaves"
	NoPairs     Reason = "no subject has two sessions"
	TooMany     Reason = "there are more subjects or records than the attack can compare"
)

// mostSubjects bounds the attacks whose work grows with the square of the subjects.
const mostSubjects = 2000

// An Attack is what one attacker claims and, after [Score], how much of it is true.
type Attack struct {
	Attacker Attacker `json:"attacker"`
	NotRun   Reason   `json:"not_run,omitempty"`
	Dates    bool     `json:"dates"`    // the attack is on the days of sessions
	Links    bool     `json:"links"`    // the attack is on who the subjects are
	Fields   []string `json:"fields"`   // what made it possible
	Orders   []string `json:"orders"`   // of Fields, those whose numbers are in the order of the visits
	Assumes  []string `json:"assumes"`  // what it takes for true without a proof
	Subjects int      `json:"subjects"` // on which it was tried
	Sessions int      `json:"sessions"`
	// Chance is the probability that an order was found where there is none; 0 if none is used.
	Chance float64 `json:"chance"`
	// Guess is how many subjects would be linked rightly by guessing among all who fit.
	Guess float64 `json:"guess"`

	Scored    bool   `json:"scored"` // the counts below are against the truth
	Dating    Dating `json:"dating"`
	Linked    int    `json:"linked"`     // subjects: who they are, rightly
	LinkWrong int    `json:"link_wrong"` // subjects taken for somebody else
	Broken    bool   `json:"broken"`     // a date left unmoved beside a moved one
	Halved    bool   `json:"halved"`     // the two shipments are the halves of this one

	Claims []Claim `json:"-"`
}

// Dating counts the subjects all of whose sessions are dated, by how closely. What is not
// scored counts claims. Each count but Wrong and Unknown includes the ones before it.
type Dating struct {
	Exact    int `json:"exact"`          // the day itself
	Week     int `json:"week"`           // within 6 days
	Month    int `json:"month"`          // within 30 days
	Wrong    int `json:"wrong"`          // the true day is not among those that remain
	Unknown  int `json:"unknown"`        // a year or more remains
	Sessions int `json:"exact_sessions"` // sessions whose day is known
	// Median is the middle of what remains, in days from the earliest to the latest, over
	// all subjects; -1 if it is a year or more.
	Median int `json:"median_days"`
}

// A Claim is what an attacker says of one subject.
type Claim struct {
	Subject string
	// Within is the number of days between the earliest and the latest true day that
	// remain, the greatest of the subject's sessions: 0 is the day itself. Unknown if a
	// year or more remains.
	Within int
	Visits []VisitClaim
	Person string // "" if not linked
	Alone  bool   // nobody else has the subject's values: whoever knows them links the subject

	RightDays, RightPerson bool // after Score
}

// Unknown is Within if the day is not known.
const Unknown = -1

// A VisitClaim is the range of days that remains for one session.
type VisitClaim struct {
	Session  string
	From, To Day
}

// Truth is what the site knows.
type Truth struct {
	Days   map[string]Day    // true day of each session, by its name as it leaves
	Person map[string]string // identity of each subject, by the code as it leaves
	// Twin is the code of each subject in a second shipment; nil: the same, because the
	// second shipment is a half of the first.
	Twin map[string]string
}

// Run lets every attacker try. The time is bounded: it grows with the square of the
// subjects, of which no more than 2,000 are compared with each other.
func Run(s *Shipment, k Knowledge) []*Attack {
	s.settle()
	s.solved = nil // of an earlier run
	if s.tooLarge {
		list := []*Attack{}
		for _, who := range []Attacker{Data, Label, Box, BookDays, BookHours, Roster, Acquaintance, Post, TwoKeys} {
			list = append(list, &Attack{Attacker: who, NotRun: TooMany})
		}
		return list
	}
	attacks := []*Attack{s.date(Data, k), s.date(Label, k), s.date(Box, k)}
	known := s.solved[Data]
	attacks = append(attacks, s.book(BookDays, k, known, s.plain), s.book(BookHours, k, known, s.plain), s.roster(k),
		s.acquaintance(), s.post(k, known), s.twoKeys(k))
	for _, a := range attacks { // lists, for whoever reads them as JSON
		a.Fields, a.Orders, a.Assumes = listed(a.Fields), listed(a.Orders), listed(a.Assumes)
	}
	return attacks
}

func listed(list []string) []string { return append([]string{}, list...) }

// is returns whom the attacker should have named.
func (t *Truth) is(a *Attack, subject string) string {
	switch {
	case a.Attacker != TwoKeys:
		return t.Person[subject]
	case t.Twin != nil:
		return t.Twin[subject]
	}
	return subject
}

// Score compares the claims of a with the truth; nil: the claims are counted as they are.
// Who joins the halves of a shipment needs no truth from elsewhere.
func Score(a *Attack, t *Truth) {
	if t == nil && a.Attacker == TwoKeys && a.Halved {
		t = &Truth{}
	}
	a.Scored = a.NotRun == WasRun && (t != nil || a.Attacker == Acquaintance)
	a.Dating, a.Linked, a.LinkWrong = Dating{Median: Unknown}, 0, 0
	var widths []int
	for i := range a.Claims {
		c := &a.Claims[i]
		c.RightDays, c.RightPerson = true, true
		for _, v := range c.Visits {
			if t == nil {
				continue
			}
			d, ok := t.Days[v.Session]
			c.RightDays = c.RightDays && ok && v.From <= d && d <= v.To
			if ok && v.From == d && v.To == d {
				a.Dating.Sessions++
			}
		}
		if a.Dates {
			a.Dating.count(c)
			widths = append(widths, c.Within)
		}
		if c.Alone {
			a.Linked++
			continue
		}
		if c.Person == "" {
			c.RightPerson = false
			continue
		}
		c.RightPerson = t == nil || t.is(a, c.Subject) == c.Person
		if c.RightPerson {
			a.Linked++
		} else {
			a.LinkWrong++
		}
	}
	a.Dating.Median = median(widths)
}

func (d *Dating) count(c *Claim) {
	switch {
	case c.Within == Unknown:
		d.Unknown++
		return
	case !c.RightDays:
		d.Wrong++
		return
	case c.Within == 0:
		d.Exact++
	}
	if c.Within <= 6 {
		d.Week++
	}
	if c.Within <= 30 {
		d.Month++
	}
}
