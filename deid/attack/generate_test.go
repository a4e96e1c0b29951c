package attack

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"
)

// An invented collection: who came when, with what kit. Nothing here uses the code that
// treats: the forms in which values leave are made by hand, as the contract has them.
type invented struct {
	sealed   Day
	sessions []inventedSession
	people   []inventedPerson
	weekends bool // closed on weekends
}

type inventedPerson struct {
	id, sex, postal, smoking string
	born                     time.Time
	height, weight           int
	rate, endTidal           float64
	shift                    int
}

type inventedSession struct {
	name    string
	person  int
	start   time.Time
	sampler int
	kit     int
	cleaned time.Time
}

// How a collection is made.
type recipe struct {
	seed     uint64
	people   int
	sessions int
	kits     string // "order", "nearly", "cartons", "random"
	samplers int
	change   bool // the clocks change within the collection
	weekends bool // the site works on weekends too
}

func (r recipe) String() string {
	return fmt.Sprintf("%s, %d samplers, change %v, open on weekends %v", r.kits, r.samplers, r.change, r.weekends)
}

// zone changes its clocks on the second Sunday of March and the first of November.
func zone(t testing.TB) *time.Location {
	t.Helper()
	z, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Skip("no time zone data on this machine")
	}
	return z
}

func (r recipe) make(t testing.TB) *invented {
	t.Helper()
	random := rand.New(rand.NewPCG(r.seed, 7))
	first := time.Date(2026, 1, 12, 0, 0, 0, 0, zone(t))
	if r.change {
		first = time.Date(2026, 2, 23, 0, 0, 0, 0, zone(t))
	}
	v := &invented{weekends: !r.weekends}
	for i := range r.people {
		v.people = append(v.people, inventedPerson{
			id: fmt.Sprintf("lark2weir%04d", i+1), sex: []string{"female", "male"}[random.IntN(2)],
			postal: fmt.Sprintf("98%d%02d", random.IntN(8), random.IntN(30)), smoking: []string{"never", "never",
				"former", "current"}[random.IntN(4)],
			born:   time.Date(1935+random.IntN(70), 1, 1+random.IntN(365), 0, 0, 0, 0, time.UTC),
			height: 150 + random.IntN(45), weight: 48 + random.IntN(60), rate: 10 + 8*random.Float64(),
			endTidal: 4.6 + 1.2*random.Float64(), shift: 1 + random.IntN(364),
		})
	}
	var days []time.Time
	for d := first; len(days) < 30; d = d.AddDate(0, 0, 1) {
		if w := d.Weekday(); !r.weekends && (w == time.Saturday || w == time.Sunday) {
			if d.Sub(first) > 29*24*time.Hour {
				break
			}
			continue
		}
		if d.Sub(first) > 29*24*time.Hour {
			break
		}
		days = append(days, d)
	}
	v.sealed = DayOf(days[len(days)-1]) + 1
	perDay := (r.sessions + len(days) - 1) / len(days)
	// Everybody comes once, then again in turn, never twice on a day.
	order := random.Perm(r.people)
	for len(order) < r.sessions {
		order = append(order, random.Perm(r.people)...)
	}
	for i := range r.sessions {
		day, turn := i/perDay, i%perDay
		length := 9 * 60 * 60 / perDay
		at, batch := days[day], days[day/4*4]
		start := time.Date(at.Year(), at.Month(), at.Day(), 8, 0, turn*length+random.IntN(max(1, length/2)), 0,
			at.Location())
		v.sessions = append(v.sessions, inventedSession{person: order[i], start: start, sampler: i % r.samplers,
			cleaned: batch.AddDate(0, 0, -3).Add(14*time.Hour + time.Duration(3*(day/4))*time.Minute)})
	}
	v.number(r, random)
	for i := range v.sessions {
		sum := sha256.Sum256(fmt.Append(nil, r.seed, "session", i))
		v.sessions[i].name = code(sum)
	}
	return v
}

// number gives out the kits.
func (v *invented) number(r recipe, random *rand.Rand) {
	const carton = 10
	cartons := random.Perm(len(v.sessions)/carton + r.samplers + 1)
	next := make([]int, r.samplers) // kit of each sampler's open carton
	left := make([]int, r.samplers)
	all := random.Perm(len(v.sessions))
	for i := range v.sessions {
		s := v.sessions[i].sampler
		switch r.kits {
		case "order":
			v.sessions[i].kit = i
		case "nearly": // one in thirty was put aside and used up to sixty visits later
			v.sessions[i].kit = i
			if back := random.IntN(60); random.IntN(30) == 0 && i > back {
				v.sessions[i].kit, v.sessions[i-back].kit = v.sessions[i-back].kit, v.sessions[i].kit
			}
		case "random":
			v.sessions[i].kit = all[i]
		case "cartons":
			if left[s] == 0 {
				next[s], cartons = cartons[0]*carton, cartons[1:]
				left[s] = carton
			}
			v.sessions[i].kit = next[s]
			next[s]++
			left[s]--
		}
	}
}

