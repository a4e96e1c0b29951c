package leak_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"outbreath/deid/leak"
	"outbreath/schema"
)

// rosterOf gives people the columns of a site's roster.
func rosterOf(people []person) *schema.Roster {
	r := &schema.Roster{Columns: []string{"subject_id", "given_name", "family_name", "birth_date", "mrn", "phone",
		"email", "street", "city", "postal_code"}}
	for _, p := range people {
		r.Rows = append(r.Rows, map[string]string{"subject_id": p.id, "given_name": p.given, "family_name": p.family,
			"birth_date": p.born.Format(time.DateOnly),
			"mrn":        p.record, "phone": p.phone, "email": p.email, "street": p.street, "city": p.city,
			"postal_code": p.postal})
	}
	return r
}

type tally struct{ hit, whole, all int }

func (c tally) rate() float64 { return 100 * float64(c.hit) / float64(max(1, c.all)) }

// A score is what the search found of one half: of the labels that the roster knows, of those that
// none knows, by class and by variant.
type score struct {
	known, unknown tally
	by             map[string]*tally
	clean, alarms  int
	bytes          int
	took           time.Duration
}

func (s score) falseRate() float64 { return 1000 * float64(s.alarms) / float64(s.clean) }

// measure scans a half. A label is found where a match touches it; whole where matches cover each
// of its letters and digits. show gets what was missed.
func measure(h half, show func(format string, args ...any)) score {
	r := rand.New(rand.NewPCG(h.seed, 7))
	people := roster(r, h.locales, 320)
	var notes []note
	for _, p := range people {
		notes = append(notes, h.known(r, p)...)
	}
	notes = append(notes, h.unknown(r, 40)...)
	notes = append(notes, h.harmless(r, 1600)...)
	declared := slices.Concat(tubes, lots, serials, []string{"LARK-2", "LEE-01", "LEE-02", "LEE-03"})

	scanner := leak.New(rosterOf(people))
	s := score{by: map[string]*tally{}}
	start := time.Now()
	found := make([][]leak.Match, len(notes))
	for i, n := range notes {
		found[i] = scanner.Scan(n.text, leak.Declare(declared...))
		s.bytes += len(n.text)
	}
	s.took = time.Since(start)
	for i, n := range notes {
		if len(n.labels) == 0 {
			s.clean++
			s.alarms += len(found[i])
			for _, m := range found[i] {
				show("false alarm, %s (%s): %q in %q", m.Basis, m.Confidence, n.text[m.Start:m.End], n.text)
			}
		}
		for _, l := range n.labels {
			s.add(n.text, l, found[i], func() {
				show("missed %s, %s: %q in %q", l.class, l.variant,
					n.text[l.start:l.end], n.text)
			})
		}
	}
	return s
}

// wordy reports whether r is part of a word or number.
func wordy(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }

func (s *score) add(n string, l label, found []leak.Match, missed func()) {
	hit, upTo := 0, l.start
	for _, m := range found {
		if m.Start < l.end && l.start < m.End {
			hit = 1
		}
		if m.End > upTo && (m.Start <= upTo || !strings.ContainsFunc(n[upTo:m.Start], wordy)) {
			upTo = m.End
		}
	}
	whole := 0
	if upTo >= l.end {
		whole = 1
	}
	sum := &s.unknown
	if l.known {
		sum = &s.known
	}
	for _, key := range []string{"class " + l.class, l.class + " " + l.variant} {
		if s.by[key] == nil {
			s.by[key] = new(tally)
		}
		s.by[key].hit, s.by[key].whole, s.by[key].all = s.by[key].hit+hit, s.by[key].whole+whole, s.by[key].all+1
	}
	sum.hit, sum.whole, sum.all = sum.hit+hit, sum.whole+whole, sum.all+1
	if hit == 0 {
		missed()
	}
}

// TestOwnSample prints the quality of the search, measured on the sample that this package invents:
// go test ./deid/leak -run OwnSample -v.
// The misses of the tuning half are shown, those of the held-out half only counted.
func TestOwnSample(t *testing.T) {
	for _, h := range []half{tuning(), heldOut()} {
		t.Run(h.name, func(t *testing.T) {
			shown := map[string]int{}
			s := measure(h, func(format string, args ...any) {
				if key := fmt.Sprint(format[:6], args[0], args[1]); h.name == "tuning" && shown[key] < 12 {
					shown[key]++
					t.Logf(format, args...)
				}
			})
			for _, key := range slices.Sorted(maps.Keys(s.by)) {
				c := s.by[key]
				t.Logf("%-34s found %6.2f %%, whole %6.2f %%, of %d", key, c.rate(),
					100*float64(c.whole)/float64(c.all), c.all)
			}
			t.Logf("on the roster: %.2f %% of %d; on none: %.2f %% of %d; %.1f false alarms per 1,000 of %d clean "+
				"notes; %.1f MB/s",
				s.known.rate(), s.known.all, s.unknown.rate(), s.unknown.all, s.falseRate(), s.clean,
				float64(s.bytes)/1e6/s.took.Seconds())
			if s.known.rate() < 99 || s.unknown.rate() < 97 || s.falseRate() > 10 || s.known.all < 10000 ||
				s.unknown.all < 1000 {
				t.Error("below the floors")
			}
		})
	}
}
