package leak

import (
	"bytes"
	"slices"
	"sort"
	"strings"
	"unicode/utf8"
)

// A part is a token taken for a piece of a roster name.
type part struct {
	first, last int // tokens; two where a name is cut by a hyphen or a line's end
	term        *term
	fuzzy       bool // one letter off
}

// joins says whether g can stand between the parts of one name.
func joins(g []byte) bool {
	if len(g) > 12 {
		return false
	}
	lines, commas := 0, 0
	for _, c := range g {
		switch c {
		case ' ', '\t', '\r', '-', '\'', '.', '_':
		case '\n':
			lines++
		case ',':
			commas++
		default:
			return false
		}
	}
	return lines < 2 && commas < 2
}

// findNames finds names of the roster and, behind titles and the words for
// relatives and staff, names that the roster does not know.
func (p *page) findNames() {
	for i := 0; i < len(p.tok); {
		if p.tok[i].number || !p.hopeful(i) {
			i++
			continue
		}
		if len(p.lex.initials) > 0 {
			if chain := p.chain(i); len(chain) > 0 {
				p.judge(chain)
				i = chain[len(chain)-1].last + 1
				continue
			}
			if p.short(i) {
				p.emit(p.tok[i].s, p.tok[i].e, "A", "roster: given_name, cut short", Possible)
			}
		}
		i++
	}
	if p.inner {
		return
	}
	for i := range p.tok {
		t := p.tok[i].term
		if t == nil {
			continue
		}
		if t.kind&(kTitle|kRole|kPatient|kKin) != 0 {
			p.afterTitle(i)
		}
		if t.text == "by" && i > 0 {
			p.afterBy(i)
		}
	}
}

// hopeful says whether a name of the roster can begin at token i at all: the word
// or the next one is part of a name or is cut by a hyphen, or the word is written
// with a capital or stands behind a title. Most words of a text are not.
func (p *page) hopeful(i int) bool {
	t := &p.tok[i]
	return p.field || t.lead || t.upper || i+1 < len(p.tok) && p.tok[i+1].lead || p.kind(i-1)&(kTitle|kPatient) != 0
}

// part returns what token i is as a piece of a roster name.
func (p *page) part(i int) (part, bool) {
	if i < 0 || i >= len(p.tok) || p.tok[i].number || p.tok[i].piece > 1 || p.runLen(i) > 2 {
		return part{}, false
	}
	// Guillau-<line end>me, Mac-Donald
	if i+1 < len(p.tok) && !p.tok[i+1].number {
		if g := p.gap(i + 1); len(g) > 0 && len(g) < 8 && (g[0] == '-' || g[0] == '\'') && bytes.Count(g, []byte("\n")) < 2 && len(bytes.Trim(g, "-' \r\n\t")) == 0 && (len(g) == 1 || bytes.IndexByte(g, '\n') > 0) {
			var room [64]byte
			if t := p.lex.words.look(append(append(room[:0], p.word(i)...), p.word(i+1)...)); t != nil && len(t.rows) > 0 && !t.part {
				return part{i, i + 1, t, false}, true
			}
		}
	}
	if p.name(i) {
		return part{i, i, p.tok[i].term, false}, true
	}
	return part{}, false
}

// chain returns the longest row of name pieces that begins at token i, spelling
// mistakes included where a neighbour vouches for them.
func (p *page) chain(i int) []part {
	var c []part
	next := i
	for next < len(p.tok) {
		if len(c) > 0 && !joins(p.gap(next)) {
			break
		}
		q, ok := p.part(next)
		if !ok {
			var before []part
			if len(c) > 0 {
				before = c[len(c)-1:]
			}
			q, ok = p.misspelt(next, before)
		}
		if !ok && p.initial(next) && (len(c) > 0 || p.name(next+1) && joins(p.gap(next+1))) {
			q, ok = part{next, next, nil, false}, true
		}
		if !ok {
			break
		}
		c = append(c, q)
		next = q.last + 1
	}
	if len(c) > 0 && !slices.ContainsFunc(c, func(q part) bool { return q.term != nil }) {
		return nil
	}
	return c
}

// initial says whether token i is a single letter that can stand for a name.
func (p *page) initial(i int) bool {
	w := p.word(i)
	if p.tok[i].number || utf8.RuneCount(w) != 1 || p.runLen(i) > 1 {
		return false
	}
	return p.caseOf(i) != lowerCase || bytes.HasPrefix(p.after(i), []byte("."))
}

