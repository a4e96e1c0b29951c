package leak

import (
	"strconv"
	"strings"
	"sync"
)

// Birth dates of the roster are found in looser forms than other dates, because a
// comparison with the roster rules out most chance hits. Other dates are left to
// findDate.

// findBirth finds a birth date of the roster that begins with the number or month at
// token i. It consists of three parts, separated by up to three characters of any kind
// and up to two words of one or two letters (04x04x1979, 04/04 of 1979, D04M04Y1979).
func (p *page) findBirth(i int) {
	var at [3]int
	at[0] = i
	for n := 1; n < 3; n++ {
		j := at[n-1] + 1
		for k := 0; k < 2 && j < len(p.tok) && !p.datePart(j) && p.tok[j].e-p.tok[j].s <= 2 &&
			partingGap(p.gap(j)); k++ {
			j++
		}
		if j >= len(p.tok) || !p.datePart(j) || !partingGap(p.gap(j)) {
			return
		}
		at[n] = j
	}
	if !p.bornOn(at) || p.measured(at[2]) {
		return
	}
	p.emit(p.tok[i].s, p.tok[at[2]].e, "C", "roster: birth_date", Likely)
}

// datePart reports whether token i can be a part of a date: a number of up to four
// digits, or a month.
func (p *page) datePart(i int) bool {
	return p.number(i) && p.tok[i].e-p.tok[i].s <= 4 || p.cues(i).has(cueMonth)
}

// bornOn reports whether the three parts, in any usual order, are the birth date of a
// subject. One of them must be a year of four digits. The year may be in the middle only
// if the month is a word.
func (p *page) bornOn(at [3]int) bool {
	year, month, day, words := 0, 0, 0, 0
	var buf [3]int
	rest := buf[:0] // numbers that are day or month
	for n, i := range at {
		if !p.number(i) {
			month = months()[string(p.word(i))]
			words++
			continue
		}
		v, size := p.num(i)
		switch {
		case size == 4 && year == 0 && (n != 1 || words == 1):
			year = v
		case size <= 2:
			rest = append(rest, v)
		}
	}
	switch {
	case year == 0 || words > 1 || len(rest)+words != 2:
		return false
	case words == 1:
		day = rest[0]
		return p.lex.births[birth{year, month, day}] && day > 0
	}
	a, b := rest[0], rest[1]
	return a > 0 && b > 0 && (p.lex.births[birth{year, a, b}] || p.lex.births[birth{year, b, a}])
}

// findSpokenBirth finds a birth date of the roster in words around the month at
// token i: "fourth of April nineteen seventy-nine".
func (p *page) findSpokenBirth(i int) {
	spoken := spokenDates()
	first, day, next := i, 0, i+1
	j := p.filler(i-1, -1)
	if p.number(j) {
		day, _ = p.num(j)
		first = j
	}
	for n, w := 0, ""; n < 4 && j-n >= 0 && !p.number(j-n); n++ {
		w = string(p.word(j-n)) + w
		if d := spoken.days[w]; d > 0 {
			first, day = j-n, d
		}
	}
	if day == 0 {
		k := p.filler(i+1, 1)
		if p.number(k) {
			day, _ = p.num(k)
			next = k + 1
		}
		for n, w := 0, ""; n < 4 && k+n < len(p.tok) && !p.number(k+n); n++ {
			w += string(p.word(k + n))
			if d := spoken.days[w]; d > 0 {
				day, next = d, k+n+1
			}
		}
	}
	if day == 0 {
		return
	}
	month := months()[string(p.word(i))]
	next = p.filler(next, 1)
	if next < len(p.tok) && p.number(next) {
		if y, n := p.num(next); n == 4 && p.lex.births[birth{y, month, day}] {
			p.emit(p.tok[first].s, p.tok[next].e, "C", "roster: birth_date", Likely)
		}
		return
	}
	for n, w := 0, ""; n < 9 && next+n < len(p.tok); n++ {
		w += string(p.word(next + n))
		if y := spoken.years[w]; y > 0 && p.lex.births[birth{y, month, day}] {
			p.emit(p.tok[first].s, p.tok[next+n].e, "C", "roster: birth_date", Likely)
		}
	}
}

// spoken maps the days and years in English, German, French and Spanish words to
// numbers. The words are folded and written without blanks.
type spoken struct{ days, years map[string]int }

var spokenDates = sync.OnceValue(func() spoken {
	s := spoken{make(map[string]int), make(map[string]int)}
	begins := centuries()
	for _, lang := range spokenLanguages {
		units := wordOrder("numbers-" + lang)
		for d := 1; d <= 31; d++ {
			w := cardinal(lang, units, d)
			s.days[w] = d
			for _, o := range ordinals(lang, w, d) {
				s.days[o] = d
			}
		}
		for y := 1880; y < 2100; y++ {
			for _, c := range begins[century{lang, y / 100}] {
				for _, between := range []string{"", "and", "und", "oh", "o"} {
					if rest := y % 100; rest == 0 {
						s.years[c] = y
					} else if rest < 10 || len(between) != 1 && between != "oh" {
						s.years[c+between+cardinal(lang, units, rest)] = y
					}
				}
			}
		}
	}
	return s
})

// spokenLanguages are the languages that have a list words/numbers-LANG.txt.
var spokenLanguages = []string{"en", "de", "fr", "es"}

// cardinal returns the cardinal number n, 1 to 99, in words.
func cardinal(lang string, units []string, n int) string {
	if n <= 20 {
		return units[n-1]
	}
	tens, one := units[17+n/10], n%10
	if n < 30 {
		tens = units[19]
	}
	if lang == "fr" && (n/10 == 7 || n/10 == 9) {
		one += 10
	}
	switch {
	case one == 0 && n == 80 && lang == "fr":
		return tens + "s"
	case one == 0:
		return tens
	case lang == "de":
		return units[one-1] + "und" + tens
	case lang == "fr" && (one == 1 || one == 11) && n < 80:
		return tens + "et" + units[one-1]
	case lang == "es" && n < 30:
		return "veinti" + units[one-1]
	case lang == "es":
		return tens + "y" + units[one-1]
	}
	return tens + units[one-1]
}

// ordinals returns the ordinal numbers for n, whose cardinal number is w.
func ordinals(lang, w string, n int) (list []string) {
	switch lang {
	case "en":
		for _, irregular := range entries("ordinals-en") {
			if rest, ok := strings.CutSuffix(w, irregular[0]); ok && (rest == "" || n > 20) {
				return []string{rest + irregular[1]}
			}
		}
		return []string{strings.TrimSuffix(w, "y") + map[bool]string{true: "ieth",
			false: "th"}[strings.HasSuffix(w, "y")]}
	case "de":
		stem := map[int]string{1: "erst", 3: "dritt", 7: "siebt", 8: "acht"}[n]
		if stem == "" {
			stem = w + map[bool]string{true: "t", false: "st"}[n < 20]
		}
		for _, end := range []string{"e", "en", "er"} {
			list = append(list, stem+end)
		}
	case "fr", "es":
		if n == 1 {
			return []string{"premier", "primero", "primer"}
		}
	}
	return list
}

// A century is the first two digits of a year, and a language.
type century struct {
	lang string
	c    int
}

// centuries returns the words with which the years of each century begin.
func centuries() map[century][]string {
	m := make(map[century][]string)
	for _, e := range entries("centuries") {
		c, _ := strconv.Atoi(e[1])
		m[century{e[0], c}] = e[2:]
	}
	return m
}
