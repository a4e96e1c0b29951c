package leak

// spokenDigits maps the words for digits in English, German, French and Spanish to their
// values, and words such as "double" to minus the number of repetitions.
var spokenDigits = wordNumbers("spokendigits")

// leastSpoken is the least number of consecutive words for digits.
const leastSpoken = 6

// findSpoken finds numbers and birth dates of the roster that are written in words.
func (p *page) findSpoken() {
	if len(p.lex.embedded.list) == 0 {
		return
	}
	if p.seen.has(cueMonth) && len(p.lex.births) > 0 {
		for i := range p.tok {
			if p.cues(i).has(cueMonth) {
				p.findSpokenBirth(i)
			}
		}
	}
	for i := leastSpoken - 1; i < len(p.tok); i++ { // six consecutive words contain one that is examined
		if i%leastSpoken != leastSpoken-1 || !p.saysDigit(i) {
			continue
		}
		first, last := i, i
		for first > 0 && len(p.gap(first)) <= 4 && p.saysDigit(first-1) {
			first--
		}
		for last+1 < len(p.tok) && len(p.gap(last+1)) <= 4 && p.saysDigit(last+1) {
			last++
		}
		if last-first+1 >= leastSpoken {
			p.spokenNumbers(first, last+1)
		}
		i = last
	}
}

func (p *page) saysDigit(i int) bool {
	_, ok := p.spokenDigit(i)
	return ok
}

// spokenDigit returns the value of the word or single digit at token i. A negative value
// is minus the number of times that the next digit counts.
func (p *page) spokenDigit(i int) (d int, ok bool) {
	w := p.word(i)
	switch {
	case len(w) > 6:
		return 0, false
	case len(w) == 1:
		return int(w[0]) - '0', p.tok[i].number
	case p.tok[i].number:
		return 0, false
	}
	d, ok = spokenDigits()[string(w)]
	return d, ok
}

// spokenNumbers finds numbers of the roster in the digits of the tokens from i to j-1.
func (p *page) spokenNumbers(i, j int) {
	var digits []byte
	var at []int // the token of each digit
	times := 1
	for k := i; k < j; k++ {
		d, _ := p.spokenDigit(k)
		if d < 0 {
			times = -d
			continue
		}
		for range times {
			digits, at = append(digits, byte('0'+d)), append(at, k)
		}
		times = 1
	}
	n := len(digits)
	digits = append(digits, make([]byte, 8)...)
	for s := 0; s < n; s++ {
		p.lex.embedded.at(digits[s:], false, func(v *embedded) {
			c := p.lex.kinds[v.what]
			if (v.form == embeddedDigits || v.form == embeddedDate) && c.class != "B" && s+len(v.key) <= n {
				p.emit(p.tok[at[s]].s, p.tok[at[s+len(v.key)-1]].e, c.class, c.basis, c.conf)
			}
		})
	}
}
