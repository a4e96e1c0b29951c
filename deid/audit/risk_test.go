package audit

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// table makes a table out of lines of blank-separated values; the last
// sensitive ones are sensitive fields.
func table(quasi, sensitive int, lines string) *Table {
	t := &Table{}
	for i := range quasi {
		t.Quasi = append(t.Quasi, Field{Path: "/q" + string(rune('a'+i)), Treatment: "keep", Risk: "quasi"})
	}
	for i := range sensitive {
		t.Sensitive = append(t.Sensitive, Field{Path: "/s" + string(rune('a'+i)), Treatment: "keep", Risk: "sensitive"})
	}
	for line := range strings.Lines(strings.TrimSpace(lines)) {
		v := strings.Fields(line)
		t.Rows = append(t.Rows, Row{Who: v[0], Quasi: v[1 : 1+quasi], Sensitive: v[1+quasi:]})
	}
	return t
}

// Sweeney, "k-anonymity: a model for protecting privacy" (2002), figure 2; the
// table from memory, the figures computed by other programs.
const sweeney = `
1 Black 1965 m 0214* short-breath
2 Black 1965 m 0214* chest-pain
3 Black 1965 f 0213* hypertension
4 Black 1965 f 0213* hypertension
5 Black 1964 f 0213* obesity
6 Black 1964 f 0213* chest-pain
7 White 1964 m 0213* chest-pain
8 White 1964 m 0213* obesity
9 White 1964 m 0213* short-breath
10 White 1967 m 0213* chest-pain
11 White 1967 m 0213* chest-pain`

// Machanavajjhala et al., "l-diversity" (ICDE 2006, TKDD 2007), figures 1 to 3;
// tables from memory, figures computed by other programs.
const (
	raw = `
1 13053 28 Russian Heart
2 13068 29 American Heart
3 13068 21 Japanese Viral
4 13053 23 American Viral
5 14853 50 Indian Cancer
6 14853 55 Russian Heart
7 14850 47 American Viral
8 14850 49 American Viral
9 13053 31 American Cancer
10 13053 37 Indian Cancer
11 13068 36 Japanese Cancer
12 13068 35 American Cancer`
	fourAnonymous = `
1 130** <30 * Heart
2 130** <30 * Heart
3 130** <30 * Viral
4 130** <30 * Viral
5 1485* >=40 * Cancer
6 1485* >=40 * Heart
7 1485* >=40 * Viral
8 1485* >=40 * Viral
9 130** 3* * Cancer
10 130** 3* * Cancer
11 130** 3* * Cancer
12 130** 3* * Cancer`
	threeDiverse = `
1 1305* <=40 * Heart
4 1305* <=40 * Viral
9 1305* <=40 * Cancer
10 1305* <=40 * Cancer
5 1485* >40 * Cancer
6 1485* >40 * Heart
7 1485* >40 * Viral
8 1485* >40 * Viral
2 1306* <=40 * Heart
3 1306* <=40 * Viral
11 1306* <=40 * Cancer
12 1306* <=40 * Cancer`
)

func TestPublishedTables(t *testing.T) {
	for _, c := range []struct {
		name             string
		table            *Table
		k, l, classes    int
		entropy, max, mn float64
		t                float64 // negative: none is published
	}{
		{"Sweeney 2002, figure 2", table(4, 1, sweeney), 2, 1, 5, 1, 0.5, 5.0 / 11, 0.8182},
		{"Machanavajjhala 2007, figure 1", table(3, 1, raw), 1, 1, 12, 1, 1, 1, -1},
		{"Machanavajjhala 2007, figure 2", table(3, 1, fourAnonymous), 4, 1, 3, 1, 0.25, 0.25, 0.5833},
		{"Machanavajjhala 2007, figure 3", table(3, 1, threeDiverse), 4, 3, 3, 2.828, 0.25, 0.25, 0.1667},
	} {
		r := Measure(c.table, nil)
		d := r.Sensitive[0]
		if r.K != c.k || r.L != c.l || r.Classes != c.classes || d.L != c.l || d.Ordered {
			t.Errorf("%s: k %d l %d classes %d, want %d %d %d", c.name, r.K, r.L, r.Classes, c.k, c.l, c.classes)
		}
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > 0.0001 {
				t.Errorf("%s: %s is %.4f, want %.4f", c.name, what, got, want)
			}
		}
		near("entropy l", math.Round(d.EntropyL*1000)/1000, c.entropy)
		near("greatest prosecutor risk", r.ProsecutorMax, c.max)
		near("mean prosecutor risk", r.ProsecutorMean, c.mn)
		if c.t >= 0 {
			near("t", d.T, c.t)
		}
	}
}

