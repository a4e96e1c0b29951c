package audit

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/schema"
)

// linkage looks up each subject in the roster by the quasi-identifiers that leave.
func (e *examiner) linkage() Attack {
	a := Attack{Name: "linkage with the roster", Unit: "subjects",
		Knows: "the roster: sex, birth date and postal code of everybody at the site"}
	if e.in.Roster == nil {
		a.Verdict, a.Detail, a.Lacks = NotRun, "there is no roster here", LacksRoster
		return a
	}
	var sex, age, region = -1, -1, -1
	for i, f := range e.table.Quasi {
		kind := f.treatment().Kind
		switch {
		case kind == schema.AgeBand:
			age = i
		case kind == schema.Region:
			region = i
		case strings.HasSuffix(f.Path, "/sex") && kind == schema.Keep:
			sex = i
		}
	}
	if sex < 0 && age < 0 && region < 0 {
		a.Verdict, a.Detail = NotRun, "none of the quasi-identifiers that leave is in the roster"
		return a
	}
	people := e.people()
	values := func(row Row, at int) []string {
		if at < 0 || row.Quasi[at] == "" {
			return nil
		}
		return strings.Split(row.Quasi[at], valueSep)
	}
	wrong := 0
	memo := map[string]fitting{}
	for _, row := range e.table.Rows {
		a.Tried++
		key := strings.Join(row.Quasi, "\x00")
		result, ok := memo[key]
		if !ok {
			sexes, bands, regions := values(row, sex), values(row, age), values(row, region)
			for p, list := range people {
				if p.fits(sexes, bands, regions) {
					result = append(result, list...)
				}
			}
			memo[key] = result
		}
		right := e.in.SubjectOf == nil || slices.Contains(result, identity(e.in.SubjectOf[row.Who]))
		if len(result) > 0 && right {
			a.Chance += 1 / float64(len(result))
		}
		if len(result) != 1 {
			continue
		}
		if !right {
			wrong++
			continue
		}
		a.Succeeded++
	}
	a.Verdict = grade(a.Succeeded)
	how := "only one person of the roster fits"
	if e.in.SubjectOf != nil {
		how += ", and it is the right one"
	}
	a.Detail = fmt.Sprintf("success means that %s; %d subjects were mistaken for another. Guessing among all who fit "+
		"would name %.1f subjects rightly, the sole fits included. The recipient does not have the roster: this is "+
		"the worst case, not the likely one", how, wrong, a.Chance)
	a.Chance = math.Round(a.Chance*100) / 100
	return a
}

// fitting are the identities of the people of the roster that a subject's values fit.
type fitting []string

// A person is a row of the roster, reduced to what linkage uses: sex in lower case,
// postal code in capitals without separators, and age in whole years at the sealing
// date, -1 if unknown.
type person struct {
	sex, postal string
	age         int
}

// people returns the identities of the rows of the roster that reduce to each person.
func (e *examiner) people() map[person]fitting {
	who := map[person]fitting{}
	for _, row := range e.in.Roster.Rows {
		p := person{strings.ToLower(row["sex"]), strings.ToUpper(squeeze(row["postal_code"])), -1}
		if born, err := time.Parse(time.DateOnly, row["birth_date"]); err == nil && !e.in.Sealed.IsZero() {
			p.age = yearsBetween(born, e.in.Sealed)
		}
		who[p] = append(who[p], identity(row["subject_id"]))
	}
	return who
}

// fits reports whether p may be the subject with these values; nil for a field that
// does not leave.
func (p person) fits(sexes, bands, regions []string) bool {
	return (sexes == nil || p.sex == "" || slices.Contains(sexes, p.sex)) &&
		(bands == nil || p.age < 0 || inBands(bands, p.age)) &&
		(regions == nil || p.postal == "" || inRegions(regions, p.postal))
}

func yearsBetween(born, on time.Time) int {
	n := on.Year() - born.Year()
	if on.Month() < born.Month() || on.Month() == born.Month() && on.Day() < born.Day() {
		n--
	}
	return n
}

