package schema

import (
	"fmt"
	"time"
)

// ahead is how far a time may lie in the future: the clocks of sampler and computer differ.
const ahead = time.Hour

// Future returns the times of records that had not come yet at now, as errors
// "time.future": whose start lies ahead is named by it alone. It is not part of [Load],
// which knows no clock; whoever judges a collection asks for both.
func (c *Collection) Future(now time.Time) []Problem {
	late := now.Add(ahead)
	var out []Problem
	for _, s := range c.Sessions {
		q := &queries{file: s.File, node: s.Doc}
		future := func(pointer string) bool {
			at, ok := parseTime(s.Doc.At(pointer).text())
			if !ok || !at.After(late) {
				return false
			}
			q.error(pointer, "time.future", "this time lies in the future, by the clock of this computer: correct "+
				"the year, the month or the day; if the record is right, set the clock")
			return true
		}
		if !future("/started_at") && !future("/ended_at") {
			for i := range s.Tubes {
				future(fmt.Sprintf("/tubes/%d/uncapped_at", i))
				future(fmt.Sprintf("/tubes/%d/capped_at", i))
				future(fmt.Sprintf("/tubes/%d/conditioned_at", i))
			}
			for i := range entries(s.Doc, "recordings") {
				future(fmt.Sprintf("/recordings/%d/started_at", i))
			}
			for i := range entries(s.Doc, "interruptions") {
				future(fmt.Sprintf("/interruptions/%d/at", i))
			}
		}
		out = append(out, trim(q.problems)...)
	}
	return out
}
