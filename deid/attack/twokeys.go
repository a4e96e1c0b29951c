package attack

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A side holds what one shipment says of its subjects, for comparison with another.
type side struct {
	names []string
	// values by field and subject; numbers where all values of a field are numbers
	values  []map[string][]string
	numbers []map[string][]float64
	clocks  [][]float64 // hours of the day
}

// sideOf collects the fields that may recur: no codes, texts or dates.
func sideOf(s *Shipment, fields []string) *side {
	d := &side{}
	names, of := s.subjects()
	// No order that both sides share: subjects who look alike must be told apart by chance.
	slices.SortFunc(names, func(a, b string) int { return strings.Compare(of[a][0].Name, of[b][0].Name) })
	d.names = names
	for _, name := range names {
		values, numbers := map[string][]string{}, map[string][]float64{}
		var clocks []float64
		for _, x := range of[name] {
			for _, path := range fields {
				values[path] = append(values[path], x.Values[path]...)
			}
			for _, m := range x.Times["/subject/birth_date"] {
				if m.HasDay {
					values["/subject/birth_date"] = append(values["/subject/birth_date"], strconv.Itoa(int(m.Day)))
				}
			}
			for figure, n := range x.Figures {
				numbers[figure] = append(numbers[figure], n)
			}
			if seconds, _, ok := (visit{Session: x}).clockOf(); ok {
				clocks = append(clocks, float64(seconds)/3600)
			}
		}
		for path, list := range values {
			all := make([]float64, 0, len(list))
			for _, v := range list {
				if n, err := strconv.ParseFloat(v, 64); err == nil {
					all = append(all, n)
				}
			}
			if len(all) == len(list) && len(all) > 0 {
				numbers[path] = all
			}
		}
		d.values, d.numbers, d.clocks = append(d.values, values), append(d.numbers, numbers), append(d.clocks, clocks)
	}
	return d
}

// A comparison compares two subjects in one field: 2 for equal, 1 for near, 0 for
// different, below 0 if one of them lacks it.
type comparison struct {
	field string
	// level of subject i of one side and j of the other
	level func(a *side, i int, b *side, j int) int
	// weight of each level in nats: the logarithm of how much more often it occurs with one
	// person than with two
	weight [3]float64
	// rare has the weight of equal values that are rarer or more frequent than usual
	rare map[string]float64
}

// twoKeys joins the subjects of two shipments of a site, between which the key was
// changed, by all that does not change with it: values of the body, sex, band, region,
// smoking, serials, hours, and figures of the curve. If k has no second shipment, it
// halves this one. The weights are those of Fellegi and Sunter's record linkage; equal
// values weigh by how rare they are; pairs are assigned best first.
//
// Source: Fellegi and Sunter, "A Theory for Record Linkage", 1969.
func (s *Shipment) twoKeys(k Knowledge) *Attack {
	a := &Attack{Attacker: TwoKeys, Links: true, Halved: k.Second == nil}
	first, second := s, k.Second
	if second == nil {
		first, second = s.halves()
	} else {
		second.settle()
	}
	names, _ := first.subjects()
	others, _ := second.subjects()
	switch {
	case len(s.Sessions) == 0:
		a.NotRun = NoSessions
	case len(names) == 0 || len(others) == 0:
		a.NotRun = NoPairs
	case len(names) > mostJoined || len(others) > mostJoined:
		a.NotRun = TooMany
	}
	both := slices.DeleteFunc(slices.Clone(names), func(n string) bool { return !slices.Contains(others, n) })
	if a.NotRun == WasRun && k.Second == nil && len(both) == 0 {
		a.NotRun = NoPairs
	}
	if a.NotRun != WasRun {
		return a
	}
	fields := slices.DeleteFunc(s.ownFields(), func(p string) bool {
		return s.treatmentOf(p) == "pseudonym" || p == "/subject/subject_id"
	})
	x, y := sideOf(first, fields), sideOf(second, fields)
	list := comparisons(x, y, fields)
	partner := match(x, y, list)
	a.Sessions = len(first.Sessions) + len(second.Sessions)
	for i, name := range x.names {
		if k.Second == nil && !slices.Contains(both, name) {
			continue
		}
		c := Claim{Subject: name, Within: Unknown}
		if partner[i] >= 0 {
			c.Person = y.names[partner[i]]
		}
		a.Claims = append(a.Claims, c)
	}
	a.Subjects = len(a.Claims)
	for _, c := range list {
		if c.weight[2] > 0.2 {
			a.Fields = append(a.Fields, c.field)
		}
	}
	return a
}

