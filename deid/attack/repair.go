package attack

import (
	"slices"
	"sort"
)

// Bounds of repair: pieces that were put aside are few, or the order is another one.
const (
	mostRepaired = 2000      // visits of a chain
	mostAside    = 100       // visits left out
	mostTries    = 3_000_000 // visits in all chains that are tried, for one attacker
	mostSuspects = 200       // of a contradiction
	fewestApart  = 5         // visits to each that is left out, on average
)

// repair leaves out of a chain the few visits for which a piece was used that had been put
// aside: as long as the chain contradicts itself, that visit of a contradiction without
// which the chain is good for longest. It reports whether a chain without contradictions
// remains.
func (g *guess) repair(o order) (order, bool) {
	if len(o.chains) != 1 || len(o.chains[0]) > mostRepaired {
		return o, false
	}
	chain := g.smooth(o.chains[0])
	good := g.reach(chain, 0)
	for aside := 0; good < len(chain); aside++ {
		if g.tries > mostTries || aside == mostAside || aside >= 4 && good < fewestApart*aside {
			return o, false
		}
		end := good + 1 // chain[:end] contradicts itself, and so does chain[from:end]
		from := sort.Search(good, func(i int) bool { return g.solvable(chain[i+1 : end]) })
		var best [][]int
		good = 0
		for _, i := range g.suspects(chain, from, end) {
			if g.tries > mostTries {
				break
			}
			without := slices.Delete(slices.Clone(chain), i, i+1)
			if r := g.reach(without, end-2); r > good {
				best, good = without, r
			}
		}
		if best == nil {
			return o, false
		}
		chain = best
	}
	o.chains = [][][]int{chain}
	return o, true
}

// smooth leaves out the visits whose time of day does not fit between those before and
// after them: a visit that is left out costs half a fall of the clock.
func (g *guess) smooth(chain [][]int) [][]int {
	const mostInRow, cost = 12, 0.5
	best, before := make([]float64, len(chain)), make([]int, len(chain))
	for i := range chain {
		best[i], before[i] = cost*float64(i), -1
		for j := max(0, i-mostInRow); j < i; j++ {
			c := best[j] + cost*float64(i-j-1)
			if fell(g.c.visits[chain[j][0]], g.c.visits[chain[i][0]]) {
				c++
			}
			if c < best[i] {
				best[i], before[i] = c, j
			}
		}
	}
	last := len(chain) - 1
	for i := max(0, last-mostInRow); i < len(chain); i++ {
		if best[i]+cost*float64(len(chain)-1-i) < best[last]+cost*float64(len(chain)-1-last) {
			last = i
		}
	}
	var kept [][]int
	for i := last; i >= 0; i = before[i] {
		kept = append(kept, chain[i])
	}
	slices.Reverse(kept)
	return kept
}

// suspects returns the links of a contradiction, any of which may be its cause.
func (g *guess) suspects(chain [][]int, from, end int) []int {
	list := []int{}
	for i := max(from, end-mostSuspects); i < end; i++ {
		list = append(list, i)
	}
	return list
}

func (g *guess) solvable(chain [][]int) bool {
	g.tries += len(chain)
	c := g.c.clone()
	c.inOrder(chain, 0)
	return c.propagate()
}

// reach returns how many links from the beginning do not contradict each other, 0 if fewer
// than least do.
func (g *guess) reach(chain [][]int, least int) int {
	if !g.solvable(chain[:least]) {
		return 0
	}
	low, high := least, len(chain)+1 // chain[:low] is good, chain[:high] is not
	for step := 4; low+step < high; step *= 2 {
		if !g.solvable(chain[:low+step]) {
			high = low + step
			break
		}
		low += step
	}
	return low + sort.Search(high-low-1, func(i int) bool { return !g.solvable(chain[:low+i+1]) })
}