// misspelt looks for a roster name one letter away from token i. Without a
// neighbour of the same subject it must be long, and written as a name.
func (p *page) misspelt(i int, before []part) (part, bool) {
	t := p.tok[i]
	if t.number || t.e-t.s < 4 || t.e-t.s > 30 || p.kind(i) != 0 || p.runLen(i) > 1 {
		return part{}, false
	}
	var next []part
	if q, ok := p.part(i + 1); ok && joins(p.gap(i+1)) {
		next = []part{q}
	}
	titled := p.titled(i)
	alone := titled || p.marked(i) || t.e-t.s >= 7 && p.caseOf(i) != lowerCase && !p.shouting(i, i)
	if len(before) == 0 && len(next) == 0 && !alone {
		return part{}, false
	}
	var found *term
	p.lex.typos.near(p.word(i), func(x *term) bool {
		for _, n := range [][]part{before, next} {
			if len(n) == 1 && n[0].term != nil && shareRow(n[0].term.rows, x.rows) {
				found = x
				return false
			}
		}
		if alone && len(x.text) >= 5 && (!x.word() || titled) {
			found = x
		}
		return true
	})
	return part{i, i, found, true}, found != nil
}

// oneOff says whether a and b are one edit apart, a swap of neighbours being one.
func oneOff(a, b string) bool {
	x, y := []rune(a), []rune(b)
	i := 0
	for i < len(x) && i < len(y) && x[i] == y[i] {
		i++
	}
	x, y = x[i:], y[i:]
	for len(x) > 0 && len(y) > 0 && x[len(x)-1] == y[len(y)-1] {
		x, y = x[:len(x)-1], y[:len(y)-1]
	}
	switch {
	case len(x)+len(y) == 1, len(x) == 1 && len(y) == 1:
		return true
	}
	return len(x) == 2 && len(y) == 2 && x[0] == y[1] && x[1] == y[0]
}

func shareRow(a, b []int32) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	for _, r := range a {
		if _, ok := slices.BinarySearch(b, r); ok {
			return true
		}
	}
	return false
}

// titled says whether a title, or a word for the subject, stands before token i.
func (p *page) titled(i int) bool {
	k := p.kind(i - 1)
	if k&(kTitle|kPatient) == 0 {
		return false
	}
	if g := string(p.gap(i)); g != " " && g != ". " && g != "." && g != "\n" && g != "  " {
		return false
	}
	if k&kTitle != 0 {
		return true
	}
	// "patient will return": a capital is needed where the text has any.
	return p.kind(i)&(kFunction|kThing|kPlain|kUnit|kCode) == 0 && (p.caseOf(i) != lowerCase || p.kind(i)&kWord == 0)
}

