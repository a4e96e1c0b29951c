package attack

import (
	"cmp"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// recipes are the collections that the attacks are tried on: 600 sessions of 300 subjects
// with OUTBREATH_FULL=1, a fifth of that otherwise.
func recipes() []recipe {
	list := []recipe{
		{seed: 1, kits: "order", samplers: 1},
		{seed: 2, kits: "order", samplers: 3, change: true},
		{seed: 3, kits: "cartons", samplers: 3, change: true},
		{seed: 4, kits: "cartons", samplers: 1},
		{seed: 5, kits: "random", samplers: 1, change: true},
		{seed: 6, kits: "order", samplers: 1, weekends: true},
		{seed: 7, kits: "nearly", samplers: 1},
	}
	for i := range list {
		list[i].people, list[i].sessions = 60, 120
		if os.Getenv("OUTBREATH_FULL") == "1" {
			list[i].people, list[i].sessions = 300, 600
		}
	}
	return list
}

// TestFigureIsSuccess counts the success of every attack from its claims by other code,
// on every kind of collection and in every form, and compares it with the figures that
// Score reports. With -v it prints the table.
func TestFigureIsSuccess(t *testing.T) {
	for _, r := range recipes() {
		v := r.make(t)
		for _, f := range forms() {
			ship, truth := v.ship(t, f, false, "a")
			begin := time.Now()
			attacks := Run(ship, v.knowledge(false))
			line := fmt.Sprintf("%-60s %-18s", r, f.name)
			for _, a := range attacks {
				if a.NotRun != WasRun {
					t.Errorf("%s, %s: %s was not run: %s", r, f.name, a.Attacker, a.NotRun)
				}
				Score(a, truth)
				v.recount(t, fmt.Sprint(r, ", ", f.name, ", ", a.Attacker), a, truth)
				line += fmt.Sprintf(" | %s %d/%d/%d", a.Attacker, a.Dating.Exact, a.Dating.Month, a.Linked)
			}
			t.Log(line, time.Since(begin).Round(time.Millisecond))
		}
	}
}

// recount counts by the collection itself instead of the truth that was made for Score.
func (v *invented) recount(t *testing.T, what string, a *Attack, truth *Truth) {
	t.Helper()
	byName := map[string]inventedSession{}
	for _, s := range v.sessions {
		byName[s.name] = s
	}
	exact, sessions, linked, claims := 0, 0, 0, map[string]bool{}
	for _, c := range a.Claims {
		if claims[c.Subject] {
			t.Errorf("%s: two claims about one subject", what)
		}
		claims[c.Subject] = true
		right, width := true, 0
		for _, visit := range c.Visits {
			day := int(byName[visit.Session].start.Sub(time.Date(1970, 1, 1, 0, 0, 0, 0,
				byName[visit.Session].start.Location())).Hours()+1) / 24
			if int(visit.From) == day && int(visit.To) == day {
				sessions++
			}
			right = right && int(visit.From) <= day && day <= int(visit.To)
			width = max(width, int(visit.To-visit.From))
		}
		if right && width == 0 && len(c.Visits) > 0 {
			exact++
		}
		switch {
		case c.Alone:
			linked++
		case a.Attacker == TwoKeys:
			if c.Person == c.Subject {
				linked++
			}
		case c.Person != "" && truth.Person[c.Subject] == c.Person:
			linked++
		}
	}
	if len(claims) != 0 && a.Attacker != TwoKeys && len(claims) != len(truth.Person) {
		t.Errorf("%s: %d claims about %d subjects", what, len(claims), len(truth.Person))
	}
	if a.Dates && (exact != a.Dating.Exact || sessions != a.Dating.Sessions) || linked != a.Linked {
		t.Errorf("%s: counted %d exact, %d sessions, %d linked; reported %+v, %d", what, exact, sessions, linked,
			a.Dating,
			a.Linked)
	}
}

// run returns the scored attacks on one collection in one form.
func run(t *testing.T, r recipe, form string, batches bool) map[Attacker]*Attack {
	t.Helper()
	v := r.make(t)
	for _, f := range forms() {
		if f.name != form {
			continue
		}
		ship, truth := v.ship(t, f, batches, "a")
		by := map[Attacker]*Attack{}
		for _, a := range Run(ship, v.knowledge(batches)) {
			Score(a, truth)
			by[a.Attacker] = a
		}
		return by
	}
	t.Fatalf("no form %s", form)
	return nil
}

// Numbers in the order of the visits give the dates away, and random ones do not.
func TestOrderGivesDates(t *testing.T) {
	for _, c := range []struct {
		kits, form string
		who        Attacker
		least      int // sessions of 200 dated exactly
		most       int
	}{
		{"order", "former default", Data, 195, 200},
		{"order", "former default", Label, 195, 200},
		{"order", "shifted", Label, 195, 200}, // the barcodes are in order too
		{"order", "day", Label, 180, 200},
		{"order", "year-only", Label, 0, 0},
		{"nearly", "shifted", Label, 180, 200},
		{"cartons", "shifted", Label, 150, 200},
		{"random", "former default", Label, 0, 10},
		{"random", "shifted", Label, 0, 4},
		{"random", "shifted, no clock", Data, 0, 4},
		{"random", "day", Data, 0, 0},
		{"random", "limited", Data, 200, 200},
	} {
		a := run(t, recipe{seed: 11, people: 100, sessions: 200, kits: c.kits, samplers: 1}, c.form, false)[c.who]
		if n := a.Dating.Sessions; n < c.least || n > c.most || a.Dating.Wrong > 5 {
			t.Errorf("%s, %s, %s: %d sessions dated exactly, want %d to %d; %+v by %v", c.kits, c.form, c.who, n,
				c.least,
				c.most, a.Dating, a.Fields)
		}
	}
}

// Whoever cleaned the tubes knows the day: the time of cleaning leaves moved by the same
// days as the session, or with its distance to it.
func TestCleanedTubes(t *testing.T) {
	for _, form := range []string{"shifted", "shifted, no clock", "day", "year-only"} {
		by := run(t, recipe{seed: 12, people: 50, sessions: 100, kits: "random", samplers: 1}, form, true)
		a := by[Box]
		if a.Dating.Exact != 50 || !slices.Contains(a.Fields, UsesCleaned) {
			t.Errorf("%s: %+v by %v", form, a.Dating, a.Fields)
		}
		if l := by[Label]; form == "shifted" && (l.Dating.Exact < 40 || !slices.Contains(l.Assumes, AssumesBatch)) {
			t.Errorf("%s: batches dated %+v by %v, %v", form, l.Dating, l.Fields, l.Assumes)
		}
	}
}

// small makes a shipment of records as they are.
func small(t *testing.T, treatments string, records ...string) *Shipment {
	t.Helper()
	s := &Shipment{}
	for i, r := range records {
		if err := s.Add(fmt.Sprintf("sessions/%d.json", i), strings.NewReader(r)); err != nil {
			t.Fatal(err)
		}
	}
	for _, f := range strings.Fields(treatments) {
		path, treatment, _ := strings.Cut(f, "=")
		s.Fields = append(s.Fields, Field{path, treatment})
	}
	return s
}

func day(t *testing.T, s string) Day {
	t.Helper()
	d, err := time.Parse(time.DateOnly, s)
	if err != nil {
		t.Fatal(err)
	}
	return DayOf(d)
}

// A date that was left beside a moved one gives the shift away, wherever it is.
func TestUnmovedDates(t *testing.T) {
	edf := fmt.Sprintf("%-8s%-80s%-80s%-8s%-8s%-8s%-44s%-8s%-8s%-4s", "0", "X X X X", "Startdate X X X X", "10.03.26",
		"09.14.11", "256", "", "-1", "1", "0")
	for _, c := range []struct{ name, fields, file, data string }{
		{"opening of a tube", `"tubes":[{"uncapped_at":"2026-03-10T09:16:00"}]`, "", ""},
		{"end of the session", `"ended_at":"2026-03-10T09:20"`, "", ""},
		{"a note", `"notes":"moved to 10.03.2026"`, "", ""},
		{"EDF header", `"outcome":"complete"`, "recordings/A-1.edf", edf},
		{"EDF text", `"outcome":"complete"`, "recordings/A-1.edf",
			strings.Replace(strings.Replace(edf, "10.03.26", "01.01.85", 1), "Startdate X X X X", "on 10-MAR-2026 X ",
				1)},
		{"CSV time axis", `"outcome":"complete"`, "recordings/A-1.csv", "t_s,co2_kpa\n1773134051,0.1\n"},
	} {
		s := small(t, "/started_at=shift", `{"session_id":"A","subject":{"subject_id":"P"},`+
			`"started_at":"2025-08-01T09:14:11",`+c.fields+`}`)
		if c.file != "" {
			if err := s.Add(c.file, strings.NewReader(c.data)); err != nil {
				t.Fatal(err)
			}
		}
		a := Run(s, Knowledge{})[0]
		Score(a, &Truth{Days: map[string]Day{"A": day(t, "2026-03-10")}})
		if a.Dating.Exact != 1 || !a.Broken {
			t.Errorf("%s: %+v, broken %v, %+v", c.name, a.Dating, a.Broken, a.Claims)
		}
	}
}

// The forms of times, one by one.
func TestMoments(t *testing.T) {
	for text, want := range map[string]Moment{
		`"2026-03-02T09:14:11-05:00"`: {Day: 20514, Clock: 33251, Grain: 1, Offset: -300, HasDay: true, HasClock: true,
			HasOffset: true},
		`"2026-03-02T09:14:11.250Z"`: {Day: 20514, Clock: 33251, Grain: 1, HasDay: true, HasClock: true,
			HasOffset: true},
		`"2026-03-02T09:14:11"`:                 {Day: 20514, Clock: 33251, Grain: 1, HasDay: true, HasClock: true},
		`"2026-03-02T09"`:                       {Day: 20514, Clock: 32400, Grain: 3600, HasDay: true, HasClock: true},
		`"2026-03-02"`:                          {Day: 20514, HasDay: true},
		`{"date":"2026-03-02","elapsed_s":131}`: {Day: 20514, Elapsed: 131, HasDay: true, HasElapsed: true},
		`{"day":14,"elapsed_s":-86400}`:         {Count: 14, Elapsed: -86400, HasCount: true, HasElapsed: true},
		`{"year":2026,"elapsed_s":0}`:           {Year: 2026, HasYear: true, HasElapsed: true},
	} {
		s := small(t, "", `{"started_at":`+text+`}`)
		if got := s.Sessions[0].Start; got != want {
			t.Errorf("%s: %+v, want %+v", text, got, want)
		}
	}
	for _, text := range []string{`"2026-03-02T"`, `"2026-13-02"`, `"not a date"`, `{"date":"x","elapsed_s":1}`, `12`,
		`{}`} {
		if s := small(t, "", `{"started_at":`+text+`}`); len(s.Sessions[0].Times["/started_at"]) != 0 {
			t.Errorf("%s was read as a time", text)
		}
	}
}

// The days that remain are those of all solutions, tried one by one.
func TestCalendarByTrying(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(2, 5).Draw(r, "visits")
		groups := rapid.IntRange(1, min(3, n)).Draw(r, "groups")
		c := &calendar{of: make([][]int, groups)}
		const width = 7
		for range groups {
			sp := newSpan(Day(rapid.IntRange(0, 6).Draw(r, "from")), 100)
			sp.atMost(sp.from + width)
			closed := rapid.IntRange(0, 6).Draw(r, "closed")
			sp.keep(func(d Day) bool { return int(d)%7 != closed })
			c.groups = append(c.groups, sp)
		}
		for i := range n {
			g := i
			if i >= groups {
				g = rapid.IntRange(0, groups-1).Draw(r, "group")
			}
			x := &Session{StartClock: rapid.IntRange(0, 3).Draw(r, "clock") * 3600}
			c.of[g] = append(c.of[g], i)
			c.visits = append(c.visits, visit{Session: x, group: g, after: rapid.IntRange(0, 4).Draw(r,
				"after") * min(1, len(c.of[g])-1)})
		}
		var chain [][]int
		for _, v := range rapid.Permutation(seq(n)).Draw(r, "order") {
			chain = append(chain, []int{v})
		}
		hold := rapid.IntRange(0, 12).Draw(r, "hold")
		least, most := make([]Day, groups), make([]Day, groups)
		found := false
		at := make([]Day, groups)
		var try func(g int)
		try = func(g int) {
			if g < groups {
				for d := c.groups[g].min(); !c.groups[g].empty() && d <= c.groups[g].max(); d++ {
					if c.groups[g].has(d) {
						at[g] = d
						try(g + 1)
					}
				}
				return
			}
			on := func(v int) Day { return at[c.visits[v].group] + Day(c.visits[v].after) }
			for i := range n {
				for j := range n {
					if on(i)-on(j) > Day(hold) {
						return
					}
				}
				if i > 0 {
					a, b := chain[i-1][0], chain[i][0]
					if on(b) < on(a) || on(b) == on(a) && c.visits[b].StartClock < c.visits[a].StartClock {
						return
					}
				}
			}
			for g := range groups {
				if !found || at[g] < least[g] {
					least[g] = at[g]
				}
				if !found || at[g] > most[g] {
					most[g] = at[g]
				}
			}
			found = true
		}
		try(0)
		c.inOrder(chain, 0)
		c.within(hold)
		if c.feasible() && c.propagate() != found {
			r.Fatalf("a solution exists: %v", found)
		}
		for g := range groups {
			if found && (c.groups[g].min() != least[g] || c.groups[g].max() != most[g]) {
				r.Fatalf("group %d: %d to %d, want %d to %d", g, c.groups[g].min(), c.groups[g].max(), least[g],
					most[g])
			}
		}
	})
}

