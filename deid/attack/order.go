package attack

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// An order is a guess that a number that leaves was given out in the order of the
// visits: in each chain on its own, where numbers come from several stacks.
type order struct {
	by     string    // path of the field, for example "/tubes/*/barcode"
	in     string    // what the chains are: "", "stacks of 10", "by /sampler/serial"
	chains [][][]int // chains of links of visits
	z      float64   // how far fewer falls of the clock there are than by chance, in deviations
	tested bool      // z was computed: the time of day leaves
	slack  Day
}

func (o order) String() string {
	if o.in == "" {
		return o.by
	}
	return o.by + " (" + o.in + ")"
}

// leastZ is from where fewer falls of the clock are taken for an order: by chance one of
// 4,000 numbers comes that far.
const leastZ = 3.5

// fewestOrdered is the least number of visits for which an order is looked for.
const fewestOrdered = 6

var digitRuns = regexp.MustCompile(`[0-9]{1,15}`)

// numbersIn returns the number of each visit in one field, and the visits that have one:
// of the runs of digits in the field's values the one that differs most. Of several
// values of a visit the least counts.
func (c *calendar) numbersIn(path string) (number map[int]int, alike bool) {
	runs := map[int][][]string{}
	distinct := []map[string]bool{}
	for i, v := range c.visits {
		values := v.Values[path]
		if path == UsesKits {
			values = c.kits[i]
		}
		for _, text := range values {
			if isPseudonym(text) {
				continue
			}
			found := digitRuns.FindAllString(text, 6)
			runs[i] = append(runs[i], found)
			for k, r := range found {
				if k == len(distinct) {
					distinct = append(distinct, map[string]bool{})
				}
				distinct[k][r] = true
			}
		}
	}
	best := -1
	for k := range distinct {
		if best < 0 || len(distinct[k]) > len(distinct[best]) {
			best = k
		}
	}
	number = map[int]int{}
	if best < 0 {
		return number, false
	}
	for i, list := range runs {
		for _, found := range list {
			if best >= len(found) {
				continue
			}
			n := 0
			for k := 0; k <= best; k++ { // what comes before counts more, as in LK07-0001
				d, _ := strconv.Atoi(found[k])
				if len(distinct[k]) > 1 && n < math.MaxInt/1_000_000_000/1_000_000 && d < 1_000_000_000 {
					n = n*1_000_000_000 + d
				} else if k == best {
					n = d
				}
			}
			if old, ok := number[i]; !ok || n < old {
				number[i] = n
			}
		}
	}
	return number, true
}

// chainOf sorts visits by number into links of equal numbers.
func chainOf(visits []int, number map[int]int) [][]int {
	visits = slices.Clone(visits)
	slices.SortFunc(visits, func(a, b int) int { return cmp.Or(cmp.Compare(number[a], number[b]), cmp.Compare(a, b)) })
	var chain [][]int
	for i, v := range visits {
		if i > 0 && number[v] == number[visits[i-1]] {
			chain[len(chain)-1] = append(chain[len(chain)-1], v)
		} else {
			chain = append(chain, []int{v})
		}
	}
	return chain
}

// weigh counts the falls of the time of day along the chains. A random order of n
// different times has (n-1)/2 falls on average, with variance (n+1)/12.
//
// Source: descents of a random permutation (Knuth, The Art of Computer Programming 3,
// section 5.1.3; from memory).
func (c *calendar) weigh(o *order) {
	falls, mean, variance := 0.0, 0.0, 0.0
	for _, chain := range o.chains {
		n := 0.0
		var last *visit
		for _, link := range chain {
			v := &c.visits[link[0]]
			if _, _, ok := v.clockOf(); !ok || len(link) > 1 {
				continue
			}
			if n++; last != nil && fell(*last, *v) {
				falls++
			}
			last = v
		}
		if n > 1 {
			mean, variance = mean+(n-1)/2, variance+(n+1)/12
		}
	}
	if variance > 0 {
		o.z, o.tested = (mean-falls)/math.Sqrt(variance), true
	}
}