// judge decides which pieces of a chain are names, and emits them.
func (p *page) judge(c []part) {
	strong := make([]Confidence, len(c))
	raise := func(i int, k Confidence) {
		if rank(k) > rank(strong[i]) {
			strong[i] = k
		}
	}
	full := make([]bool, len(c))
	for i, q := range c {
		if q.term == nil || q.term.part {
			continue
		}
		switch {
		case q.term.word() && (p.titled(q.first) || p.labelled(q) || p.field && !q.term.weak && q.term.kind&kUnit == 0):
			raise(i, Likely)
		case q.term.word():
			if p.marked(q.first) && p.lone(q) || p.opening(q) || i > 0 && p.particle(c[i-1], q) {
				raise(i, Possible)
			}
		case q.fuzzy && !p.titled(q.first):
			raise(i, Possible)
		default:
			raise(i, Likely)
		}
		for j := i + 1; j < len(c) && j <= i+3; j++ {
			r := c[j]
			if r.term == nil || r.term.part || r.term == q.term || !shareRow(q.term.rows, r.term.rows) {
				continue
			}
			if q.term.kind&r.term.kind&kParticle != 0 && p.caseOf(r.first) == lowerCase {
				continue // el la
			}
			k := Sure
			if q.term.word() && r.term.word() && (p.caseOf(q.first) == lowerCase || p.caseOf(r.first) == lowerCase) {
				if j > i+1 || (q.term.kind|r.term.kind)&kFunction != 0 {
					continue // "will price"
				}
				k = Possible
			}
			if k == Sure && (q.fuzzy || r.fuzzy) {
				k = Likely
			}
			for n := i; n <= j; n++ {
				raise(n, k)
				full[n] = true
			}
		}
	}
	// An initial beside a family name whose owner has it.
	for i, q := range c {
		if q.term != nil {
			continue
		}
		for _, j := range []int{i - 1, i - 2, i + 1, i + 2} {
			if j < 0 || j >= len(c) || c[j].term == nil || c[j].term.part {
				continue
			}
			if p.hasInitial(c[j].term, string(p.word(q.first))) && (p.caseOf(c[j].first) != lowerCase || !c[j].term.word()) {
				for n := min(i, j); n <= max(i, j); n++ {
					raise(n, Likely)
				}
			}
		}
	}
	// Particles go with the name they belong to.
	for n := 0; n < 3; n++ {
		for i, q := range c {
			if strong[i] != "" || q.term == nil || !q.term.part {
				continue
			}
			for _, j := range []int{i + 1, i - 1} {
				if j >= 0 && j < len(c) && strong[j] != "" && c[j].term != nil && shareRow(q.term.rows, c[j].term.rows) {
					strong[i] = strong[j]
				}
			}
		}
	}
	for i := 0; i < len(c); {
		if strong[i] == "" {
			i++
			continue
		}
		j, k := i, strong[i]
		var cols []string
		for ; j < len(c) && strong[j] != ""; j++ {
			if rank(strong[j]) > rank(k) {
				k = strong[j]
			}
			if t := c[j].term; t != nil && !t.part && !strings.Contains(strings.Join(cols, ", "), t.col) {
				cols = append(cols, t.col)
			}
		}
		p.emit(p.tok[c[i].first].s, p.tok[c[j-1].last].e, "A", "roster: "+strings.Join(cols, ", "), k)
		i = j
	}
}

// particle says whether a stands before b as in a name of the roster: "de groot".
func (p *page) particle(a, b part) bool {
	if b.term.kind&kParticle != 0 && p.caseOf(b.first) == lowerCase {
		return false // particles alone are no name: "de la"
	}
	return a.term != nil && a.term.part && a.term.kind&kParticle != 0 && len(a.term.text) > 1 && shareRow(a.term.rows, b.term.rows)
}

// labelled says whether q stands behind a word for names, as in "Name: Long", or
// alone behind a title or a word for a person: "Patient: Long".
func (p *page) labelled(q part) bool {
	k := p.kind(q.first - 1)
	if q.first > 0 && string(p.word(q.first-1)) == "by" && strings.Contains(string(p.gap(q.first)), ":") { // "seen by: Long"
		k |= kLabel
	}
	if k&(kLabel|kTitle|kPatient|kKin|kRole) == 0 || p.caseOf(q.first) == lowerCase {
		return false
	}
	switch strings.TrimSpace(string(p.gap(q.first))) {
	case ":", "=", "-", "#":
		return k&kLabel != 0 || p.ends(q.last)
	case "":
		return k&kLabel != 0 && p.kind(q.first)&kPlain == 0
	}
	return false
}

// ends says whether nothing follows token i in its line.
func (p *page) ends(i int) bool {
	after := bytes.TrimLeft(p.after(i), " .,;!?)\"'\r")
	return i+1 == len(p.tok) || len(after) > 0 && after[0] == '\n'
}

// opening says whether a word that is also a name stands at the beginning of a
// sentence, where a capital tells nothing, as a person does: it owns something
// ("Long's tube"), is or does something ("White was late"), or is no word with
// which notes begin and does not go with a noun ("Baker, second visit", but "King
// size pillow").
func (p *page) opening(q part) bool {
	k, n, after := p.kindAsName(q), q.last+1, string(p.after(q.last))
	c, next := p.caseOf(q.first), p.kind(n)
	acts := next&(kIs|kActs) != 0 && after == " " // "May coughed", but "May cough"
	switch {
	case !p.sentenceStart(q.first),
		k&(kThing|kUnit|kPlace|kRole|kTitle|kPatient|kKin|kCode|kWeekday) != 0, k&kMonth != 0 && !acts:
		return false
	case c == lowerCase, c == allCaps && p.shouting(q.first, q.last):
		return acts && k&(kOpens|kFunction) == 0
	case n == len(p.tok):
		return k&(kOpens|kFunction) == 0
	case after == "'" && string(p.word(n)) == "s":
		return true
	case acts && k&kFunction != 0: // "Best was 450 ml"
		return next&kActs != 0 && utf8.RuneCount(p.word(q.first)) > 2 || string(p.word(q.first)) == "will"
	case acts:
		return true
	case after == " " && stateOf[string(p.word(n))] && utf8.RuneCount(p.word(q.first)) > 2:
		return true
	case k&(kOpens|kFunction) != 0 || next&kPlace != 0 || p.number(n) && !p.clock(n):
		return false
	case strings.TrimSpace(after) != "" || strings.Contains(after, "\n"):
		return after[0] != '-' && after[0] != '\''
	}
	return p.ofPerson(n) || p.clock(n)
}

