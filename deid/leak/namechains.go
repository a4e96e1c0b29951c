package leak

import "strings"

// An inChain is a piece of a chain that a rule judges.
type inChain struct {
	chain []part
	at    int
}

func (x inChain) part() part { return x.chain[x.at] }

// pieceRules decide how certain it is that a piece of a chain is a name, regardless of
// its neighbours.
var pieceRules = []rule[inChain, Confidence]{
	{"an everyday word after a title or a label, or in a field without prose",
		func(p *page, x inChain) bool {
			q := x.part()
			return q.term.word() && (p.titled(q.first) || p.labelled(q) ||
				p.field && !q.term.weak && !q.term.cues.has(cueUnit))
		}, Likely},
	{"an everyday word that is written like a name",
		func(p *page, x inChain) bool {
			q := x.part()
			return q.term.word() && (p.marked(q.first) && p.lone(q) || p.opening(q) ||
				x.at > 0 && p.particle(x.chain[x.at-1], q))
		}, Possible},
	{"any other everyday word",
		func(_ *page, x inChain) bool { return x.part().term.word() }, ""},
	{"misspelt, and not after a title",
		func(p *page, x inChain) bool { return x.part().fuzzy && !p.titled(x.part().first) }, Possible},
	{"any other name", always[inChain], Likely},
}

// judge decides which pieces of a chain are names, and emits these: each by itself, with
// other names of the same subject, and with initials.
func (p *page) judge(c []part) {
	conf := make([]Confidence, len(c))
	raise := func(first, last int, k Confidence) {
		for n := first; n <= last; n++ {
			if rank(k) > rank(conf[n]) {
				conf[n] = k
			}
		}
	}
	for i, q := range c {
		if !q.named() {
			continue
		}
		raise(i, i, decide(p, pieceRules, inChain{c, i}))
		for j := i + 1; j < len(c) && j <= i+3; j++ {
			raise(i, j, p.pair(q, c[j], j == i+1))
		}
	}
	for i, q := range c { // an initial next to a family name whose owner has it
		for _, j := range [...]int{i - 1, i - 2, i + 1, i + 2} {
			if q.term == nil && j >= 0 && j < len(c) && p.initialOf(q, c[j]) {
				raise(min(i, j), max(i, j), Likely)
			}
		}
	}
	joinParticles(c, conf)
	p.emitNames(c, conf)
}

// named reports whether q is a name by itself, not an initial or a particle.
func (q part) named() bool { return q.term != nil && !q.term.part }

// pair returns how certain it is that q and r, which follows it, are names of one
// subject; "" if they are not.
func (p *page) pair(q, r part, adjacent bool) Confidence {
	if !r.named() || r.term == q.term || !shareRow(q.term.rows, r.term.rows) {
		return ""
	}
	if q.term.cues.both(r.term.cues).has(cueParticle) && p.caseOf(r.first) == lowerCase {
		return "" // el la
	}
	if q.term.word() && r.term.word() && (p.caseOf(q.first) == lowerCase || p.caseOf(r.first) == lowerCase) {
		if !adjacent || q.term.cues.with(r.term.cues).has(cueFunctionWord) {
			return "" // "will price"
		}
		return Possible
	}
	if q.fuzzy || r.fuzzy {
		return Likely
	}
	return Sure
}

// initialOf reports whether the single letter q is an initial of a subject who has the
// name r.
func (p *page) initialOf(q, r part) bool {
	return r.named() && p.hasInitial(r.term, string(p.word(q.first))) &&
		(p.caseOf(r.first) != lowerCase || !r.term.word())
}

func (p *page) hasInitial(t *term, letter string) bool {
	for _, r := range t.rows {
		if strings.Contains(p.lex.initials[r], letter) {
			return true
		}
	}
	return false
}

// joinParticles gives particles the confidence of the name to which they belong. Up to
// three may follow each other.
func joinParticles(c []part, conf []Confidence) {
	for range 3 {
		for i, q := range c {
			if conf[i] != "" || q.term == nil || !q.term.part {
				continue
			}
			for _, j := range [...]int{i + 1, i - 1} {
				if j >= 0 && j < len(c) && conf[j] != "" && c[j].term != nil && shareRow(q.term.rows, c[j].term.rows) {
					conf[i] = conf[j]
				}
			}
		}
	}
}

// emitNames emits adjacent names of c as one match, with the columns of the roster from
// which they come.
func (p *page) emitNames(c []part, conf []Confidence) {
	for i := 0; i < len(c); {
		if conf[i] == "" {
			i++
			continue
		}
		j, k := i, conf[i]
		var cols []string
		for ; j < len(c) && conf[j] != ""; j++ {
			if rank(conf[j]) > rank(k) {
				k = conf[j]
			}
			if t := c[j].term; t != nil && !t.part && !strings.Contains(strings.Join(cols, ", "), t.col) {
				cols = append(cols, t.col)
			}
		}
		p.emit(p.tok[c[i].first].s, p.tok[c[j-1].last].e, "A", "roster: "+strings.Join(cols, ", "), k)
		i = j
	}
}

// particle reports whether a is a particle before b in a name of the roster: "de groot".
func (p *page) particle(a, b part) bool {
	if b.term.cues.has(cueParticle) && p.caseOf(b.first) == lowerCase {
		return false // particles alone are not a name: "de la"
	}
	return a.term != nil && a.term.part && a.term.cues.has(cueParticle) && len(a.term.text) > 1 &&
		shareRow(a.term.rows, b.term.rows)
}
