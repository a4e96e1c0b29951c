package reach

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"outbreath/schema"

	"pgregory.net/rapid"
)

func field(t testing.TB, path, treatment string) schema.Field {
	parsed, err := schema.ParseTreatment(treatment)
	if err != nil {
		t.Fatal(err)
	}
	return schema.Field{Path: path, Treatment: parsed}
}

// axis makes an axis out of values as they leave.
func axis(f schema.Field, now []string) Axis {
	return NewAxis(f, now, func(r int, t schema.Treatment) (string, bool) {
		return Retreated(now[r], f.Treatment, t)
	})
}

func TestParseTarget(t *testing.T) {
	for words, want := range map[string]Target{
		"k=5": {K: 5}, "risk=0.2": {K: 5}, "risk=0.09": {K: 12}, "risk=0.33": {K: 4}, "l=3": {L: 3},
		"k=3,risk=0.2,l=2": {5, 2}, "k=11, risk=0.2": {K: 11}, "risk=0.1": {K: 10},
	} {
		if got, err := ParseTarget(words); err != nil || got != want {
			t.Errorf("%s: %v %v, want %v", words, got, err, want)
		}
	}
	for _, words := range []string{"", "k", "k=0", "k=1", "k=-5", "k=2.5", "k=1e9", "l=1", "risk=0", "risk=1",
		"risk=NaN",
		"risk=2", "t=0.2", "k=5,", "5", "k 5"} {
		if got, err := ParseTarget(words); err == nil {
			t.Errorf("%q was read as %v", words, got)
		}
	}
}

// What each treatment may become: by hand, from the rules of the treatments.
func TestCoarser(t *testing.T) {
	names := func(f schema.Field, now ...string) string {
		var list []string
		for _, c := range coarser(f, now) {
			list = append(list, c.String())
		}
		return strings.Join(list, "; ")
	}
	number := field(t, "/x", "keep")
	number.Types = []string{"number"}
	born := field(t, "/subject/birth_date", "keep")
	born.Types, born.Format = []string{"string"}, "date"
	for _, c := range []struct{ got, want string }{
		{names(field(t, "/b", "age-band 10")), "age-band 20; age-band 30; age-band 40; age-band 50; drop"},
		{names(field(t, "/p", "region")), "region 2; region 1; drop"},
		{names(field(t, "/p", "region 2")), "region 1; drop"},
		{names(field(t, "/s", "keep")), "drop"},
		{names(field(t, "/s", "shift")), "shift, hour; drop"}, // a year would be the true one
		{names(field(t, "/s", "shift, hour")), "drop"},
		{names(field(t, "/tubes/*/barcode", "keep")), ""},
		{names(field(t, "/w", "round 20, 40 to 100"), "40", "60", "80", "100"),
			"round 20, 40 to 80; round 20, 40 to 60; round 20, 60 to 100; round 20, 60 to 80; " +
				"round 20, 80 to 100; round 60, 60 to 120; round 100, 0 to 100; drop"},
	} {
		if c.got != c.want {
			t.Errorf("%s, want %s", c.got, c.want)
		}
	}
	if s := names(number, "1", "2"); !strings.HasPrefix(s, "round 1; ") || !strings.Contains(s, "round 100; drop") {
		t.Errorf("number: %s", s)
	}
	if s := names(born, "1950-01-01"); !strings.HasPrefix(s, "year; age-band 1; age-band 2; ") {
		t.Errorf("birth date: %s", s)
	}
}

// A shifted time loses its minutes; a shifted date has none, so that only its removal remains.
func TestShiftedToTheHour(t *testing.T) {
	f := field(t, "/started_at", "shift")
	times := axis(f, []string{"2026-03-02T09:14:11", "2026-03-02T09:40:00",
		"2026-03-02T10:00:00 / 2026-03-09T09:14:11"})
	if l := times.Levels; len(l) != 3 || l[1].Treatment.String() != "shift, hour" || l[1].Values != 2 ||
		Line(l[1].Treatment) != `"deid": {"shift": {"clock": "hour"}}` {
		t.Errorf("times: %+v", l)
	}
	if l := axis(f, []string{"2026-03-02", "2026-03-03"}).Levels; len(l) != 2 || l[1].Treatment.Kind != schema.Drop {
		t.Errorf("dates: %+v", l)
	}
}

