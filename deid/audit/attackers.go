package audit

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"outbreath/deid/attack"
	"outbreath/schema"
)

// A Holding says how long tubes may be held, and how this is known.
type Holding struct {
	Days int    `json:"days"`
	From string `json:"from"` // "study", "shipment" or "assumed"
}

// usualHolding is assumed where neither the study nor the shipment says how many days
// tubes may be held: the default of study.json.
const usualHolding = 30

func (e *examiner) holding() Holding {
	switch {
	case e.in.HoldingDays > 0:
		return Holding{e.in.HoldingDays, "study"}
	case e.o.leaving.HoldingDays > 0:
		return Holding{e.o.leaving.HoldingDays, "shipment"}
	}
	return Holding{usualHolding, "assumed"}
}

// attackers lets every attacker of package attack try, and scores their claims if the
// site's records are here.
func (e *examiner) attackers() []*attack.Attack {
	s := &e.o.leaving
	s.Fields = nil
	for _, f := range e.in.Fields {
		s.Fields = append(s.Fields, attack.Field{Path: f.Path, Treatment: f.Treatment})
	}
	list := attack.Run(s, e.knowledge())
	truth := e.truth()
	for _, a := range list {
		attack.Score(a, truth)
	}
	return list
}

// truth returns nil if the site's records are not here.
func (e *examiner) truth() *attack.Truth {
	if len(e.in.Source) == 0 {
		return nil
	}
	t := &attack.Truth{Days: map[string]attack.Day{}, Person: map[string]string{}}
	for name, s := range e.in.Source {
		t.Days[name] = attack.DayOf(s.Started)
	}
	for subject, id := range e.in.SubjectOf {
		t.Person[subject] = identity(id)
	}
	return t
}

// knowledge returns what the attackers hold besides the data, as far as it is here.
func (e *examiner) knowledge() attack.Knowledge {
	k := attack.Knowledge{HoldingDays: e.hold.Days, Weekends: true}
	if !e.in.Sealed.IsZero() {
		k.Sealed = attack.DayOf(e.in.Sealed)
	}
	if e.in.Roster != nil {
		for _, row := range e.in.Roster.Rows {
			k.Roster = append(k.Roster, attack.Person{ID: identity(row["subject_id"]), Values: row})
		}
	}
	if len(e.in.Source) == 0 {
		return k
	}
	k.Kits, k.Cleaned = map[string]string{}, map[string]attack.Clean{}
	k.Book = map[string][]attack.Appointment{}
	first := map[string]*schema.Session{}
	for _, s := range e.in.Source {
		who := identity(s.Subject)
		k.Book[who] = append(k.Book[who], attack.Appointment{Day: attack.DayOf(s.Started), Clock: secondsOf(s.Started)})
		if first[who] == nil || s.Started.Before(first[who].Started) {
			first[who] = s
		}
		k.HeldDays = max(k.HeldDays, int(k.Sealed-attack.DayOf(s.Started)))
		if day := s.Started.Weekday(); day == time.Saturday || day == time.Sunday {
			k.Weekends = false
		}
		printed(s, &k)
	}
	for who, s := range first {
		post := attack.PublicPost{Person: who, Day: attack.DayOf(s.Started), Hour: s.Started.Hour(), Decade: -1}
		if n := at(s, "/subject/sex"); n != nil {
			post.Sex = n.Text
		}
		if born, ok := civil(s.BirthDate); ok {
			post.Decade = yearsBetween(born, s.Started) / 10 * 10
		}
		k.Posts = append(k.Posts, post)
	}
	slices.SortFunc(k.Posts, func(a, b attack.PublicPost) int { return cmp.Compare(a.Person, b.Person) })
	return k
}

// printed adds what the laboratory reads on the box, and knows of its own work: the
// number on the kit of each tube, and when it was cleaned. That the laboratory cleans the
// tubes is common practice, no source.
func printed(s *schema.Session, k *attack.Knowledge) {
	unit := at(s, "/kit/unit")
	for i := range 100 {
		barcode := at(s, fmt.Sprintf("/tubes/%d/barcode", i))
		if barcode == nil {
			return
		}
		if unit != nil {
			k.Kits[barcode.Text] = unit.Text
		}
		if clean := at(s, fmt.Sprintf("/tubes/%d/conditioned_at", i)); clean != nil {
			if t, err := parseDay(clean.Text); err == nil {
				k.Cleaned[barcode.Text] = attack.Clean{Day: attack.DayOf(t), Clock: secondsOf(t)}
			}
		}
	}
}

