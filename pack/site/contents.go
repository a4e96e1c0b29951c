package site

import (
	"fmt"
	"slices"
	"strings"

	"outbreath/deid"
	"outbreath/pack/custody"
)

// A ContentsError says that a number was sealed before with other contents: one number
// must never have two contents.
type ContentsError struct {
	Number, Day string    // Day is YYYY-MM-DD, when the number was given
	Copy        bool      // another copy was wanted
	Before, Now CopyFacts // Before is of the newest copy; its counts are -1 if the log does not know it
}

// sortWords are the sorts of contents, as [pack.Sealed.Inside] names them, in words and
// in the order in which a message lists them.
var sortWords = [][2]string{
	{"handling.csv", "the order of analysis"}, {"recordings", "the recordings"}, {"session.schema.json", "the plan"},
	{"sessions", "the records"}, {"treatment.json", "the treatment or the decisions on " +
		"findings"}, {"tubes.csv", "the tubes"},
}

// Changed says in words which sorts of contents are others now. known is false when
// the log cannot tell.
func (e *ContentsError) Changed() (sorts []string, known bool) {
	for _, s := range sortWords {
		if was, ok := e.Before.Inside[s[0]]; ok {
			known = true
			if was != e.Now.Inside[s[0]] {
				sorts = append(sorts, s[1])
			}
		}
	}
	const box = deid.DiscrepanciesName // which not every shipment has
	if known && e.Before.Inside[box] != e.Now.Inside[box] {
		sorts = append(sorts, "what was said of tubes that box and records do not share")
	}
	return sorts, known
}

func (e *ContentsError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s was sealed before, on %s, with other contents", e.Number, e.Day)
	switch sorts, known := e.Changed(); {
	case e.Before.Program != "" && e.Before.Program != e.Now.Program && len(sorts) <= 1:
		fmt.Fprintf(&b, ": it was sealed with %s, and this is %s, which may treat the records "+
			"otherwise", e.Before.Program, e.Now.Program)
	case len(sorts) > 0:
		b.WriteString(" (changed: " + strings.Join(sorts, ", ") + ")")
	case known:
		b.WriteString(": the data are the same, but the site's signing key or this program's version has changed")
	}
	for _, c := range []struct {
		name     string
		was, now int
	}{
		{"sessions", e.Before.Sessions, e.Now.Sessions},
		{"recordings", e.Before.Recordings, e.Now.Recordings},
		{"tubes", e.Before.Tubes, e.Now.Tubes},
	} {
		if c.was >= 0 && c.was != c.now {
			fmt.Fprintf(&b, "; %d %s then, %d now", c.was, c.name, c.now)
		}
	}
	b.WriteString("; one number must never have two contents")
	return b.String()
}

// sameContents refuses a second content for a number. The error is a
// *[ContentsError].
func (l *Log) sameContents(number string, now CopyFacts, again bool) error {
	x := l.State.Shipment(number)
	if x == nil || x.Bag == "" || x.Bag == now.Bag {
		return nil
	}
	e := &ContentsError{Number: x.Number, Day: x.Day, Copy: again, Before: CopyFactsOf(custody.Entry{}), Now: now}
	if before, ok := l.Of(number, custody.Sealed); ok {
		e.Before = CopyFactsOf(before)
	}
	return e
}

// ProgramOf returns the name of the program that sealed a shipment first, as far as the
// log knows it; "" otherwise. Another copy keeps that name in treatment.json, so that a
// stick lost before an update can be made again after it: the bag's digest proves that
// the program of now makes the same of the records.
func (l *Log) ProgramOf(number string) string {
	i := slices.IndexFunc(l.Entries, func(e custody.Entry) bool {
		return e.What == custody.Sealed && e.Shipment == number && deid.ProgramForm.MatchString(CopyFactsOf(e).Program)
	})
	if i < 0 {
		return ""
	}
	return CopyFactsOf(l.Entries[i]).Program
}
