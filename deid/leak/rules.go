package leak

// A rule decides on something found in a text, an X. A table of rules is read from
// the top; the first rule that applies decides.
type rule[X, Result any] struct {
	name    string // when it applies, for whoever reads the table
	applies func(p *page, x X) bool
	then    Result
}

// decide returns what the first rule that applies to x decides; the zero Result if
// none does.
func decide[X, Result any](p *page, rules []rule[X, Result], x X) (r Result) {
	for i := range rules {
		if rules[i].applies(p, x) {
			return rules[i].then
		}
	}
	return r
}

// always applies to whatever the rules above it leave.
func always[X any](*page, X) bool { return true }

// A reason is what a finding says of itself. The zero reason is no finding.
type reason struct {
	class Class
	basis string
	conf  Confidence
}

// report emits the folded bytes s to e as a finding for the reason, and reports
// whether there is one.
func (p *page) report(s, e int, why reason) bool {
	if why == (reason{}) {
		return false
	}
	p.emit(s, e, why.class, why.basis, why.conf)
	return true
}
