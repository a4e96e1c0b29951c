package schema

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"
)

// mostOverlapping bounds how many sessions before a time are asked whether it lies in them.
const mostOverlapping = 64

// mostCompared bounds how many tubes are compared with all sessions.
const mostCompared = 500

// elsewhere reports tubes that were open in another session of the folder and not in their
// own: a row was written under the wrong session. It takes the place of the warnings about
// the tube's times.
func (c *Collection) elsewhere() {
	all := c.byStart()
	moved := make(map[[2]string]bool) // by file and tube
	compared := 0
	for _, s := range c.Sessions {
		for i, t := range s.Tubes {
			if t.Uncapped.IsZero() || !s.Ended.After(s.Started) || t.Capped.Before(t.Uncapped) ||
				!t.Uncapped.After(s.Ended) && !t.Capped.Before(s.Started) {
				continue
			}
			other := within(all, s, t)
			if other == nil && c.adrift(s, t) && compared < mostCompared {
				other, compared = onItsDay(all, s, t), compared+1
			}
			if other == nil {
				continue
			}
			pointer := fmt.Sprintf("/tubes/%d", i)
			moved[[2]string{s.File, pointer}] = true
			by := ""
			if t.Uncapped.Before(other.Started) || t.Uncapped.After(other.Ended) {
				by = ", by the time of day"
			}
			c.report(s, pointer+"/uncapped_at", "tube.session", Warning, fmt.Sprintf("this tube was open outside its "+
				"session, and within that in %s%s: the row of this tube may belong there, so look at the log, and "+
				"correct the session of the tube, or its times", other.at("/session_id"), by))
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

// adrift reports whether a tube was open so far from its session that a warning says so.
func (c *Collection) adrift(s *Session, t Tube) bool {
	return max(0, s.Started.Sub(t.Uncapped))+max(0, t.Capped.Sub(s.Ended)) > c.Study.UncappedLimit
}

// onItsDay returns the only session, other than s, that the tube was open in by the time of
// day, or the only one of the same subject: a log that has no date beside the tube's times takes that of the session.
func onItsDay(all []*Session, s *Session, t Tube) (found *Session) {
	from, length := clockTime(t.Uncapped), t.Capped.Sub(t.Uncapped)
	fits, same := 0, 0 // sessions, those of the same subject
	for _, other := range all {
		begun := clockTime(other.Started)
		if from < begun || from+length > begun+other.Ended.Sub(other.Started) {
			continue
		}
		if other == s { // its own session's time of day: the date is wrong
			return nil
		}
		if fits++; SameID(other.Subject, s.Subject) {
			found, same = other, same+1
		} else if same == 0 {
			found = other
		}
	}
	if same != 1 && fits != 1 {
		return nil
	}
	return found
}

// clockTime is the time of day as a clock on the wall showed it.
func clockTime(t time.Time) time.Duration {
	h, m, s := t.Clock()
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second
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
