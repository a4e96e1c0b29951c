package leak

import (
	"bytes"
	"strings"
	"unicode/utf8"
)

// The functions of this file decide whether an everyday word that is also a name of the
// roster is meant as a name. They judge by its letter case and by the words around it.

// The word lists for these decisions.
var (
	afterPerson     = wordSet("afterperson")
	personState     = wordSet("personstate")
	beforePerson    = wordSet("beforeperson")
	toPerson        = wordSet("toperson")
	nounParticiples = wordSet("nounparticiples")
)

// titled reports whether a title, or a word for the subject, comes before token i.
func (p *page) titled(i int) bool {
	k := p.cues(i - 1)
	if !k.meets(ledByTitle) {
		return false
	}
	switch string(p.gap(i)) {
	case " ", ". ", ".", "\n", "  ":
	default:
		return false
	}
	if k.has(cueTitle) {
		return true
	}
	// not in "patient will return"
	return !p.cues(i).hasAny(cueFunctionWord, cueThing, cueNotName, cueUnit, cueIdentifier) &&
		(p.caseOf(i) != lowerCase || !p.cues(i).has(cueNameWord))
}

// labelled reports whether q follows a label for names, as in "Name: Long", or is the
// only word after a title or a word for a person: "Patient: Long".
func (p *page) labelled(q part) bool {
	k := p.cues(q.first - 1)
	label := k.has(cueNameLabel)
	if q.first > 0 && string(p.word(q.first-1)) == "by" && bytes.IndexByte(p.gap(q.first), ':') >= 0 {
		label = true // "seen by: Long"
	}
	if !label && !k.meets(ledByWord) || p.caseOf(q.first) == lowerCase {
		return false
	}
	switch string(bytes.TrimSpace(p.gap(q.first))) {
	case ":", "=", "-", "#":
		return label || p.ends(q.last)
	case "":
		return label && !p.cues(q.first).has(cueNotName)
	}
	return false
}

// ends reports whether nothing follows token i in its line.
func (p *page) ends(i int) bool {
	after := bytes.TrimLeft(p.after(i), " .,;!?)\"'\r")
	return i+1 == len(p.tok) || len(after) > 0 && after[0] == '\n'
}

// A wordInContext is an everyday word that is also a name of the roster, with the word
// after it.
type wordInContext struct {
	part
	cues  cueSet
	style int    // lowerCase, capital or allCaps
	next  int    // the token after it
	after []byte // the gap before next
	cue   cueSet // of next
	acts  bool   // next is a state or an action of somebody: "May coughed", but not "May cough"
}

func (x wordInContext) function() bool { return x.cues.has(cueFunctionWord) }

// opens reports whether a note may begin with the word although nobody is meant.
func (x wordInContext) opens() bool { return x.cues.hasAny(cueOpener, cueFunctionWord) }

// uncased reports whether the word has no capital, or is in a text in capitals.
func (p *page) uncased(x wordInContext) bool {
	return x.style == lowerCase || x.style == allCaps && p.shouting(x.first, x.last)
}

// openingRules decide whether a word that is also a name means a person at the beginning
// of a sentence, where a capital means nothing.
var openingRules = []rule[wordInContext, bool]{
	{"within a sentence",
		func(p *page, x wordInContext) bool { return !p.sentenceStart(x.first) }, false},
	{"a word for a thing, a place or a person",
		func(_ *page, x wordInContext) bool {
			return x.cues.hasAny(cueThing, cueUnit, cuePlace, cueStaff, cueTitle, cueSubject, cueKin, cueIdentifier,
				cueWeekday)
		}, false},
	{"a month without an action",
		func(_ *page, x wordInContext) bool { return x.cues.has(cueMonth) && !x.acts }, false},
	{"without a capital, but with a state or an action: baker was late",
		func(p *page, x wordInContext) bool { return p.uncased(x) && x.acts && !x.opens() }, true},
	{"without a capital",
		(*page).uncased, false},
	{"the last word, and no usual first word of a note",
		func(p *page, x wordInContext) bool { return x.next == len(p.tok) && !x.opens() }, true},
	{"the last word",
		func(p *page, x wordInContext) bool { return x.next == len(p.tok) }, false},
	{"possessive: Long's tube",
		func(p *page, x wordInContext) bool { return string(x.after) == "'" && string(p.word(x.next)) == "s" }, true},
	{"a function word with an action of a person: Will coughed, but not Best was 450 ml",
		func(p *page, x wordInContext) bool {
			return x.acts && x.function() &&
				(x.cue.has(cueAction) && p.letters(x.first) > 2 || string(p.word(x.first)) == "will")
		}, true},
	{"any other function word with a state or an action",
		func(_ *page, x wordInContext) bool { return x.acts && x.function() }, false},
	{"with a state or an action: White was late",
		func(_ *page, x wordInContext) bool { return x.acts }, true},
	{"with a word for a person's state: White anxious",
		func(p *page, x wordInContext) bool {
			return string(x.after) == " " && personState()[string(p.word(x.next))] && p.letters(x.first) > 2
		}, true},
	{"a usual first word of a note, the name of a place, or before a number",
		func(p *page, x wordInContext) bool {
			return x.opens() || x.cue.has(cuePlace) || p.number(x.next) && !p.clock(x.next)
		}, false},
	{"before a hyphen or an apostrophe",
		func(_ *page, x wordInContext) bool { return x.parted() && (x.after[0] == '-' || x.after[0] == '\'') }, false},
	{"before another mark or the end of the line: Baker, second visit",
		func(_ *page, x wordInContext) bool { return x.parted() }, true},
	{"before a usual word after a person's name: Baker tube B, but not King size pillow",
		func(p *page, x wordInContext) bool { return p.ofPerson(x.next) || p.clock(x.next) }, true},
}

