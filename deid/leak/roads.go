package leak

import "strings"

// roadsBefore are words for streets that stand before the name, with whether
// they are written small in the middle of a text. Common practice of postal
// addresses, no source.
var roadsBefore = func() map[string]bool {
	m := make(map[string]bool)
	for _, w := range strings.Fields("rue avenue chemin boulevard impasse allee quai ul ulica al aleja") {
		m[w] = true
	}
	for _, w := range strings.Fields("via viale corso piazza vicolo calle avenida paseo plaza camino rua travessa largo praca") {
		m[w] = false
	}
	return m
}()

// roadBefore finds a street of no subject that the capitalised word at token i
// names: 12 rue Pasteur, Via Roma 5, ul. Polna 3.
func (p *page) roadBefore(i int) bool {
	k := i - 1
	for k > 0 && k > i-4 && p.kind(k)&kParticle != 0 {
		k--
	}
	if k < 0 || p.tok[k].number || p.caseOf(i) == lowerCase {
		return false
	}
	small, ok := roadsBefore[string(p.word(k))]
	if !ok || !small && p.caseOf(k) == lowerCase || len(p.gap(k+1)) > 2 {
		return false
	}
	first, last := k, i
	switch {
	case p.number(i+1) && string(p.gap(i+1)) == " " && p.tok[i+1].e-p.tok[i+1].s < 5:
		last = i + 1
	case k > 0 && p.number(k-1) && p.near(k) && p.tok[k-1].e-p.tok[k-1].s < 5:
		first = k - 1
	default:
		return false
	}
	p.emit(p.tok[first].s, p.tok[last].e, "B", "pattern: street address", Likely)
	return true
}