// For any numbers, rounding more coarsely what was rounded gives what rounding the number itself
// gives, so that equal values stay equal. The reference rounds in thousandths, half away from zero.
func TestRoundingStaysWhole(t *testing.T) {
	reference := func(milli int, c schema.Treatment) int {
		w := c.Width * 1000
		n := (2*max(milli, -milli) + w) / (2 * w) * c.Width
		if milli < 0 {
			n = -n
		}
		if c.Coded {
			n = min(max(n, c.From), c.To)
		}
		return n
	}
	rapid.Check(t, func(t *rapid.T) {
		now := schema.Treatment{Kind: schema.Round, Width: rapid.IntRange(1, 20).Draw(t, "width")}
		if rapid.Bool().Draw(t, "coded") {
			now.Coded = true
			now.From = rapid.IntRange(-5, 5).Draw(t, "from") * now.Width
			now.To = now.From + rapid.IntRange(1, 20).Draw(t, "to")*now.Width
		}
		milli := rapid.SliceOfN(rapid.IntRange(-200_000, 200_000), 1, 20).Draw(t, "thousandths")
		var values []string
		for _, m := range milli {
			values = append(values, strconv.Itoa(reference(m, now)))
		}
		list := coarser(schema.Field{Path: "/x", Treatment: now}, values)
		for _, c := range list[:len(list)-1] {
			for i, m := range milli {
				if got, ok := Retreated(values[i], now, c); !ok || got != strconv.Itoa(reference(m, c)) {
					t.Fatalf("%d/1000, %s, then %s: %s, want %d", m, now, c, got, reference(m, c))
				}
			}
		}
	})
}

// drawTable draws subjects with up to four fields and up to two sensitive ones.
func drawTable(t *rapid.T, quick testing.TB) *Table {
	n := rapid.IntRange(1, 24).Draw(t, "subjects")
	tab := &Table{}
	draw := func(what string, from ...string) []string {
		var list []string
		for range n {
			list = append(list, rapid.SampledFrom(from).Draw(t, what))
		}
		return list
	}
	all := []Axis{
		axis(field(quick, "/age", "age-band 5"), draw("age", "20-24", "25-29", "30-34", "60-64", "85-89", "90+",
			"20-24 / 25-29", "")),
		axis(field(quick, "/region", "region"), draw("region", "987", "981", "123", "124", "AB")),
		axis(field(quick, "/sex", "keep"), draw("sex", "female", "male", "other")),
		axis(field(quick, "/weight", "round 25, 50 to 150"), draw("weight", "50", "75", "100", "150")),
	}
	tab.Axes = all[:rapid.IntRange(1, len(all)).Draw(t, "fields")]
	for range rapid.IntRange(0, 2).Draw(t, "sensitive") {
		tab.Sensitive = append(tab.Sensitive, draw("smoking", "never", "former", "current",
			"former / never", ""))
	}
	return tab
}

// exhaustive tries every combination, by code of its own: classes as joined texts, entropies
// summed row by row.
func exhaustive(tab *Table, want Target, leave int) (loss float64, found bool) {
	n := len(tab.Axes[0].rows)
	loss = math.Inf(1)
	picked := make([]int, len(tab.Axes))
	value := func(axis, level, row int) string {
		a := tab.Axes[axis]
		return fmt.Sprint(a.Levels[level].of[a.rows[row]])
	}
	share := func(axis, level, row int) (count float64) {
		for r := range n {
			if value(axis, level, r) == value(axis, level, row) {
				count++
			}
		}
		return count
	}
	for {
		class := map[string][]int{}
		for r := range n {
			key := ""
			for i, l := range picked {
				key += value(i, l, r) + "|"
			}
			class[key] = append(class[key], r)
		}
		out := map[int]bool{}
		for _, rows := range class {
			fails := len(rows) < want.K
			for _, s := range tab.Sensitive {
				distinct := map[string]bool{}
				for _, r := range rows {
					distinct[s[r]] = true
				}
				fails = fails || len(distinct) < want.L
				for _, item := range []string{"never", "former", "current"} {
					has := func(r int) bool { return slices.Contains(strings.Split(s[r], " / "), item) }
					fails = fails || want.L > 1 && !slices.ContainsFunc(rows, func(r int) bool { return !has(r) })
				}
			}
			for _, r := range rows {
				out[r] = fails
			}
		}
		left, sum := 0, 0.0
		for r := range n {
			if out[r] {
				left++
			}
			for i, l := range picked {
				after := share(i, l, r)
				if out[r] {
					after = float64(n)
				}
				sum += math.Log2(after/share(i, 0, r)) / float64(n)
			}
		}
		if left <= leave && left < n {
			loss, found = min(loss, sum), true
		}
		i := 0
		for ; i < len(picked); i++ {
			if picked[i]++; picked[i] < len(tab.Axes[i].Levels) {
				break
			}
			picked[i] = 0
		}
		if i == len(picked) {
			return loss, found
		}
	}
}

