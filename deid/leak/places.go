package leak

import (
	"bytes"
	"slices"
	"strings"
)

// streetWords maps the words for kinds of street, and their abbreviations, to
// full spellings. Common practice of postal addresses, no source.
var streetWords = func() map[string][]string {
	m := make(map[string][]string)
	for _, line := range strings.Split(`street str st strasse strase|road rd|avenue ave av avda avenida aven|lane ln|drive dr drv|close cl|court ct|crescent cres cr|terrace ter terr
		square sq|place pl|gardens gdns gdn|grove gr grv|boulevard blvd bd boul bvd|highway hwy|parkway pkwy|park pk|hill hl|circle cir|way wy|walk wlk|mews mws|green grn|view vw|rise ri
		mount mt|heights hts|fields flds fld|forge frg|forges frgs|valley vly|valleys vlys|plaza plz pza|piazza pzza|via v|viale vle|corso cso|strada str|vicolo vlo|largo lgo|calle c|paseo po pso|carretera ctra|camino cno
		rua r|travessa tv trav|praca pca|estrada estr|rue|impasse imp|allee all|chemin ch che|route rte|quai q|passage pass psg|voie|cours crs
		platz|weg wg|gasse g|laan ln|straat|plein pln|gracht gr|ulica ul|aleja al|aleje|plac|osiedle os|gata g|vag v|vagen|gatan|caddesi cad cd|sokak sk sok|mahallesi mah|utca u|ut|ter|namesti nam
		saint st s|sainte ste|north n|south s|east e|west w|doctor dr|apartment apt|lakotelep ltp|sankt skt st|suite ste|linja|katu k|bank bk|bridge br brg|orchard orch|station stn sta|meadow mdw|mill ml|church ch|field fld`, "\n") {
		for _, group := range strings.Split(line, "|") {
			w := strings.Fields(group)
			for _, x := range w {
				m[x] = append(m[x], w[0])
			}
		}
	}
	return m
}()

// streetEnds are endings of one-word street names and what they shorten to.
var streetEnds = [][]string{{"strasse", "str", "stras"}, {"weg", "wg", "w"}, {"gasse", "g"}, {"platz", "pl"}, {"straat", "str"}, {"laan", "ln"}, {"gatan", "g"}, {"gata", "g"}, {"allee", "all"}, {"vagen", "v"}, {"plein", "pln"}, {"gracht", "gr"}, {"katu", "k"}, {"tie", "t"}}

// addStreet enters a street without its house number.
func (l *lexicon) addStreet(v, basis string) {
	w := split(foldString(v))
	for len(w) > 0 && class[w[0][0]] == cDigit {
		w = w[1:]
	}
	// A letter behind the house number, and what follows it.
	if i := slices.IndexFunc(w, func(x string) bool { return class[x[0]] == cDigit }); i > 0 {
		w = w[:i]
	}
	if len(w) > 1 && len(w[0]) == 1 { // 27a Long Lane
		w = w[1:]
	}
	if len(w) == 0 {
		return
	}
	n, plain := 0, true
	for _, x := range w {
		n += len(x)
		plain = plain && (vocabulary[x] != 0 || streetWords[x] != nil || len(x) < 4)
	}
	if n < 5 {
		return
	}
	enter := func(first string, words []string) {
		t := l.term(first)
		for _, p := range t.phrases {
			if slices.Equal(p.words, words) && p.basis == basis {
				return
			}
		}
		t.phrases = append(t.phrases, &phrase{words, "B", basis, Likely, plain})
	}
	for _, first := range spellings(w[0]) {
		enter(first, append([]string{first}, w[1:]...))
	}
	if ends, ok := contracted[w[0]]; ok {
		enter(w[0][:1], append([]string{w[0][:1], ends}, w[1:]...))
	}
}

// contracted holds the endings of Italian words cut in the middle, P.zza.
var contracted = map[string]string{"piazza": "zza", "piazzale": "le", "viale": "le", "corso": "so", "largo": "go", "vicolo": "lo", "strada": "da"}

// spellings returns the ways in which a word of an address is written.
func spellings(w string) []string {
	out := []string{w}
	for _, full := range streetWords[w] {
		for x, y := range streetWords {
			if x != w && slices.Contains(y, full) {
				out = append(out, x)
			}
		}
	}
	for _, ends := range streetEnds {
		for _, e := range ends {
			if stem, ok := strings.CutSuffix(w, e); ok && len(stem) >= 3 {
				for _, f := range ends {
					if f != e {
						out = append(out, stem+f)
					}
				}
				return out
			}
		}
	}
	return out
}