func inBands(bands []string, age int) bool {
	return slices.ContainsFunc(bands, func(b string) bool { return inBand(b, age) })
}

func inRegions(regions []string, postal string) bool {
	return slices.ContainsFunc(regions, func(r string) bool {
		return strings.HasPrefix(postal, r) || r == "000" && len(postal) >= 3 && slices.Contains(fewPeople, postal[:3])
	})
}

// inBand reports whether age, or the year before it, is in band: the age is that at the
// sealing date, and the session may have been before the birthday.
func inBand(band string, age int) bool {
	if low, open := strings.CutSuffix(band, "+"); open {
		n, err := strconv.Atoi(low)
		return err == nil && age >= n
	}
	low, high, ok := strings.Cut(band, "-")
	l, err1 := strconv.Atoi(low)
	h, err2 := strconv.Atoi(high)
	return ok && err1 == nil && err2 == nil && (l <= age && age <= h || l <= age-1 && age-1 <= h)
}

// maxQueries is how many sessions fingerprint looks up; its time grows with the square.
const maxQueries = 2000

// fingerprint tests, for each session of a subject with several sessions, whether the
// session most similar to it is the same subject's. Somebody could do this with two
// shipments between which the key was changed.
func (e *examiner) fingerprint() Attack {
	a := Attack{Name: "recordings across a changed key", Unit: "sessions of subjects with two or more",
		Knows: "two shipments of the same site with different pseudonyms: start time, length and figures of the " +
			"recordings, and serial numbers"}
	type session struct {
		who     string
		serial  string
		numbers [5]float64
	}
	figures := map[string]*Trace{}
	for _, t := range e.o.Recordings {
		if m := nameForm.FindStringSubmatch(t.Name); m != nil && t.Figures != nil && figures[m[1]] == nil {
			figures[m[1]] = t
		}
	}
	var list []session
	count := map[string]int{}
	for _, r := range e.o.Records {
		t := figures[r.Session]
		if t == nil {
			continue
		}
		f := t.Figures
		list = append(list, session{r.Subject, r.Get("/sampler/serial"),
			[5]float64{f.Seconds, f.PerMinute, f.EndTidal, f.OffShare,
				float64(r.Started.Hour()*60 + r.Started.Minute())}})
		count[r.Subject]++
	}
	var scale [5]float64
	for k := range scale {
		mean, square := 0.0, 0.0
		for _, s := range list {
			mean += s.numbers[k] / float64(len(list))
		}
		for _, s := range list {
			square += (s.numbers[k] - mean) * (s.numbers[k] - mean) / float64(len(list))
		}
		scale[k] = max(math.Sqrt(square), 1e-9)
	}
	for i, s := range list {
		if count[s.who] < 2 || a.Tried == maxQueries {
			continue
		}
		best, nearest := math.Inf(1), ""
		for j, other := range list {
			if i == j {
				continue
			}
			d := 0.0
			if s.serial != other.serial {
				d = 1
			}
			for k := range scale {
				x := (s.numbers[k] - other.numbers[k]) / scale[k]
				d += x * x
			}
			if d < best {
				best, nearest = d, other.who
			}
		}
		a.Tried++
		a.Chance += float64(count[s.who]-1) / float64(len(list)-1)
		if nearest == s.who {
			a.Succeeded++
		}
	}
	if a.Tried == 0 {
		a.Verdict, a.Detail = NotRun, "no subject has two sessions with figures of a recording"
		return a
	}
	a.Verdict = Holds
	if float64(a.Succeeded) > a.Chance+2*math.Sqrt(a.Chance)+0.5 {
		a.Verdict = Residual
	}
	a.Detail = fmt.Sprintf("guessing would succeed %.1f times. This test uses five figures and a serial number; "+
		"nobody has shown that the whole curve cannot single a person out", a.Chance)
	a.Chance = math.Round(a.Chance*100) / 100
	return a
}