// kindAsName is what the vocabulary says of the word of q. With a capital, and
// behind no number, it is no unit: Ng.
func (p *page) kindAsName(q part) kind {
	if p.caseOf(q.first) == capital && !p.number(q.first-1) {
		return q.term.kind &^ kUnit
	}
	return q.term.kind
}

// ofPerson says whether token i is what stands behind a person's name or number in
// notes.
func (p *page) ofPerson(i int) bool {
	w := string(p.word(i))
	return p.kind(i)&(kIs|kActs|kPlain|kPerson) != 0 || ofPersons[w] || stateOf[w] || verb(w)
}

// ofPersons are words that stand behind a person's name in notes: "Baker tube B",
// "Baker late".
var ofPersons = map[string]bool{"tube": true, "tubes": true, "sample": true, "samples": true, "mask": true, "session": true, "test": true, "attempt": true,
	"first": true, "second": true, "third": true, "late": true, "early": true, "ready": true, "alone": true, "never": true, "always": true}

// stateOf are states of persons alone: "White anxious".
var stateOf = map[string]bool{"ill": true, "unwell": true, "sick": true, "upset": true, "tired": true, "anxious": true, "nervous": true, "dizzy": true,
	"breathless": true, "pregnant": true}

// behindPerson says whether q stands behind words that a person's name follows:
// "asked Will to wait", "spoke to Hall", "tube for Long".
func (p *page) behindPerson(q part) bool {
	i := q.first
	if i == 0 || string(p.gap(i)) != " " || p.number(q.last+1) || p.kind(q.last+1)&kNumeral != 0 {
		return false
	}
	switch w := string(p.word(i - 1)); w {
	case "to":
		return i > 1 && toPerson[string(p.word(i-2))]
	case "for", "with", "of", "by", "says":
		return p.kind(i)&(kMonth|kWeekday) == 0 && (utf8.RuneCount(p.word(i)) > 2 || p.caseOf(i) == capital && p.kind(i)&kFunction == 0)
	default:
		return takesPerson[w]
	}
}

var (
	takesPerson = map[string]bool{"asked": true, "told": true, "called": true, "saw": true, "met": true, "helped": true, "let": true, "gave": true,
		"phoned": true, "rang": true}
	toPerson = map[string]bool{"spoke": true, "spoken": true, "talked": true, "given": true, "gave": true, "belongs": true, "handed": true, "explained": true}
)

// verb says whether w is probably a verb of the past: collapsed. Some words of
// that form go with a noun: "Pearl coloured".
func verb(w string) bool { return len(w) > 4 && strings.HasSuffix(w, "ed") && !formed[w] }

var formed = map[string]bool{"coloured": true, "colored": true, "shaped": true, "sized": true, "flavoured": true, "flavored": true, "scented": true,
	"based": true, "lined": true, "plated": true, "coated": true}

// lone says whether a word that is also a name, with a capital within a sentence,
// is no month or weekday in use as one. Of those words that are of use for much
// else, such as will and hall, one counts only behind what is done to a person.
func (p *page) lone(q part) bool {
	k := p.kindAsName(q)
	if p.behindPerson(q) {
		return true
	}
	if k&(kFunction|kThing|kUnit|kPlace|kRole|kTitle|kPatient|kCode) != 0 {
		return false
	}
	if k&(kMonth|kWeekday) != 0 {
		return p.kind(q.first-1)&kBefore == 0 && !p.number(q.first-1) && !p.number(q.last+1)
	}
	return !p.number(q.last+1) || len(bytes.Trim(p.after(q.last), " ")) > 0
}

func (p *page) hasInitial(t *term, letter string) bool {
	for _, r := range t.rows {
		if strings.Contains(p.lex.initials[r], letter) {
			return true
		}
	}
	return false
}