// comparisons returns the comparisons that tell people apart.
func comparisons(x, y *side, fields []string) []comparison {
	var list []comparison
	for _, path := range append(slices.Clone(fields), "/subject/birth_date") {
		if slices.ContainsFunc(list, func(c comparison) bool { return c.field == path }) {
			continue
		}
		c := comparison{field: path, level: func(a *side, i int, b *side, j int) int {
			if strings.HasSuffix(path, "birth_date") {
				return bandLevel(a.values[i][path], b.values[j][path])
			}
			if p, q := a.numbers[i][path], b.numbers[j][path]; p != nil && q != nil {
				return numberLevel(p, q, path)
			}
			return setLevel(a.values[i][path], b.values[j][path])
		}}
		list = append(list, c)
	}
	figures := map[string]bool{}
	for _, d := range []*side{x, y} {
		for _, n := range d.numbers {
			for f := range n {
				if !strings.HasPrefix(f, "/") {
					figures[f] = true
				}
			}
		}
	}
	for _, f := range sorted(figures) {
		spread := deviation(x, y, f)
		if spread == 0 {
			continue
		}
		list = append(list, comparison{field: UsesCurve + ": " + f, level: func(a *side, i int, b *side, j int) int {
			return distanceLevel(mean(a.numbers[i][f]), mean(b.numbers[j][f]), spread*0.15, spread*0.5,
				len(a.numbers[i][f]) > 0 && len(b.numbers[j][f]) > 0)
		}})
	}
	list = append(list, comparison{field: UsesClock, level: func(a *side, i int, b *side, j int) int {
		return distanceLevel(mean(a.clocks[i]), mean(b.clocks[j]), 0.1, 1, len(a.clocks[i]) > 0 && len(b.clocks[j]) > 0)
	}})
	for i := range list {
		list[i].learn(x, y)
	}
	return list
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v / float64(len(x))
	}
	return sum
}

func deviation(x, y *side, f string) float64 {
	var all []float64
	for _, d := range []*side{x, y} {
		for _, n := range d.numbers {
			if len(n[f]) > 0 {
				all = append(all, mean(n[f]))
			}
		}
	}
	m, square := mean(all), 0.0
	for _, v := range all {
		square += (v - m) * (v - m) / float64(len(all))
	}
	return math.Sqrt(square)
}

func distanceLevel(p, q, equal, near float64, both bool) int {
	switch d := math.Abs(p - q); {
	case !both:
		return -1
	case d <= equal:
		return 2
	case d <= near:
		return 1
	}
	return 0
}

// numberLevel takes numbers within 8 % for near: weights change.
func numberLevel(p, q []float64, path string) int {
	a, b := mean(p), mean(q)
	near := max(math.Abs(a), math.Abs(b)) * 0.08
	if strings.Contains(path, "height") {
		near = max(math.Abs(a), math.Abs(b)) * 0.035
	}
	return distanceLevel(a, b, 1e-9, near, true)
}

// setLevel compares sets of items: equal, or half of them shared.
func setLevel(p, q []string) int {
	if len(p) == 0 || len(q) == 0 {
		return -1
	}
	shared := 0
	a, b := unique(p), unique(q)
	for _, v := range a {
		if slices.Contains(b, v) {
			shared++
		}
	}
	switch {
	case shared == len(a) && shared == len(b):
		return 2
	case 2*shared >= max(len(a), len(b)):
		return 1
	}
	return 0
}

func unique(list []string) []string {
	c := slices.Clone(list)
	slices.Sort(c)
	return slices.Compact(c)
}

// bandLevel takes neighbouring bands for near: a birthday may lie between.
func bandLevel(p, q []string) int {
	if len(p) == 0 || len(q) == 0 {
		return -1
	}
	l1, h1, ok1 := bandOf(p[0])
	l2, h2, ok2 := bandOf(q[0])
	switch {
	case p[0] == q[0]:
		return 2
	case ok1 && ok2 && (h1+1 == l2 || h2+1 == l1):
		return 1
	}
	return 0
}

// shares of the levels equal, near, different for one person, taken for likely until
// the pairs say more.
var usualOfOne = map[bool][3]float64{
	true:  {0.01, 0.04, 0.95}, // what is said of the subject
	false: {0.4, 0.25, 0.35},  // anything else
}