func seq(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// The optimal assignment, against all permutations.
func TestAssignByTrying(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n, m := rapid.IntRange(1, 5).Draw(r, "rows"), rapid.IntRange(1, 5).Draw(r, "columns")
		score := make([][]float32, n)
		for i := range score {
			for range m {
				score[i] = append(score[i], float32(rapid.IntRange(-4, 9).Draw(r, "score")))
			}
		}
		var best float32
		taken := make([]bool, m)
		var try func(i int, sum float32)
		try = func(i int, sum float32) {
			if best = max(best, sum); i == n {
				return
			}
			try(i+1, sum)
			for j := range m {
				if !taken[j] {
					taken[j] = true
					try(i+1, sum+score[i][j])
					taken[j] = false
				}
			}
		}
		try(0, 0)
		var sum float32
		seen := map[int]bool{}
		for i, j := range assign(score) {
			if j < 0 {
				continue
			}
			if seen[j] {
				r.Fatal("a column is given twice")
			}
			seen[j] = true
			sum += score[i][j]
		}
		if sum != best {
			r.Fatalf("sum %v, the best is %v", sum, best)
		}
	})
}

// Two real shipments under two keys, half a year apart, are joined by what the subjects are.
func TestTwoShipments(t *testing.T) {
	r := recipe{seed: 21, people: 120, sessions: 120, kits: "random", samplers: 2}
	v := r.make(t)
	first, truth := v.ship(t, forms()[1], false, "a")
	for i := range v.sessions { // they come again, in another order, with other kits
		v.sessions[i].name = fmt.Sprintf("again-%d", i*7919%1009)
	}
	slices.SortFunc(v.sessions, func(a, b inventedSession) int { return cmp.Compare(a.name, b.name) })
	second, later := v.ship(t, forms()[1], false, "b")
	code := map[string]string{}
	for who, id := range later.Person {
		code[id] = who
	}
	truth.Twin = map[string]string{}
	for who, id := range truth.Person {
		truth.Twin[who] = code[id]
	}
	k := v.knowledge(false)
	k.Second = second
	attacks := Run(first, k)
	a := attacks[len(attacks)-1]
	Score(a, truth)
	if a.Attacker != TwoKeys || a.Halved || a.Subjects != 120 || a.Linked < 110 || a.Linked+a.LinkWrong > 120 {
		t.Errorf("%d of %d joined, %d wrongly, by %v", a.Linked, a.Subjects, a.LinkWrong, a.Fields)
	}
}