// stackSizes are how many pieces a carton or a stack is tried to hold.
var stackSizes = []int{4, 5, 6, 8, 10, 12, 16, 20, 24, 25, 30, 40, 50, 100}

// orders returns the orders to try, the strongest first.
func (c *calendar) orders() []order {
	var list []order
	if len(c.visits) < fewestOrdered {
		return nil
	}
	paths := map[string]bool{}
	for _, v := range c.visits {
		for path := range v.Values {
			paths[path] = true
		}
	}
	names := make([]string, 0, len(paths)+1)
	for path := range paths {
		names = append(names, path)
	}
	slices.Sort(names)
	for _, path := range append(names, UsesKits, placeInBox, placeInArchive) {
		number, ok := c.numbersIn(path)
		if path == placeInBox || path == placeInArchive {
			number = map[int]int{}
			for i, v := range c.visits {
				if path == placeInArchive {
					number[i] = v.place
				} else if v.BoxPlace > 0 {
					number[i] = v.BoxPlace
				}
			}
			ok = len(number) > 0
		}
		if ok {
			list = append(list, c.ordersOf(path, number)...)
		}
	}
	seen := map[string]bool{} // numbers that say the same are tried once
	list = slices.DeleteFunc(list, func(o order) bool {
		key := fmt.Sprint(o.chains)
		was := seen[key]
		seen[key] = true
		return was
	})
	best := map[string]float64{}
	for _, o := range list {
		best[o.by] = max(best[o.by], o.z)
	}
	// One chain is preferred to many that are hardly better.
	weight := func(o order) float64 {
		if o.in == "" && o.z >= 0.9*best[o.by] {
			return best[o.by] + 0.5
		}
		return o.z
	}
	slices.SortStableFunc(list, func(a, b order) int { return cmp.Compare(weight(b), weight(a)) })
	return list
}

// The orders that no field has.
const (
	placeInBox     = "order of tubes.csv"
	placeInArchive = "order of the files"
)

// ordersOf returns the orders by one number that the falls of the clock support: all
// visits in one chain, and if that is not the whole story, a chain for each value of
// another field, and one for each stack.
func (c *calendar) ordersOf(path string, number map[int]int) []order {
	distinct := map[int]bool{}
	visits := make([]int, 0, len(number))
	for v, n := range number {
		distinct[n] = true
		visits = append(visits, v)
	}
	slices.Sort(visits)
	if len(distinct) < fewestOrdered && len(distinct)*4 < len(visits) || len(distinct) < 3 {
		return nil // a number of a device, a batch, a category
	}
	split := func(in string, key func(v int) string) order {
		o := order{by: path, in: in}
		byKey := map[string][]int{}
		for _, v := range visits {
			byKey[key(v)] = append(byKey[key(v)], v)
		}
		keys := make([]string, 0, len(byKey))
		for k := range byKey {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			if len(byKey[k]) > 1 {
				o.chains = append(o.chains, chainOf(byKey[k], number))
			}
		}
		c.weigh(&o)
		return o
	}
	list := []order{split("", func(int) string { return "" })}
	for _, by := range []string{"/sampler/serial", "/operator", "/kit/lot"} {
		if by != path {
			list = append(list, split("by "+by, func(v int) string { return c.visits[v].first(by) }))
		}
	}
	least := slices.Min(visitsNumbers(visits, number))
	for _, size := range stackSizes {
		if len(visits) > 2*size {
			list = append(list, split(fmt.Sprintf("in stacks of %d", size), func(v int) string {
				return strconv.Itoa((number[v] - least) / size)
			}))
		}
	}
	return slices.DeleteFunc(list, func(o order) bool {
		return o.tested && o.z < leastZ || len(o.chains) == 0 || !o.tested && 5*len(distinct) < 4*len(visits)
	})
}

func visitsNumbers(visits []int, number map[int]int) []int {
	list := make([]int, len(visits))
	for i, v := range visits {
		list[i] = number[v]
	}
	return list
}

// isPseudonym reports whether s has the look of a keyed code: sorting by it sorts by
// nothing.
func isPseudonym(s string) bool {
	return len(s) == 21 && strings.Count(s, "-") == 4
}