// learn sets the weights: of two people from all pairs (nearly all of them are two), of
// one from what is usual, corrected by the sessions that each side knows to be one's.
func (c *comparison) learn(x, y *side) {
	count, all := [3]float64{1, 1, 1}, 3.0
	step := max(1, len(x.names)*len(y.names)/200_000)
	for n := 0; n < len(x.names)*len(y.names); n += step {
		if l := c.level(x, n/len(y.names), y, n%len(y.names)); l >= 0 {
			count[l]++
			all++
		}
	}
	one := usualOfOne[strings.HasPrefix(c.field, "/subject/")]
	for l := range c.weight {
		if all > 3 {
			c.weight[l] = math.Log(one[l] / (count[l] / all))
		}
	}
	if !strings.HasPrefix(c.field, "/subject/") { // never more against than for
		c.weight[0] = max(c.weight[0], -0.3)
		c.weight[1] = max(c.weight[1], 0)
		c.weight[2] = max(c.weight[2], 0)
	}
	if !strings.HasPrefix(c.field, "/") {
		return
	}
	c.rare = map[string]float64{}
	frequency, n := map[string]float64{}, 0.0
	for _, d := range []*side{x, y} {
		for i := range d.names {
			if list := d.values[i][c.field]; len(list) > 0 {
				frequency[list[0]]++
				n++
			}
		}
	}
	for v, f := range frequency {
		if c.weight[2] > 0 {
			c.rare[v] = math.Log(one[2] / (f / n))
		}
	}
}

func (c *comparison) of(x *side, i int, y *side, j int) float64 {
	l := c.level(x, i, y, j)
	if l < 0 {
		return 0
	}
	if list := x.values[i][c.field]; l == 2 && len(list) > 0 && c.rare != nil {
		if w, ok := c.rare[list[0]]; ok {
			return max(w, 0)
		}
	}
	return c.weight[l]
}

// match returns the partner of each subject of x, -1 for none: optimal for up to 600
// subjects on each side, and best first beyond.
func match(x, y *side, list []comparison) []int {
	n, m := len(x.names), len(y.names)
	score := make([][]float32, n)
	for i := range score {
		score[i] = make([]float32, m)
		for j := range score[i] {
			w := 0.0
			for k := range list {
				w += list[k].of(x, i, y, j)
			}
			score[i][j] = float32(w)
		}
	}
	if max(n, m) <= mostAssigned {
		return assign(score)
	}
	return greedy(score, m)
}

// mostJoined is the most subjects of a side that are joined.
const mostJoined = 1200

// mostAssigned bounds the optimal assignment, whose time grows with the third power.
const mostAssigned = 600

func greedy(score [][]float32, m int) []int {
	type pair struct {
		i, j int
		w    float32
	}
	var pairs []pair
	for i, row := range score {
		best := slices.Clone(row)
		slices.Sort(best)
		least := best[max(0, len(best)-10)]
		for j, w := range row {
			if w >= least && w > 0 {
				pairs = append(pairs, pair{i, j, w})
			}
		}
	}
	slices.SortFunc(pairs, func(a, b pair) int {
		return cmp.Or(cmp.Compare(b.w, a.w), cmp.Compare(a.i, b.i), cmp.Compare(a.j, b.j))
	})
	partner, taken := slices.Repeat([]int{-1}, len(score)), make([]bool, m)
	for _, p := range pairs {
		if partner[p.i] < 0 && !taken[p.j] {
			partner[p.i], taken[p.j] = p.j, true
		}
	}
	return partner
}

// assign returns the assignment of rows to columns with the greatest sum; a row gets -1
// rather than a score of 0 or less.
//
// Source: the Hungarian method with potentials (Kuhn 1955, Munkres 1957).
func assign(score [][]float32) []int {
	n := len(score)
	m := 0
	if n > 0 {
		m = len(score[0])
	}
	size := max(n, m)
	cost := func(i, j int) float64 { // square, padded with 0
		if i < n && j < m && score[i][j] > 0 {
			return -float64(score[i][j])
		}
		return 0
	}
	u, v := make([]float64, size+1), make([]float64, size+1)
	row, way := make([]int, size+1), make([]int, size+1) // row of each column, from 1
	for i := 1; i <= size; i++ {
		row[0] = i
		j0 := 0
		least, used := slices.Repeat([]float64{math.Inf(1)}, size+1), make([]bool, size+1)
		for {
			used[j0] = true
			i0, delta, j1 := row[j0], math.Inf(1), 0
			for j := 1; j <= size; j++ {
				if used[j] {
					continue
				}
				if d := cost(i0-1, j-1) - u[i0] - v[j]; d < least[j] {
					least[j], way[j] = d, j0
				}
				if least[j] < delta {
					delta, j1 = least[j], j
				}
			}
			for j := range size + 1 {
				if used[j] {
					u[row[j]] += delta
					v[j] -= delta
				} else {
					least[j] -= delta
				}
			}
			if j0 = j1; row[j0] == 0 {
				break
			}
		}
		for j0 != 0 {
			row[j0] = row[way[j0]]
			j0 = way[j0]
		}
	}
	partner := slices.Repeat([]int{-1}, n)
	for j := 1; j <= size; j++ {
		if i := row[j] - 1; i < n && j-1 < m && score[i][j-1] > 0 {
			partner[i] = j - 1
		}
	}
	return partner
}