// The search finds the least loss of all combinations, with and without subjects left out, or
// says that there is none; and its figures are those of its choice.
func TestOptimal(t *testing.T) {
	reached, missed, left := 0, 0, 0
	rapid.Check(t, func(r *rapid.T) {
		tab := drawTable(r, t)
		want := Target{K: rapid.IntRange(1, 8).Draw(r, "k")}
		if len(tab.Sensitive) > 0 {
			want.L = rapid.IntRange(0, 3).Draw(r, "l")
		}
		leave := rapid.IntRange(0, 4).Draw(r, "leave out")
		got := Search(tab, want, leave)
		loss, found := exhaustive(tab, want, leave)
		if got.Reached != found || got.Cut || found && math.Abs(got.Loss-loss) > 1e-6 {
			r.Fatalf("found %v with loss %.6f; the exhaustive search %v %.6f", got.Reached, got.Loss, found, loss)
		}
		if !found {
			missed++
			return
		}
		reached++
		left += len(got.Left)
		if len(got.Left) > leave || got.K < want.K || got.L < want.L && want.L > 1 {
			r.Fatalf("%+v does not reach %v", got, want)
		}
	})
	t.Logf("reached %d, not %d, subjects left out %d", reached, missed, left)
	if reached == 0 || missed == 0 || left == 0 {
		t.Error("the cases drawn are all of one kind")
	}
}

// generated draws n subjects with eight fields, as a study with more than the usual ones has.
func generated(t testing.TB, n int) *Table {
	rng := rand.New(rand.NewPCG(1, uint64(n)))
	columns := []struct {
		treatment string
		value     func() string
	}{
		{"age-band 5", func() string { l := 20 + rng.IntN(14)*5; return fmt.Sprintf("%d-%d", l, l+4) }},
		{"keep", func() string { return []string{"female", "male"}[rng.IntN(2)] }},
		{"region", func() string { return fmt.Sprint(980 + rng.IntN(12)) }},
		{"round 5, 140 to 200", func() string { return fmt.Sprint(5 * (28 + rng.IntN(13))) }},
		{"round 5, 40 to 150", func() string { return fmt.Sprint(5 * (8 + int(math.Abs(rng.NormFloat64())*5))) }},
		{"keep", func() string { return []string{"never", "former", "current"}[rng.IntN(3)] }},
		{"region 2", func() string { return fmt.Sprint(10 + rng.IntN(20)) }},
		{"round 10, 0 to 100", func() string { return fmt.Sprint(10 * rng.IntN(11)) }},
	}
	tab := &Table{}
	for i, c := range columns {
		var now []string
		for range n {
			now = append(now, c.value())
		}
		tab.Axes = append(tab.Axes, axis(field(t, fmt.Sprintf("/f%d", i), c.treatment), now))
	}
	return tab
}

// 300 subjects and eight fields, the size that the project promises: the optimum, in time.
func TestSizeAndTime(t *testing.T) {
	tab := generated(t, 300)
	all := 1.0
	for _, a := range tab.Axes {
		all *= float64(len(a.Levels))
	}
	for _, c := range []struct {
		want  Target
		leave int
	}{{Target{K: 5}, 0}, {Target{K: 5}, 15}, {Target{K: 11}, 0}, {Target{K: 3}, 0}, {Target{K: 2}, 30}} {
		at := time.Now()
		r := Search(tab, c.want, c.leave)
		took := time.Since(at)
		t.Logf("%v, at most %d left out: k %d, loss %.3f bits, %d left out, %d of %.3g combinations, %v, cut %v",
			c.want, c.leave, r.K, r.Loss, len(r.Left), r.Tried, all, took.Round(time.Millisecond), r.Cut)
		if !r.Reached || r.K < c.want.K || took > 10*time.Second {
			t.Errorf("%v: %+v in %v", c.want, r, took)
		}
	}
}

// With nobody, one subject or no field there is a result all the same.
func TestSmallest(t *testing.T) {
	if r := Search(&Table{}, Target{K: 2}, 0); r.Reached {
		t.Error("reached without a field")
	}
	one := &Table{Axes: []Axis{axis(field(t, "/s", "keep"), []string{"x"})}}
	if r := Search(one, Target{K: 2}, 1); r.Reached || r.K != 1 {
		t.Errorf("one subject: %+v", r)
	}
	none := &Table{Axes: []Axis{axis(field(t, "/s", "keep"), nil)}}
	if r := Search(none, Target{K: 2}, 0); r.Reached || len(r.Left) != 0 {
		t.Errorf("nobody: %+v", r)
	}
	if !slices.Equal(Search(one, Target{}, 0).Levels, []int{0}) {
		t.Error("a target that asks for nothing changes something")
	}
}