// Linkage with the roster, counted by other code: whoever has one possible row only, and
// so on without those rows.
func TestRosterByTrying(t *testing.T) {
	for _, f := range forms() {
		v := recipe{seed: 31, people: 80, sessions: 120, kits: "random", samplers: 1}.make(t)
		ship, truth := v.ship(t, f, false, "a")
		k := v.knowledge(false)
		k.HoldingDays = 30
		attacks := Run(ship, k)
		a := attacks[slices.IndexFunc(attacks, func(a *Attack) bool { return a.Attacker == Roster })]
		Score(a, truth)
		claim := ship.ranges(Label)
		rows := map[string]map[string]bool{}
		for _, x := range ship.Sessions {
			possible := map[string]bool{}
			for _, p := range v.people {
				ok := x.Values["/subject/sex"][0] == p.sex &&
					strings.HasPrefix(p.postal, x.Values["/subject/postal_code"][0])
				if f.exact {
					ok = ok && x.Times["/subject/birth_date"][0].Day == DayOf(p.born)
				} else {
					age := false
					for d := claim[x.Name].From; d <= claim[x.Name].To; d++ {
						years := d.Time().Year() - p.born.Year()
						if d.Time().Before(p.born.AddDate(years, 0, 0)) {
							years--
						}
						text := fmt.Sprintf("%d-%d", years/5*5, years/5*5+4)
						if years >= 90 {
							text = "90+"
						}
						age = age || text == x.Values["/subject/birth_date"][0]
					}
					ok = ok && age
				}
				if ok {
					possible[p.id] = true
				}
			}
			if old := rows[x.Subject]; old != nil {
				for id := range old {
					if !possible[id] {
						delete(old, id)
					}
				}
			} else {
				rows[x.Subject] = possible
			}
		}
		linked := 0
		for again := true; again; {
			again = false
			for who, possible := range rows {
				if len(possible) != 1 {
					continue
				}
				for id := range possible {
					if id == truth.Person[who] {
						linked++
					}
					delete(rows, who)
					for _, other := range rows {
						delete(other, id)
					}
				}
				again = true
				break
			}
		}
		if linked != a.Linked || linked == 0 || f.exact && linked != 80 {
			t.Errorf("%s: %d linked, counted %d", f.name, a.Linked, linked)
		}
	}
}

