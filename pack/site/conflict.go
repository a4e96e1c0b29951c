package site

import (
	"fmt"
	"time"
)

// A Kind is the way in which a collection contradicts the site's state.
type Kind string

const (
	Older        Kind = "older"         // entries that the state knows are missing at the log's end
	Rewritten    Kind = "rewritten"     // the log is another than the state knows
	Newer        Kind = "newer"         // signed entries that the state does not know: the key folder is older
	Added        Kind = "added"         // entries that nobody has signed
	Foreign      Kind = "foreign"       // the log is another collection's
	NoLog        Kind = "no-log"        // the log of these sessions is missing
	NoState      Kind = "no-state"      // the key folder has no state, but the log has entries
	UnknownLog   Kind = "unknown-log"   // the state does not know this log
	Replaced     Kind = "replaced"      // an officer put another log in its place
	NoSignature  Kind = "no-signature"  //
	OldSignature Kind = "old-signature" // it covers fewer entries than were signed
	BadSignature Kind = "bad-signature" // it fits no beginning of the log, or is none
	OtherSigner  Kind = "other-signer"  // it was made with another key
	Decisions    Kind = "decisions"     // review.jsonl is not what the log says that it is
	Damaged      Kind = "damaged"       // the log cannot be read; only [Restore] says so
	StateAltered Kind = "state-altered" // the state file was not written with this key
)

// A ConflictError says that collection and state contradict each other. Nothing
// was changed. [Restore] is the way out for an honest restore.
type ConflictError struct {
	Kind
	Here, Known         int       // entries of the log here, and as the state knows it
	Last                time.Time // of the last entry that the state knows, or that is here
	HeadHere, HeadKnown string    // SHA-256 (hex) of the last lines
	Signed              int       // entries that the signature covers; -1: none, or not known
	Unproven            int       // entries, from the end, that are neither signed nor known to the state
	Torn                bool      // what follows the last entry here is no whole line
	Sessions            int       // NoLog, Rewritten: sessions of this collection that the state knows
	Tubes               int       // NoLog, no session known: tubes of this collection in shipments of the log
	cause               error
}

func (e *ConflictError) Unwrap() error { return e.cause }

func (e *ConflictError) Error() string {
	day := e.Last.UTC().Format(time.DateOnly)
	switch e.Kind {
	case Older:
		if e.Signed != e.Here { // nothing shows which ones are missing
			return fmt.Sprintf("%s has %s, and the key folder knows %d, the last of %s; no signature fits what is "+
				"left: entries are missing or were changed", LogName, entries(e.Here), e.Known, day)
		}
		return fmt.Sprintf("this collection is older than the key folder knows: %s missing from the end of %s, "+
			"the last of %s", areEntries(e.Known-e.Here), LogName, day)
	case Foreign:
		return fmt.Sprintf("this %s belongs to another collection, or this folder was copied with its log: the "+
			"key folder knows it from other sessions (%s, the last of %s)", LogName, entries(e.Known), day)
	case Rewritten:
		return fmt.Sprintf("%s is another log than the key folder knows: it was rewritten, or belongs to "+
			"another copy of the collection (known: %s, the last of %s)", LogName, entries(e.Known), day)
	case Newer:
		return fmt.Sprintf("the key folder is older than this collection: %s has %s that it does not know, the "+
			"last of %s; was the key folder put back from a copy?", LogName, entries(e.Here-e.Known), day)
	case Added:
		return fmt.Sprintf("nobody has signed the last %s of %s, and the key folder does "+
			"not know %s", entries(e.Unproven), LogName, itOrThem(e.Unproven))
	case NoLog:
		what, gone := fmt.Sprintf("%d of this collection's sessions", e.Sessions), "is missing:"
		if e.Sessions == 0 {
			what = fmt.Sprintf("%d of this collection's tubes", e.Tubes)
		}
		if e.Torn {
			gone = "is damaged: it holds no whole entry, and"
		}
		return fmt.Sprintf("%s %s the key folder knows %s from a log of %s, the "+
			"last of %s", LogName, gone, what, entries(e.Known), day)
	case NoState:
		return fmt.Sprintf("the key folder has no state of this study, but %s has %s, the "+
			"last of %s", LogName, entries(e.Here), day)
	case UnknownLog:
		return fmt.Sprintf("the key folder does not know %s (%s, the last of %s)", LogName, entries(e.Here), day)
	case Replaced:
		return fmt.Sprintf("another log was put in the place of this %s, which the key folder knew "+
			"until %s", LogName, day)
	case NoSignature:
		return fmt.Sprintf("the signature of %s is missing", LogName)
	case OldSignature:
		return fmt.Sprintf("the signature of %s covers %s only, and %s "+
			"were signed", LogName, entries(e.Signed), entries(e.Known))
	case BadSignature:
		return fmt.Sprintf("the signature of %s is damaged or fits no beginning of it", LogName)
	case OtherSigner:
		return fmt.Sprintf("%s was signed by another key than the one of this folder", LogName)
	case Decisions:
		return fmt.Sprintf("%s is not what %s says of it: decisions were changed, removed or added without "+
			"this program", ReviewName, LogName)
	}
	return e.cause.Error()
}

func entries(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

func itOrThem(n int) string {
	if n == 1 {
		return "it"
	}
	return "them"
}

func areEntries(n int) string {
	if n == 1 {
		return "1 entry is"
	}
	return entries(n) + " are"
}
