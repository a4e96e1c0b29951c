package leak

import "sync"

// A cue is a hint that an everyday word gives about the words and numbers around it. A
// word may give several.
type cue uint8

const (
	cueTitle        cue = iota // a name follows: Mr, Dr, Frau
	cueStaff                   // a person at work: nurse, technician
	cueSubject                 // the person whom the record is about
	cueKin                     // a person close to the subject
	cueMonth                   // its number is in months
	cueWeekday                 //
	cueNameWord                // an everyday word that is a name as well
	cueThing                   // numbers and dates near it belong to a thing
	cueVersion                 // dotted numbers after it are a version
	cueBirth                   // a date near it is somebody's
	cuePhone                   // a number after it is a telephone's
	cueFax                     //
	cueAge                     // a number after it is an age
	cueAccount                 // bank account
	cueInsurance               // health-plan number
	cuePlate                   // vehicle registration
	cuePostal                  // postal code or address
	cuePlace                   // a capitalised word before it names a room or ward
	cueBeforeMonth             // a month follows: in May, since April
	cueUnit                    // a number before it is a measurement
	cuePerson                  // pronoun, or another word for whoever has an age
	cueNumeral                 // nine, ninety, hundred
	cueIdentifier              // an identifier follows
	cueNotName                 // never part of a name after a title
	cueParticle                // of a family name: de, van, von
	cueRoad                    // a kind of street
	cueRecord                  // a number after it is a patient's or a document's
	cueAction                  // what a person does: coughed, refused
	cueFunctionWord            // a name that is usually a verb or an adverb: will, may, long
	cueOpener                  // a name that is a usual first word of a note
	cueNameLabel               // a name follows: name, surname
	cueState                   // a state or an action of somebody follows: was, has
	numCues
)

// cueLists are the names of the files in words/cue. The months have a list of their own.
var cueLists = [numCues]string{
	cueTitle: "title", cueStaff: "staff", cueSubject: "subject", cueKin: "kin", cueWeekday: "weekday",
	cueNameWord: "nameword", cueThing: "thing", cueVersion: "version", cueBirth: "birth", cuePhone: "phone",
	cueFax: "fax", cueAge: "age", cueAccount: "account", cueInsurance: "insurance", cuePlate: "plate",
	cuePostal: "postal", cuePlace: "place", cueBeforeMonth: "beforemonth", cueUnit: "unit", cuePerson: "person",
	cueNumeral: "numeral", cueIdentifier: "identifier", cueNotName: "notname", cueParticle: "particle",
	cueRoad: "road", cueRecord: "record", cueAction: "action", cueFunctionWord: "functionword",
	cueOpener: "opener", cueNameLabel: "namelabel", cueState: "state",
}

// A cueSet is a set of cues. The zero value is empty. Only the functions of this file
// use bits; more than 64 cues would need a change here only.
type cueSet struct{ bits uint64 }

const _ = uint(64 - numCues) // does not compile if the cues do not fit into bits

func setOf(cues ...cue) (s cueSet) {
	for _, c := range cues {
		s.bits |= 1 << c
	}
	return s
}

func (s cueSet) empty() bool    { return s.bits == 0 }
func (s cueSet) has(c cue) bool { return s.bits>>c&1 != 0 }

// hasAny reports whether s holds at least one of the cues.
func (s cueSet) hasAny(cues ...cue) bool {
	for _, c := range cues {
		if s.has(c) {
			return true
		}
	}
	return false
}

// meets reports whether s and t have a cue in common.
func (s cueSet) meets(t cueSet) bool { return s.bits&t.bits != 0 }

// beyond reports whether s holds a cue that is not in t.
func (s cueSet) beyond(t cueSet) bool { return s.bits&^t.bits != 0 }

func (s cueSet) with(t cueSet) cueSet    { return cueSet{s.bits | t.bits} }
func (s cueSet) both(t cueSet) cueSet    { return cueSet{s.bits & t.bits} }
func (s cueSet) without(t cueSet) cueSet { return cueSet{s.bits &^ t.bits} }

var monthCue = setOf(cueMonth)

// vocabulary returns the cues of all everyday words, by their folded spelling.
var vocabulary = sync.OnceValue(func() map[string]cueSet {
	m := make(map[string]cueSet, 1<<13)
	for c, file := range cueLists {
		if file == "" {
			continue
		}
		for _, e := range entries("cue/" + file) {
			w := foldString(e[0])
			m[w] = m[w].with(setOf(cue(c)))
		}
	}
	for w := range months() {
		m[w] = m[w].with(monthCue)
	}
	return m
})

// known reports whether the folded word w is in the vocabulary.
func known(w string) bool { return !vocabulary()[w].empty() }

// everyday reports whether the folded word w is in the vocabulary, and not only as the
// name of a month.
func everyday(w string) bool { return vocabulary()[w].beyond(monthCue) }

// months maps the names and abbreviations of months to 1 to 12.
var months = wordNumbers("months")