// A list is a set of items: whoever shares all of them hides a subject, whatever else
// they have, and one rare item shows a subject.
func TestItemsOfLists(t *testing.T) {
	record := func(session, subject, drugs string) string {
		return fmt.Sprintf(`{"session_id":%q,"subject":{"subject_id":%q,"drugs":[%s]}}`, session, subject, drugs)
	}
	s := small(t, "/subject/drugs/*=keep", record("1", "A", `"x","y"`), record("2", "B", `"y","x","z"`),
		record("3", "C", `"x"`), record("4", "D", `"x","q"`))
	attacks := Run(s, Knowledge{})
	a := attacks[slices.IndexFunc(attacks, func(a *Attack) bool { return a.Attacker == Acquaintance })]
	Score(a, nil)
	alone := map[string]bool{}
	for _, c := range a.Claims {
		alone[c.Subject] = c.Alone
	}
	if a.Linked != 2 || !alone["B"] || !alone["D"] {
		t.Errorf("alone: %v", alone)
	}
}

// What is missing is named, and claims without a truth are not scored.
func TestNotRun(t *testing.T) {
	s := small(t, "/started_at=shift",
		`{"session_id":"A","subject":{"subject_id":"P"},"started_at":"2025-08-01T09:14:11"}`)
	want := map[Attacker]Reason{Label: NoLabel, Box: NoLabel, BookDays: NoBook, BookHours: NoBook, Roster: NoRoster,
		Acquaintance: NoOwnValues, Post: NoBook, TwoKeys: NoPairs, Data: WasRun}
	for _, a := range Run(s, Knowledge{}) {
		Score(a, nil)
		if a.NotRun != want[a.Attacker] || a.Scored {
			t.Errorf("%s: %q, scored %v", a.Attacker, a.NotRun, a.Scored)
		}
	}
	for _, a := range Run(&Shipment{}, Knowledge{Sealed: 20000, Weekends: true}) {
		if a.NotRun == WasRun {
			t.Errorf("%s was run on nothing", a.Attacker)
		}
	}
}

