package leak

import (
	"bytes"
	"strings"
	"unicode/utf8"
)

// Is a word that is also a name of the roster meant as a name? These functions
// judge by how it is written and by the words around it.

// The lists that they ask.
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
	// "patient will return": a capital is needed where the text has any.
	return !p.cues(i).hasAny(cueFunctionWord, cueThing, cueNotName, cueUnit, cueIdentifier) &&
		(p.caseOf(i) != lowerCase || !p.cues(i).has(cueNameWord))
}

// labelled reports whether q follows a word for names, as in "Name: Long", or
// alone behind a title or a word for a person: "Patient: Long".
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

// A wordInContext is an everyday word that is a name of the roster, and what follows.
type wordInContext struct {
	part
	cues  cueSet
	style int    // lowerCase, capital or allCaps
	next  int    // the token behind it
	after []byte // the gap before it
	cue   cueSet // of next
	acts  bool   // next says what somebody is or does: "May coughed", but not "May cough"
}

func (x wordInContext) function() bool { return x.cues.has(cueFunctionWord) }

// opens reports whether a note may begin with the word though nobody is meant.
func (x wordInContext) opens() bool { return x.cues.hasAny(cueOpener, cueFunctionWord) }

// uncased reports whether the word has no capital, or one that says nothing.
func (p *page) uncased(x wordInContext) bool {
	return x.style == lowerCase || x.style == allCaps && p.shouting(x.first, x.last)
}

// openingRules say whether a word that is also a name is used at the beginning of a
// sentence, where a capital tells nothing, as a person does.
var openingRules = []rule[wordInContext, bool]{
	{"within a sentence",
		func(p *page, x wordInContext) bool { return !p.sentenceStart(x.first) }, false},
	{"a word for a thing, a place or a person",
		func(_ *page, x wordInContext) bool {
			return x.cues.hasAny(cueThing, cueUnit, cuePlace, cueStaff, cueTitle, cueSubject, cueKin, cueIdentifier,
				cueWeekday)
		}, false},
	{"a month that does nothing",
		func(_ *page, x wordInContext) bool { return x.cues.has(cueMonth) && !x.acts }, false},
	{"no capital of its own, but it acts: baker was late",
		func(p *page, x wordInContext) bool { return p.uncased(x) && x.acts && !x.opens() }, true},
	{"no capital of its own",
		(*page).uncased, false},
	{"the last word, with which no note begins",
		func(p *page, x wordInContext) bool { return x.next == len(p.tok) && !x.opens() }, true},
	{"the last word",
		func(p *page, x wordInContext) bool { return x.next == len(p.tok) }, false},
	{"it owns something: Long's tube",
		func(p *page, x wordInContext) bool { return string(x.after) == "'" && string(p.word(x.next)) == "s" }, true},
	{"a function word that does what persons do: Will coughed, but Best was 450 ml",
		func(p *page, x wordInContext) bool {
			return x.acts && x.function() &&
				(x.cue.has(cueAction) && p.letters(x.first) > 2 || string(p.word(x.first)) == "will")
		}, true},
	{"any other function word that acts",
		func(_ *page, x wordInContext) bool { return x.acts && x.function() }, false},
	{"it is or does something: White was late",
		func(_ *page, x wordInContext) bool { return x.acts }, true},
	{"it feels something: White anxious",
		func(p *page, x wordInContext) bool {
			return string(x.after) == " " && personState()[string(p.word(x.next))] && p.letters(x.first) > 2
		}, true},
	{"a word with which notes begin, the name of a place, or a number behind it",
		func(p *page, x wordInContext) bool {
			return x.opens() || x.cue.has(cuePlace) || p.number(x.next) && !p.clock(x.next)
		}, false},
	{"a hyphen or an apostrophe behind it",
		func(_ *page, x wordInContext) bool { return x.parted() && (x.after[0] == '-' || x.after[0] == '\'') }, false},
	{"another mark or the end of the line behind it: Baker, second visit",
		func(_ *page, x wordInContext) bool { return x.parted() }, true},
	{"followed by what follows a person's name: Baker tube B, but King size pillow",
		func(p *page, x wordInContext) bool { return p.ofPerson(x.next) || p.clock(x.next) }, true},
}

// parted reports whether more than blanks is between the word and the next.
func (x wordInContext) parted() bool {
	return len(bytes.TrimSpace(x.after)) > 0 || bytes.IndexByte(x.after, '\n') >= 0
}

func (p *page) letters(i int) int { return utf8.RuneCount(p.word(i)) }

// opening reports whether a word that is also a name is used at the beginning of a
// sentence as a person does.
func (p *page) opening(q part) bool {
	x := wordInContext{part: q, cues: p.cuesAsName(q), style: p.caseOf(q.first), next: q.last + 1,
		after: p.after(q.last),
		cue:   p.cues(q.last + 1)}
	x.acts = x.cue.hasAny(cueState, cueAction) && string(x.after) == " "
	return decide(p, openingRules, x)
}

// cuesAsName is what the vocabulary says of the word of q. With a capital, and
// behind no number, it is no unit: Ng.
func (p *page) cuesAsName(q part) cueSet {
	if p.caseOf(q.first) == capital && !p.number(q.first-1) {
		return q.term.cues.without(setOf(cueUnit))
	}
	return q.term.cues
}

// ofPerson reports whether token i is what follows a person's name or number in
// notes.
func (p *page) ofPerson(i int) bool {
	w := string(p.word(i))
	return p.cues(i).hasAny(cueState, cueAction, cueNotName, cuePerson) ||
		afterPerson()[w] || personState()[w] || pastTense(w)
}

// pastTense reports whether w is probably a verb of the past: collapsed. Some words
// of that form go with a noun: "Pearl coloured".
func pastTense(w string) bool {
	return len(w) > 4 && strings.HasSuffix(w, "ed") && !nounParticiples()[w]
}

// behindPerson reports whether q follows words that a person's name follows:
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

// lone reports whether a word that is also a name, with a capital within a sentence,
// is no month or weekday in use as one. Of those words that are of use for much
// else, such as will and hall, one counts only behind what is done to a person.
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
