package leak

// A rule decides about an X that was found in a text. A table of rules is read from the
// top; the first rule that applies decides.
type rule[X, Result any] struct {
	name    string // when the rule applies, for the reader of the table
	applies func(p *page, x X) bool
	then    Result
}

// decide returns the result of the first rule that applies to x, or the zero Result if
// none does.
func decide[X, Result any](p *page, rules []rule[X, Result], x X) (r Result) {
	for i := range rules {
		if rules[i].applies(p, x) {
			return rules[i].then
		}
	}
	return r
}

// always is the condition of a last rule, for everything that the rules above leave.
func always[X any](*page, X) bool { return true }

// A reason is the description of a match. The zero reason means that there is none.
type reason struct {
	class Class
	basis string
	conf  Confidence
}

// report emits the folded bytes s to e as a match with the given description, unless
// that is zero, and reports whether it emitted one.
func (p *page) report(s, e int, why reason) bool {
	if why == (reason{}) {
		return false
	}
	p.emit(s, e, why.class, why.basis, why.conf)
	return true
}