// afterTitle finds the capitalised words after a title, a word for staff or a
// relative at token i.
func (p *page) afterTitle(i int) {
	k := p.kind(i)
	next := i + 1
	gap := func() string { return string(bytes.ReplaceAll(p.gap(next), []byte("\n"), []byte(" "))) }
	if next >= len(p.tok) {
		return
	}
	if g := gap(); g != " " && g != ". " && g != "." && g != "  " && !(k&kKin != 0 && (g == "'" || g == "-")) && !(k&(kKin|kRole) != 0 && (g == ", " || g == " (")) {
		return
	}
	for n := 0; n < 4 && k&(kKin|kRole) != 0 && next+1 < len(p.tok); n++ { // sister-in-law, wife's name is, friend called
		switch string(p.word(next)) {
		case "called", "named", "is", "was", "name", "in", "law", "s":
			next++
			if g := gap(); g != " " && g != "-" && g != "'" && g != ": " && g != ", " {
				return
			}
			continue
		}
		break
	}
	first, last := -1, -1
	for n := 0; n < 6 && next < len(p.tok); n, next = n+1, next+1 {
		if g := gap(); first >= 0 && g != " " && g != "-" && g != "'" && g != ". " && g != "." && g != "" || p.tok[next].number {
			break
		}
		if first >= 0 && strings.HasPrefix(gap(), ".") && p.tok[next-1].e-p.tok[next-1].s > 2 {
			break // the sentence ends
		}
		kk := p.kind(next)
		if kk&(kTitle|k&kRole) != 0 && first < 0 { // Prof. Dr., nurse practitioner
			continue
		}
		if kk&kParticle != 0 && (p.caseOf(next) == lowerCase || kk&kWord == 0) {
			if first < 0 {
				first = next
			}
			continue
		}
		c := p.caseOf(next)
		if k&kTitle != 0 && c == capital {
			kk &^= kPlain // Dr Said
		}
		if c == lowerCase || kk&(kPlain|kThing|kPlace|kUnit|kCode|kBirth|kPatient|kWeekday) != 0 || c == allCaps && p.shouting(i, next) {
			break
		}
		if k&kPatient != 0 && kk != 0 || c == capital && p.runLen(next) > 1 || c == allCaps && p.tok[next].e-p.tok[next].s < 3 && k&kTitle == 0 {
			break
		}
		if first < 0 {
			first = next
		}
		last = next
	}
	if last < 0 || first < 0 {
		return
	}
	conf, basis := Likely, "pattern: title and name"
	switch {
	case k&kPatient != 0:
		conf, basis = Possible, "pattern: patient and name"
	case k&kKin != 0:
		basis = "pattern: relative and name"
	case k&kRole != 0:
		basis = "pattern: staff and name"
	}
	p.emit(p.tok[first].s, p.tok[last].e, "A", basis, conf)
}

// afterBy finds who signed, saw or collected something.
func (p *page) afterBy(i int) {
	switch string(p.word(i - 1)) {
	case "signed", "witnessed", "seen", "entered", "checked", "collected", "supervised", "reviewed", "countersigned", "completed", "assisted", "interpreted", "brought", "accompanied":
	default:
		return
	}
	first, last := i+1, i
	for k := first; k < len(p.tok) && k < i+4; k++ {
		g := string(p.gap(k))
		if k > first && p.tok[k-1].e-p.tok[k-1].s == 1 && g == ". " {
			g = " "
		}
		if g != " " && g != "-" && g != "'" || p.tok[k].number || p.caseOf(k) == lowerCase || p.shouting(first, k) || p.kind(k)&^(kWord|kParticle) != 0 || k+1 < len(p.tok) && p.kind(k+1)&kPlace != 0 {
			break
		}
		last = k
	}
	if last >= first && p.tok[last].e-p.tok[last].s > 1 {
		p.emit(p.tok[first].s, p.tok[last].e, "A", "pattern: staff and name", Possible)
	}
}

// short finds a given name cut short, Véro for Véronique, written as a name.
func (p *page) short(i int) bool {
	if w := p.word(i); len(w) < 4 || p.kind(i) != 0 || !p.lex.shorts.has(wordHash(w)) || p.caseOf(i) != capital || !p.marked(i) || p.runLen(i) > 1 {
		return false
	}
	w := string(p.word(i))
	k := sort.SearchStrings(p.lex.givens, w)
	return k < len(p.lex.givens) && strings.HasPrefix(p.lex.givens[k], w) && len(p.lex.givens[k]) >= len(w)+2
}
