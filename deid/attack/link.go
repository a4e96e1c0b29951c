package attack

import (
	"math"
	"math/bits"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// A bitset holds small numbers.
type bitset []uint64

func newBitset(n int) bitset { return make(bitset, (n+63)/64) }

func (b bitset) set(i int)      { b[i/64] |= 1 << (i % 64) }
func (b bitset) clear(i int)    { b[i/64] &^= 1 << (i % 64) }
func (b bitset) has(i int) bool { return b[i/64]&(1<<(i%64)) != 0 }

func (b bitset) count() (n int) {
	for _, w := range b {
		n += bits.OnesCount64(w)
	}
	return n
}

// first returns the least number in b, -1 for none.
func (b bitset) first() int {
	for i, w := range b {
		if w != 0 {
			return 64*i + bits.TrailingZeros64(w)
		}
	}
	return -1
}

func (b bitset) and(c bitset) {
	for i := range b {
		b[i] &= c[i]
	}
}

// resolve returns who each subject must be, -1 if several people fit: whoever only one
// subject can be, and so on with those taken away. fits has the people of each subject.
func resolve(fits []bitset) []int {
	is := make([]int, len(fits))
	var ready []int
	for i, f := range fits {
		if is[i] = -1; f.count() == 1 {
			ready = append(ready, i)
		}
	}
	for len(ready) > 0 {
		i := ready[0]
		ready = ready[1:]
		p := fits[i].first()
		if p < 0 || is[i] >= 0 {
			continue
		}
		is[i] = p
		for j, f := range fits {
			if j != i && is[j] < 0 && f.has(p) {
				f.clear(p)
				if f.count() == 1 {
					ready = append(ready, j)
				}
			}
		}
	}
	return is
}

// fitting returns, for each subject, which of the n people fit.
func fitting(subjects []string, n int, fits func(subject string, person int) bool) []bitset {
	list := make([]bitset, len(subjects))
	for i, s := range subjects {
		list[i] = newBitset(n)
		for p := range n {
			if fits(s, p) {
				list[i].set(p)
			}
		}
	}
	return list
}

// guessed returns how many subjects guessing among all who fit would name.
func guessed(fits []bitset) (n float64) {
	for _, f := range fits {
		if c := f.count(); c > 0 {
			n += 1 / float64(c)
		}
	}
	return math.Round(n*100) / 100
}

// roster looks up each subject in the roster by every field that leaves and is a column
// there. The age is that on any day on which the session may have been.
func (s *Shipment) roster(k Knowledge) *Attack {
	a := &Attack{Attacker: Roster, Links: true}
	names, of := s.subjects()
	var columns []string // paths
	for path := range s.places() {
		column := path[strings.LastIndexByte(path, '/')+1:]
		known := slices.ContainsFunc(k.Roster, func(p Person) bool { return p.Values[column] != "" })
		if known && s.compared(path) {
			columns = append(columns, path)
		}
	}
	slices.Sort(columns)
	switch {
	case len(names) == 0:
		a.NotRun = NoSessions
	case len(k.Roster) == 0:
		a.NotRun = NoRoster
	case len(columns) == 0:
		a.NotRun = NoFields
	case len(names) > mostSubjects || len(k.Roster) > 4*mostSubjects:
		a.NotRun = TooMany
	}
	if a.NotRun != WasRun {
		return a
	}
	when := s.ranges(Label, Data)
	a.Fields, a.Subjects, a.Sessions = columns, len(names), len(s.Sessions)
	fits := fitting(names, len(k.Roster), func(name string, p int) bool {
		return !slices.ContainsFunc(of[name], func(x *Session) bool {
			return !s.fitsPerson(x, columns, k.Roster[p], when[x.Name])
		})
	})
	a.Guess = guessed(fits)
	is := resolve(fits)
	for i, name := range names {
		c := Claim{Subject: name, Within: Unknown}
		if is[i] >= 0 {
			c.Person = k.Roster[is[i]].ID
		}
		a.Claims = append(a.Claims, c)
	}
	return a
}

// places returns every path at which something leaves.
func (s *Shipment) places() map[string]bool {
	set := map[string]bool{}
	for _, x := range s.Sessions {
		for path := range x.Values {
			set[path] = true
		}
		for path := range x.Times {
			set[path] = true
		}
	}
	return set
}

// compared reports whether values at path can be compared with a list.
func (s *Shipment) compared(path string) bool {
	switch s.treatmentOf(path) {
	case "pseudonym", "drop", "text", "recording", "shift":
		return false
	}
	return strings.HasPrefix(path, "/")
}

// ranges returns the days that remain for each session, of the first attack that ran.
func (s *Shipment) ranges(of ...Attacker) map[string]VisitClaim {
	list := map[string]VisitClaim{}
	for _, who := range of {
		if c := s.solved[who]; c != nil {
			for i, v := range c.visits {
				list[v.Name] = VisitClaim{v.Name, c.min(i), c.max(i)}
			}
			break
		}
	}
	return list
}

func (s *Shipment) fitsPerson(x *Session, columns []string, p Person, when VisitClaim) bool {
	for _, path := range columns {
		theirs := p.Values[path[strings.LastIndexByte(path, '/')+1:]]
		if theirs == "" {
			continue
		}
		treatment := s.treatment(path)
		for _, v := range x.Values[path] {
			if !fitsValue(treatment, v, theirs, when) {
				return false
			}
		}
		for _, m := range x.Times[path] {
			d, err := time.Parse(time.DateOnly, theirs)
			if err == nil && (m.HasDay && m.Day != DayOf(d) || m.HasYear && m.Year != d.Year()) {
				return false
			}
		}
	}
	return true
}

// fitsValue reports whether a value that leaves may be made from theirs.
func fitsValue(treatment, v, theirs string, when VisitClaim) bool {
	kind, rest, _ := strings.Cut(treatment, " ")
	switch kind {
	case "age-band":
		born, err := time.Parse(time.DateOnly, theirs)
		low, high, ok := bandOf(v)
		if err != nil || !ok || when.To == 0 {
			return true
		}
		return ageOn(born, when.To) >= low && ageOn(born, when.From) <= high
	case "year":
		return len(theirs) < 4 || v == theirs[:4]
	case "region":
		return strings.Trim(v, "0") == "" || strings.HasPrefix(bare(theirs), bare(v))
	case "round":
		x, err1 := strconv.ParseFloat(v, 64)
		y, err2 := strconv.ParseFloat(theirs, 64)
		first, ends, _ := strings.Cut(rest, ", ")
		width, err3 := strconv.ParseFloat(first, 64)
		from, to, coded := strings.Cut(ends, " to ")
		return err1 != nil || err2 != nil || err3 != nil || math.Abs(x-y) <= width/2 ||
			coded && (v == from && y < x || v == to && y > x)
	}
	return bare(v) == bare(theirs)
}

// bandOf reads "45-49" and "90+".
func bandOf(s string) (low, high int, ok bool) {
	if l, open := strings.CutSuffix(s, "+"); open {
		n, err := strconv.Atoi(l)
		return n, math.MaxInt, err == nil
	}
	l, h, _ := strings.Cut(s, "-")
	low, err1 := strconv.Atoi(l)
	high, err2 := strconv.Atoi(h)
	return low, high, err1 == nil && err2 == nil
}

func ageOn(born time.Time, d Day) int {
	on := d.Time()
	n := on.Year() - born.Year()
	if on.Month() < born.Month() || on.Month() == born.Month() && on.Day() < born.Day() {
		n--
	}
	return n
}

// bare removes everything but letters and digits, and the case.
func bare(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
}

// acquaintance takes a person who knows all values of a subject that are not codes, and
// counts the subjects whom no other subject resembles in all of them. A list counts as
// its items: somebody else has all of them, or the subject is alone.
func (s *Shipment) acquaintance() *Attack {
	a := &Attack{Attacker: Acquaintance, Links: true}
	names, of := s.subjects()
	fields := s.ownFields()
	switch {
	case len(names) == 0:
		a.NotRun = NoSessions
	case len(fields) == 0:
		a.NotRun = NoOwnValues
	case len(names) > mostSubjects:
		a.NotRun = TooMany
	}
	if a.NotRun != WasRun {
		return a
	}
	type fact struct{ path, value string }
	who := map[fact]bitset{}
	facts := make([][]fact, len(names))
	for i, name := range names {
		seen := map[fact]bool{}
		for _, x := range of[name] {
			for _, path := range fields {
				for _, v := range x.Values[path] {
					seen[fact{path, v}] = true
				}
			}
		}
		for f := range seen {
			if who[f] == nil {
				who[f] = newBitset(len(names))
			}
			who[f].set(i)
			facts[i] = append(facts[i], f)
		}
	}
	decisive := map[string]int{}
	for i, name := range names {
		slices.SortFunc(facts[i], func(f, g fact) int { // the rarest first
			if n := who[f].count() - who[g].count(); n != 0 {
				return n
			}
			return strings.Compare(f.path+f.value, g.path+g.value)
		})
		others := newBitset(len(names))
		for j := range names {
			others.set(j)
		}
		c := Claim{Subject: name, Within: Unknown}
		var took []string
		for _, f := range facts[i] {
			before := others.count()
			if before == 1 {
				break
			}
			if others.and(who[f]); others.count() < before {
				took = append(took, f.path)
			}
		}
		if others.count() == 1 {
			c.Alone = true
			for _, path := range slices.Compact(took) {
				decisive[path]++
			}
		}
		a.Claims = append(a.Claims, c)
	}
	a.Subjects, a.Sessions = len(names), len(s.Sessions)
	for path := range decisive {
		a.Fields = append(a.Fields, path)
	}
	slices.SortFunc(a.Fields, func(x, y string) int {
		if n := decisive[y] - decisive[x]; n != 0 {
			return n
		}
		return strings.Compare(x, y)
	})
	return a
}

// ownFields returns the paths whose values say something of a subject: those of the
// subject, and any other whose values recur. Codes, texts and times are not among them.
func (s *Shipment) ownFields() []string {
	distinct := map[string]map[string]bool{}
	for _, x := range s.Sessions {
		for path, list := range x.Values {
			if !strings.HasPrefix(path, "/") || !s.compared(path) || path == "/study" || path == "/site" {
				continue
			}
			if distinct[path] == nil {
				distinct[path] = map[string]bool{}
			}
			for _, v := range list {
				distinct[path][v] = true
			}
		}
	}
	var list []string
	for path, values := range distinct {
		own := strings.HasPrefix(path, "/subject/") && path != "/subject/subject_id"
		if len(values) > 1 && (own || 2*len(values) <= len(s.Sessions)) {
			list = append(list, path)
		}
	}
	slices.Sort(list)
	return list
}
