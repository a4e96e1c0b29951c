package rederive

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// level is the probability of each test to call evenly spread shifts uneven.
const level = 1e-5

// leastSubjects is how many subjects a test of the shifts needs. With fewer, shifts that
// are all within a month would not be told from chance at this level.
const leastSubjects = 20

// A point is a subject with the shift that was seen in the bag.
type point struct {
	shift, birth, id, order float64
}

// spread tests whether the shifts that were seen are spread over 1 to 364 days and
// independent of birth date, identifier and order.
//
// Sources: Massart (1990), bound of the Kolmogorov-Smirnov statistic; Kendall, "Rank
// Correlation Methods", variance of Spearman's rho, 1/(n-1); Pearson's statistic with
// the cube-root approximation of Wilson and Hilferty (1931).
func (c *Comparison) spread(r *Result) {
	if !c.shifted {
		c.notSpread(r, "the plan moves no dates")
		return
	}
	judge(r, c.points())
}

// judge adds to r the tests of the shifts of points.
func judge(r *Result, points []point) {
	n := len(points)
	var few []string
	add := func(s Spread) {
		s.Level, s.Subjects = level, n
		s.Tested = n >= s.Least
		s.OK = s.Tested && s.Statistic <= s.Critical
		r.Spread = append(r.Spread, s)
		if !s.Tested {
			few = append(few, s.Name)
		} else if !s.OK {
			r.Mismatches = append(r.Mismatches, Mismatch{"data/sessions", "/started_at",
				"shifts are not as they must be: " +
					s.Name})
		}
	}
	add(Spread{Name: "spread over 1 to 364 days", Test: "Kolmogorov-Smirnov against the even distribution",
		Least: leastSubjects, Statistic: farthest(points),
		Critical: math.Sqrt(math.Log(2/level)/2/math.Max(float64(n), 1)) + 1.0/364})
	outside := 0
	for _, p := range points {
		if p.shift < 1 || p.shift > 364 {
			outside++
		}
	}
	add(Spread{Name: "within 1 to 364 days", Test: "count of shifts outside", Least: 1, Statistic: float64(outside)})
	add(Spread{Name: "days of the week", Test: "chi-square of the shifts modulo 7", Least: 5 * leastSubjects,
		Statistic: weekdays(points), Critical: chiSquare6})
	for _, by := range []struct {
		name string
		of   func(point) float64
	}{
		{"independent of the birth date", func(p point) float64 { return p.birth }},
		{"independent of the identifier", func(p point) float64 { return p.id }},
		{"independent of the order of the records", func(p point) float64 { return p.order }},
		{"independent of the day in the year of the birth date", func(p point) float64 { return dayInYear(p.birth) }},
	} {
		rho := spearman(points, by.of)
		add(Spread{Name: by.name, Test: "Spearman's rank correlation", Least: leastSubjects,
			Statistic: math.Abs(rho) * math.Sqrt(math.Max(float64(n-1), 0)), Critical: normal5})
	}
	if len(few) > 0 {
		r.NotTested = append(r.NotTested, Untested{"shifts: " + strings.Join(few, ", "),
			"there are too few subjects for these tests", 0})
	}
}

// Critical values for level: of the normal distribution, two-sided, and of chi-square
// with six degrees of freedom. Source: computed with Python's statistics.NormalDist and
// checked by summing the Poisson series; see spread_test.go.
const (
	normal5    = 4.4171734
	chiSquare6 = 33.1070568
)

func (c *Comparison) notSpread(r *Result, why string) {
	r.NotTested = append(r.NotTested, Untested{"distribution of the shifts", why, 0})
}

// points returns one point a subject, in the order of the records.
func (c *Comparison) points() []point {
	var list []point
	var ids []string
	done := map[string]bool{}
	for _, s := range c.sessions {
		if done[s.subject] || len(c.moved[s.subject]) != 1 {
			continue
		}
		done[s.subject] = true
		for shift := range c.moved[s.subject] {
			list = append(list, point{float64(shift), float64(s.birth), 0, float64(len(list))})
		}
		ids = append(ids, s.subject)
	}
	sorted := slices.Clone(ids)
	slices.Sort(sorted)
	for i, id := range ids {
		at, _ := slices.BinarySearch(sorted, id)
		list[i].id = float64(at)
	}
	return list
}

func dayInYear(birth float64) float64 {
	_, m, d := max(day(birth), 0).date()
	return float64(100*m + d)
}

// farthest returns the greatest distance between the distribution of the shifts and the
// even one.
func farthest(points []point) float64 {
	shifts := make([]float64, len(points))
	for i, p := range points {
		shifts[i] = p.shift
	}
	slices.Sort(shifts)
	n, most := float64(len(shifts)), 0.0
	for i, s := range shifts {
		even := s / 364
		most = max(most, math.Abs(float64(i+1)/n-even), math.Abs(float64(i)/n-even))
	}
	return most
}

// weekdays returns Pearson's statistic of the shifts modulo 7; 364 is 52 weeks.
func weekdays(points []point) float64 {
	var count [7]float64
	for _, p := range points {
		count[(int(p.shift)%7+7)%7]++
	}
	sum, even := 0.0, float64(len(points))/7
	for _, n := range count {
		sum += (n - even) * (n - even) / max(even, 1e-9)
	}
	return sum
}

// spearman returns the rank correlation of the shift with another value; ties share
// their mean rank.
func spearman(points []point, of func(point) float64) float64 {
	a := ranks(points, func(p point) float64 { return p.shift })
	b := ranks(points, of)
	mean := float64(len(points)+1) / 2
	var ab, aa, bb float64
	for i := range a {
		ab += (a[i] - mean) * (b[i] - mean)
		aa += (a[i] - mean) * (a[i] - mean)
		bb += (b[i] - mean) * (b[i] - mean)
	}
	if aa == 0 || bb == 0 {
		return 0
	}
	return ab / math.Sqrt(aa*bb)
}

func ranks(points []point, of func(point) float64) []float64 {
	order := make([]int, len(points))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(of(points[a]), of(points[b])) })
	out := make([]float64, len(points))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && of(points[order[j]]) == of(points[order[i]]) {
			j++
		}
		for k := i; k < j; k++ {
			out[order[k]] = float64(i+j+1) / 2
		}
		i = j
	}
	return out
}