// sameWord compares words of an address.
func sameWord(a string, b []byte) bool {
	if a == string(b) {
		return true
	}
	for _, full := range streetWords[a] {
		if slices.Contains(streetWords[string(b)], full) {
			return true
		}
	}
	return len(a) > 5 && slices.Contains(spellings(a), string(b))
}

// findPhrases finds streets, places and other values of several words.
func (p *page) findPhrases() {
	for i := range p.tok {
		t := &p.tok[i]
		if t.upper && !p.inner {
			p.findAddress(i)
		}
		if t.term == nil {
			continue
		}
		for _, f := range t.term.phrases {
			p.findPhrase(i, f)
		}
	}
}

func (p *page) findPhrase(i int, f *phrase) {
	if p.runLen(i) > 2 {
		return
	}
	k := i
	for n, w := range f.words {
		if n == 0 {
			continue
		}
		k++
		if k >= len(p.tok) || !(joins(p.gap(k)) || len(p.gap(k)) < 3 && bytes.IndexByte(p.gap(k), '/') >= 0) || !sameWord(w, p.word(k)) {
			return
		}
	}
	first, last, conf := i, k, f.conf
	street := f.class == "B" && f.conf == Likely
	numbered := false
	if street {
		switch {
		case p.number(i-1) && p.near(i):
			first, numbered = i-1, true
		case i > 1 && p.number(i-2) && p.near(i) && p.near(i-1) && p.tok[i-1].e-p.tok[i-1].s == 1:
			first, numbered = i-2, true
		case p.number(k+1) && p.near(k+1):
			last, numbered = k+1, true
		}
		if numbered {
			conf = Sure
			if last > k && last+1 < len(p.tok) && p.tok[last+1].glued {
				last++
			}
		}
	}
	if f.plain && !numbered && len(f.words) > 2 {
		conf = Possible
	}
	if f.plain && !numbered && (len(f.words) == 1 || len(f.words) == 2 && f.class == "B") {
		for n := i; n <= k; n++ {
			if p.caseOf(n) == lowerCase && p.kind(n)&kParticle == 0 {
				return
			}
		}
		if p.shouting(i, k) || i == k && !p.marked(i) {
			return
		}
	}
	p.emit(p.tok[first].s, p.tok[last].e, f.class, f.basis, conf)
}

// findAddress finds a street of no subject by its form: a number, capitalised
// words and a word for a street, or the other way round.
func (p *page) findAddress(i int) {
	if i > 0 && p.roadBefore(i) {
		return
	}
	if p.kind(i)&kRoad != 0 && p.caseOf(i) != lowerCase { // 22 Baker Lane
		k := i - 1
		for k >= 0 && k > i-4 && !p.tok[k].number && (string(p.gap(k+1)) == " " || string(p.gap(k+1)) == "'") && p.caseOf(k) != lowerCase && p.kind(k)&(kThing|kCode) == 0 {
			k--
		}
		if k < i-1 && p.number(k) && !p.tok[k].glued && string(p.gap(k+1)) == " " && p.tok[k].e-p.tok[k].s < 6 && !p.shouting(k+1, i) {
			p.emit(p.tok[k].s, p.tok[i].e, "B", "pattern: street address", Likely)
		}
		return
	}
	if i+1 >= len(p.tok) || !p.number(i+1) || string(p.gap(i+1)) != " " && string(p.gap(i+1)) != ". " || p.tok[i+1].e-p.tok[i+1].s > 4 || p.caseOf(i) == lowerCase {
		return
	}
	for _, end := range []string{"strasse", "str", "gasse", "straat", "gatan"} { // Lindenstr. 4
		if stem, ok := bytes.CutSuffix(p.word(i), []byte(end)); ok && len(stem) > 3 && p.kind(i) == 0 {
			p.emit(p.tok[i].s, p.tok[i+1].e, "B", "pattern: street address", Likely)
			return
		}
	}
}

// near says whether only spaces and a comma stand before token i.
func (p *page) near(i int) bool {
	g := p.gap(i)
	return len(g) > 0 && len(g) < 4 && len(bytes.Trim(g, " ,.\n")) == 0
}
