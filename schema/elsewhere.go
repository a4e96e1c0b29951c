package schema

import (
	"fmt"
	"slices"
	"sort"
	"strings"
)

// mostOverlapping bounds how many sessions before a time are asked whether it lies in them.
const mostOverlapping = 64

// elsewhere reports tubes that were open in another session of the folder and not in their
// own: a row was written under the wrong session. It takes the place of the warnings about
// the tube's times.
func (c *Collection) elsewhere() {
	all := c.byStart()
	moved := make(map[[2]string]bool) // by file and tube
	for _, s := range c.Sessions {
		for i, t := range s.Tubes {
			if t.Uncapped.IsZero() || !s.Ended.After(s.Started) || t.Capped.Before(t.Uncapped) ||
				!t.Uncapped.After(s.Ended) && !t.Capped.Before(s.Started) {
				continue
			}
			other := within(all, s, t)
			if other == nil {
				continue
			}
			pointer := fmt.Sprintf("/tubes/%d", i)
			moved[[2]string{s.File, pointer}] = true
			c.report(s, pointer+"/uncapped_at", "tube.session", Warning, fmt.Sprintf("this tube was open outside its "+
				"session, and within that in %s: the row of this tube may belong there, so look at the log, and "+
				"correct the session of the tube, or its times", other.at("/session_id")))
		}
	}
	if len(moved) == 0 {
		return
	}
	c.Problems = slices.DeleteFunc(c.Problems, func(p Problem) bool {
		at := p.Pointer[:max(0, strings.LastIndexByte(p.Pointer, '/'))]
		return (p.Rule == "tube.time" || p.Rule == "tube.open") && moved[[2]string{p.File, at}]
	})
}

// within returns the session, other than s, in which a tube was open, preferably one of the
// same subject.
func within(all []*Session, s *Session, t Tube) (found *Session) {
	after := sort.Search(len(all), func(i int) bool { return all[i].Started.After(t.Uncapped) })
	for i := after - 1; i >= 0 && after-i <= mostOverlapping; i-- {
		other := all[i]
		if other == s || t.Capped.After(other.Ended) {
			continue
		}
		if found == nil || !SameID(found.Subject, s.Subject) && SameID(other.Subject, s.Subject) {
			found = other
		}
	}
	return found
}