// Li, Li and Venkatasubramanian, "t-closeness" (ICDE 2007): salaries of 3k to
// 11k; the class of 3, 4, 5k is 0.375 away from the whole, that of 6, 8, 11k 0.167.
func TestPublishedDistance(t *testing.T) {
	lines := ""
	for i, c := range []string{"a", "a", "a", "b", "c", "b", "c", "c", "b"} {
		lines += "x " + c + " " + []string{"3", "4", "5", "6", "7", "8", "9", "10", "11"}[i] + "\n"
	}
	salaries := table(1, 1, lines)
	for _, c := range []struct {
		class []int
		want  float64
	}{{[]int{0, 1, 2}, 0.375}, {[]int{3, 5, 8}, 0.167}} {
		d := salaries.diversity([][]int{c.class}, 0)
		if !d.Ordered || math.Abs(d.T-c.want) > 0.0005 {
			t.Errorf("class %v: distance %.4f (ordered %v), want %.3f", c.class, d.T, d.Ordered, c.want)
		}
	}
}

// Worked by hand: four classes of 1, 2, 2, 3 among 8 subjects; people per class
// 10, 4, 20, 1 (fewer than the 3 subjects, so 3).
func TestRiskByHand(t *testing.T) {
	people, err := ParsePopulation([]byte("qa,count\na,10\nb,1\nb,3\nc,20\nd,1\n"))
	if err != nil {
		t.Fatal(err)
	}
	r := Measure(table(1, 0, "1 a\n2 b\n3 b\n4 c\n5 c\n6 d\n7 d\n8 d"), people)
	want := func(what string, got, want float64) {
		if math.Abs(got-want) > 1e-12 {
			t.Errorf("%s is %v, want %v", what, got, want)
		}
	}
	want("k", float64(r.K), 1)
	want("unique", float64(r.Unique), 1)
	want("share of unique", r.UniqueShare, 0.125)
	want("prosecutor max", r.ProsecutorMax, 1)
	want("prosecutor mean", r.ProsecutorMean, 0.5)
	want("marketer", r.Marketer, 0.5)
	want("journalist max", r.Journalist.Max, 1.0/3)
	sum := (0.1 + 0.5 + 0.1 + 1) / 8
	want("journalist marketer", r.Journalist.Marketer, sum)
	want("journalist mean", r.Journalist.Mean, max(4.0/37, sum))
	want("raised", float64(r.Journalist.Raised), 1)
	want("l without sensitive fields", float64(r.L), 0)
	if len(r.SmallCells) != 4 || r.SmallCells[0].Who[0] != "1" || r.SmallCells[3].Size != 3 {
		t.Errorf("small cells: %v", r.SmallCells)
	}
}

func TestPopulationRefuses(t *testing.T) {
	for _, c := range []struct{ data, want string }{
		{"", "no header row"},
		{"sex\nfemale\n", "column count"},
		{"count\n1\n", "column count"},
		{"sex,sex,count\na,b,1\n", "twice"},
		{"sex,count\nfemale\n", "line 2"},
		{"sex,count\nfemale,1\nmale,many\n", "line 3"},
		{"sex,count\nfemale,-1\n", "line 2"},
		{"sex,count\n", "no row"},
	} {
		if _, err := ParsePopulation([]byte(c.data)); err == nil || !strings.Contains(err.Error(), c.want) ||
			strings.Contains(err.Error(), "female") {
			t.Errorf("%q: %v, want %q", c.data, err, c.want)
		}
	}
}

func FuzzParsePopulation(f *testing.F) {
	f.Add([]byte("sex,count\nfemale,10\n"))
	f.Add([]byte("\ufeffa,b,count\n\"x\",y,0\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := ParsePopulation(data)
		if err == nil && (len(p.rows) == 0 || len(p.rows) != len(p.counts)) {
			t.Fatal("accepted without rows")
		}
	})
}