// parted reports whether punctuation or a line end separates the word from the next.
func (x wordInContext) parted() bool {
	return len(bytes.TrimSpace(x.after)) > 0 || bytes.IndexByte(x.after, '\n') >= 0
}

func (p *page) letters(i int) int { return utf8.RuneCount(p.word(i)) }

// opening reports whether a word that is also a name means a person at the beginning of
// a sentence.
func (p *page) opening(q part) bool {
	x := wordInContext{part: q, cues: p.cuesAsName(q), style: p.caseOf(q.first), next: q.last + 1,
		after: p.after(q.last),
		cue:   p.cues(q.last + 1)}
	x.acts = x.cue.hasAny(cueState, cueAction) && string(x.after) == " "
	return decide(p, openingRules, x)
}

// cuesAsName returns the cues of the word of q. A word with a capital that does not
// follow a number is not a unit: Ng.
func (p *page) cuesAsName(q part) cueSet {
	if p.caseOf(q.first) == capital && !p.number(q.first-1) {
		return q.term.cues.without(setOf(cueUnit))
	}
	return q.term.cues
}

// ofPerson reports whether token i is a word that usually follows a person's name or
// number in notes.
func (p *page) ofPerson(i int) bool {
	w := string(p.word(i))
	return p.cues(i).hasAny(cueState, cueAction, cueNotName, cuePerson) ||
		afterPerson()[w] || personState()[w] || pastTense(w)
}

// pastTense reports whether w is probably a verb in the past tense: collapsed. Some
// words of that form belong to a noun: "Pearl coloured".
func pastTense(w string) bool {
	return len(w) > 4 && strings.HasSuffix(w, "ed") && !nounParticiples()[w]
}

// behindPerson reports whether q follows words that usually precede a person's name:
// "asked Will to wait", "spoke to Hall", "tube for Long".
func (p *page) behindPerson(q part) bool {
	i := q.first
	if i == 0 || string(p.gap(i)) != " " || p.number(q.last+1) || p.cues(q.last+1).has(cueNumeral) {
		return false
	}
	switch w := string(p.word(i - 1)); w {
	case "to":
		return i > 1 && toPerson()[string(p.word(i-2))]
	case "for", "with", "of", "by", "says":
		return !p.cues(i).hasAny(cueMonth, cueWeekday) &&
			(p.letters(i) > 2 || p.caseOf(i) == capital && !p.cues(i).has(cueFunctionWord))
	default:
		return beforePerson()[w]
	}
}

// lone reports whether a word that is also a name, and has a capital within a sentence,
// counts without another name next to it. A month or weekday does not count where it is
// used as such. A word with many other uses, such as will and hall, counts only after
// words that usually precede a person's name.
func (p *page) lone(q part) bool {
	k := p.cuesAsName(q)
	if p.behindPerson(q) {
		return true
	}
	if k.hasAny(cueFunctionWord, cueThing, cueUnit, cuePlace, cueStaff, cueTitle, cueSubject, cueIdentifier) {
		return false
	}
	if k.hasAny(cueMonth, cueWeekday) {
		return !p.cues(q.first-1).has(cueBeforeMonth) && !p.number(q.first-1) && !p.number(q.last+1)
	}
	return !p.number(q.last+1) || len(bytes.Trim(p.after(q.last), " ")) > 0
}