// handling.csv parts the sessions into older and newer ones.
func TestHandling(t *testing.T) {
	var records []string
	for i := range 4 {
		records = append(records, fmt.Sprintf(`{"session_id":"S%d","subject":{"subject_id":"P%d"},`+
			`"started_at":{"day":0,"elapsed_s":0},"tubes":[{"barcode":"T%d","storage":"refrigerated"}]}`, i, i, i))
	}
	s := small(t, "/started_at=day", records...)
	for name, data := range map[string]string{
		"handling.csv":   "barcode,analyse\nT0,first\nT1,usual\nT2,usual\nT3,usual\n",
		"treatment.json": `{"cautions":["tubes from sessions that ended more than 15 days before the newest session"]}`,
	} {
		if err := s.Add(name, strings.NewReader(data)); err != nil {
			t.Fatal(err)
		}
	}
	sealed := day(t, "2026-03-31")
	a := Run(s, Knowledge{Sealed: sealed})[1]
	for _, c := range a.Claims {
		v := c.Visits[0]
		if want := sealed - 15; c.Subject == "P0" && v.To != want || c.Subject != "P0" && v.To != sealed ||
			v.From < sealed-30 {
			t.Errorf("%s: from %v to %v", c.Subject, v.From.Time(), v.To.Time())
		}
	}
	if s.HoldingDays != 30 || !slices.Contains(a.Fields, UsesHandling) {
		t.Errorf("holding days %d, fields %v", s.HoldingDays, a.Fields)
	}
}