// Ages in bands of five, worked by hand: what one change does, and which lines make it.
func TestWhatIf(t *testing.T) {
	tab := &Table{Quasi: []Field{{"/subject/birth_date", "age-band 5", "quasi"}, {"/subject/sex", "keep", "quasi"}}}
	for _, v := range []string{"40-44 f", "40-44 f", "45-49 f", "50-54 m", "50-54 m", "55-59 m"} {
		tab.Rows = append(tab.Rows, Row{Who: v, Quasi: strings.Fields(v)})
	}
	c := Consider(tab)
	if c.Now.K != 1 || c.Now.Unique != 2 || len(c.Now.Change) != 0 {
		t.Errorf("now: %+v", c.Now)
	}
	got := map[string]int{}
	for _, w := range c.Single {
		got[w.Change[0]] = w.K
	}
	// 10 years: 40-49 f (3), 50-59 m (3); 15: 30-44 f (2), 45-59 f (1); 20: 40-59 for all, which is
	// as without; without sex nothing changes, because the ages tell it.
	for say, want := range map[string]int{"age in bands of 10 years": 3, "without birth date": 3} {
		if got[say] != want {
			t.Errorf("%s: %d, want %d", say, got[say], want)
		}
	}
	if k, ok := got["without sex"]; ok {
		t.Errorf("without sex, k is %d and somebody is alone, yet it is shown as help", k)
	}
	first, last := c.Suggestions[0], c.Suggestions[len(c.Suggestions)-1]
	if first.K != 3 || !slices.Equal(first.Paste, []Paste{{"/subject/birth_date", `"deid": {"age-band": 10}`}}) ||
		!slices.Equal(first.Lost, []string{"age in bands of 5 years -> age in bands of 10 years: 4 values become 2, " +
			"0.92 of 1.92 bits are lost"}) { // H(2,1,2,1 of 6) - H(3,3 of 6) = 1.918 - 1
		t.Errorf("first suggestion: %+v", first)
	}
	if last.K != 6 || last.Unique != 0 || len(last.Change) != 2 {
		t.Errorf("last suggestion: %+v", last)
	}
	for i := 1; i < len(c.Suggestions); i++ {
		if c.Suggestions[i].Loss < c.Suggestions[i-1].Loss {
			t.Error("suggestions are not ranked by loss")
		}
	}
}

// Without quasi-identifiers nothing is computed, and so no threshold is kept.
func TestNotComputed(t *testing.T) {
	bare := &Table{Rows: []Row{{Who: "1"}, {Who: "2"}, {Who: "3"}}}
	for _, tab := range []*Table{bare, {}, {Quasi: []Field{{"/a", "keep", "quasi"}}}} {
		r, c := Measure(tab, nil), Consider(tab)
		if r.K != 0 || r.Classes != 0 || r.ProsecutorMax != 0 || len(r.Thresholds) == 0 || c.Tried != 0 {
			t.Errorf("%+v: %+v", tab, r)
		}
		for _, h := range r.Thresholds {
			if h.Kept || h.Computed {
				t.Errorf("%+v: praised for %+v", tab, h)
			}
		}
	}
	for _, h := range Measure(table(1, 0, "1 a\n2 a\n3 a\n4 a\n5 a"), nil).Thresholds {
		if !h.Computed || h.Kept != (h.Limit == 5 || h.Limit == 0.2 || h.Limit == 0.33) {
			t.Errorf("five alike: %+v", h)
		}
	}
}

// What a coarser treatment does, for any table: no class gets smaller, detail is
// never gained, and the figures of "as it is" are those of Measure.
func TestWhatIfLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tab := &Table{Quasi: []Field{{"/birth_date", "age-band 5", "quasi"}, {"/postal_code", "region", "quasi"},
			{"/weight_kg", "round 5, 40 to 150", "quasi"}}}
		n := rapid.IntRange(1, 40).Draw(t, "rows")
		for range n {
			tab.Rows = append(tab.Rows, Row{Quasi: []string{
				rapid.SampledFrom([]string{"20-24", "25-29", "60-64", "85-89", "90+", ""}).Draw(t, "age"),
				rapid.SampledFrom([]string{"987", "981", "000", "AB", ""}).Draw(t, "region"),
				rapid.SampledFrom([]string{"40", "60", "65", "70", "150"}).Draw(t, "weight"),
			}})
		}
		r, c := Measure(tab, nil), Consider(tab)
		if c.Now.K != r.K || c.Now.Unique != r.Unique || c.Now.ProsecutorMax != r.ProsecutorMax {
			t.Fatalf("as it is: %+v, but measured k %d unique %d", c.Now, r.K, r.Unique)
		}
		for _, w := range append(c.Single, c.Suggestions...) {
			if w.K < 2 || len(w.Paste) != len(w.Change) || len(w.Lost) != len(w.Change) || len(w.Change) == 0 {
				t.Fatalf("%+v is no help", w)
			}
			if w.K < c.Now.K || w.Unique > c.Now.Unique || w.BelowFive > c.Now.BelowFive || w.Loss < 0 {
				t.Fatalf("%+v is worse than %+v", w, c.Now)
			}
		}
	})
}