func at(s *schema.Session, pointer string) *schema.Node {
	if s.Doc == nil {
		return nil
	}
	return s.Doc.At(pointer)
}

func secondsOf(t time.Time) int { return t.Hour()*3600 + t.Minute()*60 + t.Second() }

// The names of the attacks that are by attackers, and what each of them holds.
var attackerNames = map[attack.Attacker][2]string{
	attack.Data:  {"days, by the data alone", "the data alone"},
	attack.Label: {"days, by data and label", "the data, and the label: sealing date and site"},
	attack.Box: {"days, by data, label and box", "the data, the label, and the box: barcodes, numbers on the kits, " +
		"when the tubes " +
		"were cleaned"},
	attack.BookDays:     {"days between visits", "the data, and the days of an appointment book"},
	attack.BookHours:    {"time of day of the visits", "the data, and the days and hours of an appointment book"},
	attack.Roster:       {"linkage with the roster", "the data, the label, and the roster"},
	attack.Acquaintance: {"linkage by an acquaintance", "the data, and a subject's own values"},
	attack.Post: {"linkage by a public post", "the data, and a post about one visit: day, hour, sex, " +
		"decade of age"},
	attack.TwoKeys: {"linkage across a changed key", "two shipments of the site, between which the key was changed"},
}

// lacks says which input makes an attack run.
var lacks = map[attack.Reason]Lack{attack.NoRoster: LacksRoster, attack.NoBook: LacksSource, attack.NoBox: LacksSource}

// rows returns the attacks by attackers as lines of the report.
func (e *examiner) rows(list []*attack.Attack) []Attack {
	var rows []Attack
	for _, a := range list {
		name := attackerNames[a.Attacker]
		row := Attack{Name: name[0], Knows: name[1], Unit: "subjects", Tried: int64(a.Subjects)}
		row.Succeeded, row.Chance = int64(a.Linked), a.Guess
		if !a.Links {
			row.Succeeded = int64(a.Dating.Exact)
		}
		switch {
		case a.NotRun != attack.WasRun:
			row.Verdict, row.Detail, row.Lacks = NotRun, string(a.NotRun), lacks[a.NotRun]
		case a.Broken:
			row.Verdict, row.Detail = Broken, e.gained(a)
		default:
			row.Verdict, row.Detail = grade(row.Succeeded), e.gained(a)
			if !a.Scored {
				row.Verdict = NotScored
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// gained describes what an attack gained, and by what.
func (e *examiner) gained(a *attack.Attack) string {
	var parts []string
	if a.Dates {
		d := a.Dating
		closely := fmt.Sprintf("the true days of %d of %d subjects are known exactly, of %d within 6 days, "+
			"of %d within "+
			"30 days", d.Exact, a.Subjects, d.Week, d.Month)
		if d.Median != attack.Unknown {
			closely += fmt.Sprintf("; in the middle %d days remain", d.Median)
		}
		if d.Wrong > 0 {
			closely += fmt.Sprintf("; %d are dated wrongly", d.Wrong)
		}
		parts = append(parts, closely)
	}
	if a.Links {
		parts = append(parts, fmt.Sprintf("%d of %d subjects are linked to a person, and %d to a wrong one", a.Linked,
			a.Subjects, a.LinkWrong))
	}
	if len(a.Fields) > 0 {
		parts = append(parts, "used: "+strings.Join(a.Fields[:min(len(a.Fields), 8)], ", "))
	}
	if len(a.Assumes) > 0 {
		parts = append(parts, "takes for true: "+strings.Join(a.Assumes, ", "))
	}
	if slices.Contains(a.Assumes, attack.AssumesHolding) && e.hold.From == "assumed" {
		parts = append(parts, fmt.Sprintf("%d holding days are assumed, because the shipment does not carry them",
			e.hold.Days))
	}
	if a.Halved {
		parts = append(parts, "the two shipments are the earlier and the later sessions of this one")
	}
	if !a.Scored {
		parts = append(parts, "not scored, because the true visits are known at the site only: these are claims")
	}
	return strings.Join(parts, "; ")
}

// yearsBetween returns the age in whole years on a day.
func yearsBetween(born, on time.Time) int {
	n := on.Year() - born.Year()
	if on.Month() < born.Month() || on.Month() == born.Month() && on.Day() < born.Day() {
		n--
	}
	return n
}