func code(sum [32]byte) string {
	const letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	var b strings.Builder
	for i := range 17 {
		if i > 0 && i%4 == 0 {
			b.WriteByte('-')
		}
		b.WriteByte(letters[sum[i]&31])
	}
	return b.String()
}

// A form is how values leave.
type form struct {
	name     string
	treats   []Field
	time     func(v *invented, s inventedSession, at time.Time) any
	kit      func(n int) string
	birth    func(p inventedPerson, s inventedSession) string
	postal   int // characters of the postal code
	exact    bool
	noSerial bool
}

func shifted(v *invented, s inventedSession, at time.Time) time.Time {
	return at.AddDate(0, 0, -v.people[s.person].shift)
}

func band(p inventedPerson, s inventedSession) string {
	age := ageOn(p.born, DayOf(s.start))
	if age >= 90 {
		return "90+"
	}
	return fmt.Sprintf("%d-%d", age/5*5, age/5*5+4)
}

func keptKit(n int) string { return fmt.Sprintf("K-%04d", n+1) }
func codedKit(n int) string {
	return code(sha256.Sum256(fmt.Append(nil, "kit", n)))
}

func (f form) fields() []Field {
	base := []Field{{"/session_id", "pseudonym session"}, {"/study", "keep"}, {"/site", "keep"},
		{"/subject/subject_id", "pseudonym subject"}, {"/subject/sex", "keep"}, {"/subject/birth_date", "age-band 5"},
		{"/subject/postal_code", "region"}, {"/subject/smoking_status", "keep"},
		{"/subject/height_cm", "round 5, 140 to 200"}, {"/subject/weight_kg", "round 5, 40 to 150"},
		{"/started_at", "shift"}, {"/ended_at", "shift"}, {"/kit/lot", "keep"}, {"/kit/unit", "pseudonym kit"},
		{"/sampler/serial", "keep"}, {"/tubes/*/barcode", "keep"}, {"/tubes/*/uncapped_at", "shift"},
		{"/tubes/*/conditioned_at", "shift"}, {"/tubes/*/storage", "keep"}}
	for _, c := range f.treats {
		for i := range base {
			if base[i].Path == c.Path {
				base[i] = c
			}
		}
	}
	return base
}

func local(v *invented, s inventedSession, at time.Time) any {
	return shifted(v, s, at).Format("2006-01-02T15:04:05")
}

func allTimes(treatment string) []Field {
	return []Field{{"/started_at", treatment}, {"/ended_at", treatment}, {"/tubes/*/uncapped_at", treatment},
		{"/tubes/*/conditioned_at", treatment}}
}

func elapsed(s inventedSession, at time.Time) int { return int(at.Sub(s.start).Seconds()) }

// firstOf returns the start of the subject's first session.
func firstOf(v *invented, person int) time.Time {
	for _, s := range v.sessions {
		if s.person == person {
			return s.start
		}
	}
	panic("no session")
}

// The forms of the built-in plans, the former default, and the other options.
func forms() []form {
	return []form{
		{name: "former default", kit: keptKit, birth: band, postal: 3, treats: []Field{{"/kit/unit", "keep"}},
			time: func(v *invented, s inventedSession, at time.Time) any { // the civil date moves, the offset stays
				d := shifted(v, s, at)
				return d.Format("2006-01-02") + at.Format("T15:04:05-07:00")
			}},
		{name: "shifted", kit: codedKit, birth: band, postal: 3, time: local},
		{name: "shifted, hour", kit: codedKit, birth: band, postal: 3, treats: allTimes("shift, hour"),
			time: func(v *invented, s inventedSession, at time.Time) any {
				return shifted(v, s, at).Format("2006-01-02T15")
			}},
		{name: "shifted, no clock", kit: codedKit, birth: band, postal: 3, treats: allTimes("shift, no clock"),
			time: func(v *invented, s inventedSession, at time.Time) any {
				return map[string]any{"date": shifted(v, s, s.start).Format(time.DateOnly), "elapsed_s": elapsed(s, at)}
			}},
		{name: "day", kit: codedKit, birth: band, postal: 3, treats: allTimes("day"),
			time: func(v *invented, s inventedSession, at time.Time) any {
				n := int(DayOf(s.start) - DayOf(firstOf(v, s.person)))
				return map[string]any{"day": n, "elapsed_s": elapsed(s, at)}
			}},
		{name: "year-only", kit: codedKit, birth: band, postal: 3, treats: allTimes("year"), noSerial: true,
			time: func(v *invented, s inventedSession, at time.Time) any {
				return map[string]any{"year": at.Year(), "elapsed_s": elapsed(s, at)}
			}},
		{name: "limited", kit: keptKit, postal: 5, exact: true, treats: append(allTimes("keep"),
			Field{"/subject/birth_date", "keep"}, Field{"/subject/postal_code", "keep"}, Field{"/subject/height_cm",
				"keep"},
			Field{"/subject/weight_kg", "keep"}, Field{"/kit/unit", "keep"}),
			birth: func(p inventedPerson, s inventedSession) string { return p.born.Format(time.DateOnly) },
			time:  func(v *invented, s inventedSession, at time.Time) any { return at.Format(time.RFC3339) }},
	}
}