// The days on which clocks change in 2026.
//
// Source: the IANA time zone database, as Go reads it.
func TestClockChange(t *testing.T) {
	for name, standard := range map[string]int{"America/New_York": -300, "Europe/Berlin": 60, "Australia/Sydney": 600,
		"Pacific/Auckland": 720} {
		z, err := time.LoadLocation(name)
		if err != nil {
			t.Skip("no time zone data on this machine")
		}
		for d := day(t, "2024-01-01"); d < day(t, "2028-01-01"); d++ {
			noon := d.Time().Add(12 * time.Hour)
			local := time.Date(noon.Year(), noon.Month(), noon.Day(), 12, 0, 0, 0, z)
			_, offset := local.Zone()
			if summer, change := inSummer(d, standard); !change && summer != (offset/60 != standard) {
				t.Errorf("%s, %s: summer %v", name, noon.Format(time.DateOnly), summer)
			}
		}
	}
}

// Nothing that is added makes an attack fail in another way than with an error.
func FuzzShipment(f *testing.F) {
	f.Add(`{"session_id":"A","subject":{"subject_id":"P","sex":"male"},"started_at":"2025-08-01T09:14:11"}`,
		"barcode,session\nT1,A\n", "t_s,co2_kpa\n90000,1\n")
	f.Add(`{"started_at":{"year":2026,"elapsed_s":1e99},"tubes":[[]]}`, "barcode,analyse\n\"", strings.Repeat(" ", 300))
	f.Fuzz(func(t *testing.T, record, table, recording string) {
		s := &Shipment{}
		for i, file := range [][2]string{{"sessions/A.json", record}, {"sessions/B.json", record}, {"tubes.csv", table},
			{"handling.csv", table}, {"treatment.json", record}, {"recordings/summary.json", record},
			{"recordings/A-1.csv", recording}, {"recordings/A-1.edf", recording}} {
			if err := s.Add(file[0], strings.NewReader(file[1])); err != nil && i > 1 {
				t.Error(err)
			}
		}
		for _, a := range Run(s, Knowledge{Sealed: 20514, HoldingDays: 30, Weekends: true, Kits: map[string]string{},
			Book: map[string][]Appointment{"x": {{20500, 1}}}, Posts: []PublicPost{{Person: "x", Day: 20500}},
			Roster: []Person{{"x", map[string]string{"sex": "male"}}}}) {
			Score(a, &Truth{})
		}
	})
}

// BenchmarkRun is one run of all attackers on 600 sessions of 300 subjects.
func BenchmarkRun(b *testing.B) {
	v := recipe{seed: 1, people: 300, sessions: 600, kits: "cartons", samplers: 3, change: true}.make(b)
	k := v.knowledge(false)
	for b.Loop() {
		ship, _ := v.ship(b, forms()[0], false, "a")
		Run(ship, k)
	}
}
