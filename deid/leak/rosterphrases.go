package leak

import (
	"slices"
	"strings"
)

// addPhrase adds v as a phrase of its words.
func (l *lexicon) addPhrase(v string, c Class, basis string, conf Confidence) {
	l.addWords(split(foldString(v)), c, basis, conf)
}

// addWords adds a phrase and returns it, or nil if it is too short or present already.
func (l *lexicon) addWords(w []string, c Class, basis string, conf Confidence) *phrase {
	n, plain := 0, true
	for _, x := range w {
		n += len(x)
		plain = plain && (known(x) || len(x) < 4)
	}
	if n < 4 {
		return nil
	}
	t := l.term(w[0])
	for _, p := range t.phrases {
		if slices.Equal(p.words, w) {
			return nil
		}
	}
	p := &phrase{w, c, basis, conf, plain}
	t.phrases = append(t.phrases, p)
	return p
}

// addEmail adds a mail address, its digests, and its local part as a code or a phrase.
func (l *lexicon) addEmail(v, basis string) {
	f := foldString(v)
	l.emails[f] = true
	c := code{class: "F", basis: basis, conf: Likely}
	l.addDigests(v, f, c)
	local, _, _ := strings.Cut(f, "@")
	key := squeeze(local)
	if len(key) < 5 || known(key) || len(key) < 8 && digits(key) {
		return
	}
	if strings.ContainsAny(key, "0123456789") {
		l.put(key, c)
		return
	}
	if p := l.addWords(split(local), "F", basis, Likely); p != nil {
		p.plain = false // this sequence of words is not ordinary text
	}
}