// ship makes what leaves: records, tubes.csv, the summary of the recordings.
func (v *invented) ship(t testing.TB, f form, batches bool, key string) (*Shipment, *Truth) {
	t.Helper()
	truth := &Truth{Days: map[string]Day{}, Person: map[string]string{}}
	ship := &Shipment{}
	docs := map[string]map[string]any{}
	var tubes [][2]string
	var figures []map[string]any
	for i, s := range v.sessions {
		p := v.people[s.person]
		who := code(sha256.Sum256([]byte(key + p.id)))
		truth.Days[s.name], truth.Person[who] = DayOf(s.start), p.id
		height, weight := (p.height+2)/5*5, (p.weight+2)/5*5
		if f.exact {
			height, weight = p.height, p.weight
		}
		tube := map[string]any{"barcode": fmt.Sprintf("LK07-%04d-A", s.kit+1), "storage": "refrigerated",
			"uncapped_at": f.time(v, s, s.start.Add(80*time.Second))}
		if batches {
			tube["conditioned_at"] = f.time(v, s, s.cleaned)
		}
		doc := map[string]any{"session_id": s.name, "study": "LARK-2", "site": "WEIR", "subject": map[string]any{
			"subject_id": who, "birth_date": f.birth(p, s), "sex": p.sex, "postal_code": p.postal[:f.postal],
			"smoking_status": p.smoking, "height_cm": height, "weight_kg": weight},
			"started_at": f.time(v, s, s.start), "ended_at": f.time(v, s, s.start.Add(8*time.Minute)),
			"kit": map[string]any{"lot": "L2611", "unit": f.kit(s.kit)}, "tubes": []any{tube}}
		if !f.noSerial {
			doc["sampler"] = map[string]any{"serial": fmt.Sprintf("SMP-2%02d", s.sampler)}
		}
		docs[s.name] = doc
		tubes = append(tubes, [2]string{tube["barcode"].(string), s.name})
		random := rand.New(rand.NewPCG(uint64(i), 3))
		figures = append(figures, map[string]any{"session": s.name, "per_minute": p.rate + random.NormFloat64(),
			"end_tidal_kpa": p.endTidal + 0.15*random.NormFloat64()})
	}
	names := make([]string, 0, len(docs))
	for name := range docs {
		names = append(names, name)
	}
	sort.Strings(names)
	add := func(name string, doc any) {
		data, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		if err := ship.Add(name, bytes.NewReader(data)); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range names {
		add("sessions/"+name+".json", docs[name])
	}
	add("recordings/summary.json", map[string]any{"recordings": figures})
	add("treatment.json", map[string]any{"fields": f.fields(), "cautions": []string{
		"handling.csv shows which tubes are from sessions that ended more than 15 days before the newest session"}})
	slices.SortFunc(tubes, func(a, b [2]string) int { return strings.Compare(a[0], b[0]) })
	var table strings.Builder
	table.WriteString("barcode,session\n")
	for _, row := range tubes {
		table.WriteString(row[0] + "," + row[1] + "\n")
	}
	if err := ship.Add("tubes.csv", strings.NewReader(table.String())); err != nil {
		t.Fatal(err)
	}
	return ship, truth
}

// knowledge returns what the attackers hold besides.
func (v *invented) knowledge(batches bool) Knowledge {
	k := Knowledge{Sealed: v.sealed, Weekends: v.weekends, Kits: map[string]string{}, Cleaned: map[string]Clean{},
		Book: map[string][]Appointment{}}
	posted := map[int]bool{}
	seconds := func(t time.Time) int { return t.Hour()*3600 + t.Minute()*60 + t.Second() }
	for _, s := range v.sessions {
		p := v.people[s.person]
		barcode := fmt.Sprintf("LK07-%04d-A", s.kit+1)
		k.Kits[barcode] = keptKit(s.kit)
		if batches {
			k.Cleaned[barcode] = Clean{DayOf(s.cleaned), seconds(s.cleaned)}
		}
		k.Book[p.id] = append(k.Book[p.id], Appointment{DayOf(s.start), seconds(s.start)})
		if !posted[s.person] {
			posted[s.person] = true
			k.Posts = append(k.Posts, PublicPost{p.id, DayOf(s.start), s.start.Hour(), p.sex,
				ageOn(p.born, DayOf(s.start)) / 10 * 10})
		}
	}
	for _, p := range v.people {
		k.Roster = append(k.Roster, Person{p.id, map[string]string{"sex": p.sex, "postal_code": p.postal,
			"birth_date": p.born.Format(time.DateOnly)}})
	}
	return k
}
