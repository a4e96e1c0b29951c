package schema

import "regexp/syntax"

// A schema that came with a shipment is untrusted input, and so is every record. These bound the
// cost of checking one against the other. A unit of work is a comparison of one step of a
// pattern with one byte, or of a listed value with one value.
const (
	maxPatternSteps = 4000       // of one pattern, once it is compiled
	maxSchemaSteps  = 100_000    // of all patterns
	maxListed       = 100_000    // values in all "enum"
	maxWork         = 20_000_000 // for one record: a fifth of a second
	maxPath         = 64 * 65    // bytes; no plan has a longer path, and every value below it would copy it
)

// patternSteps returns the number of steps of the program that RE2 makes from a pattern, 0 if it
// is not valid.
func patternSteps(pattern string) int {
	re, err := syntax.Parse(pattern, syntax.Perl)
	if err != nil {
		return 0
	}
	prog, err := syntax.Compile(re.Simplify())
	if err != nil {
		return 0
	}
	return len(prog.Inst)
}

// bound sets the cost of a leaf's keywords. The message says which cost is too high, or is "".
func (w *shaper) bound(s *shape) (message string) {
	if p := s.word("pattern"); p != nil {
		n := w.steps[p.Text]
		if n == 0 {
			n = patternSteps(p.Text)
			w.steps[p.Text] = n
		}
		w.allSteps += n
		switch {
		case n > maxPatternSteps:
			return `the "pattern" takes thousands of steps for each letter: write it without large repetitions`
		case w.allSteps > maxSchemaSteps:
			return `the patterns of the schema take too many steps together: write them without large repetitions`
		}
		s.cost.perByte = n
	}
	if e := s.word("enum"); e != nil {
		s.cost.perValue = len(e.Items)
		if w.listed += len(e.Items); w.listed > maxListed {
			return `the schema lists more than 100,000 values in "enum"`
		}
	}
	return ""
}

// A leafCost is the work for one value of a leaf.
type leafCost struct{ perByte, perValue int }

// costs returns the sums of the costs by the path of the leaves, with "*" for every index.
func (s *shape) costs() map[string]leafCost {
	all := make(map[string]leafCost)
	s.each(func(leaf *shape) {
		c := all[leaf.path]
		all[leaf.path] = leafCost{c.perByte + leaf.cost.perByte, c.perValue + leaf.cost.perValue}
	})
	return all
}

// unique returns the paths of the lists whose entries must differ, which are compared in pairs.
func (s *shape) unique(found map[string]bool) map[string]bool {
	for _, b := range s.branches {
		b.unique(found)
	}
	for _, m := range s.members {
		m.unique(found)
	}
	if s.items != nil {
		if u := s.word("uniqueItems"); u != nil && u.Text == "true" {
			found[s.path] = true
		}
		s.items.unique(found)
	}
	return found
}

// Work returns an upper bound of the work of checking n. It stops counting a little above
// 20,000,000, the most that a record may cost.
func (v *Validator) Work(n *Node) (total int) {
	n.Walk(func(at Place, n *Node) bool {
		total++
		switch c := v.costs[at.Path]; {
		case n.Kind == Array && v.unique[at.Path]:
			total += len(n.Items) * len(n.Items)
		case n.Kind == String:
			total += c.perByte*len(n.Text) + c.perValue
		case n.Kind != Array && n.Kind != Object:
			total += c.perValue
		}
		return total <= maxWork && len(at.Path) <= maxPath
	})
	return total
}
