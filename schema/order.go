package schema

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"
)

// The night, by the clock of the site, and what share of the sessions of a folder may lie in
// it by mistake (common practice, no source).
const (
	nightFrom, nightTo = 22, 5 // hours
	fewSessions        = 4
	nightShare         = 4
	orderShare         = 8
)

// atNight reports sessions at night while nearly all others are by day: a time of twelve
// hours was written without its am or pm.
func (c *Collection) atNight() {
	var night []*Session
	all := 0
	for _, s := range c.Sessions {
		if s.Started.IsZero() {
			continue
		}
		all++
		if h := s.Started.Hour(); h >= nightFrom || h < nightTo {
			night = append(night, s)
		}
	}
	if all < fewSessions || len(night)*nightShare > all {
		return
	}
	for _, s := range night[:min(len(night), mostOdd)] {
		c.report(s, "/started_at", "session.night", Warning, fmt.Sprintf("this session begins at %s at night, and "+
			"nearly all others by day: is it %s? Correct the hour, or the zone behind it",
			s.Started.Format("15:04"), s.Started.Add(12*time.Hour).Format("15:04")))
	}
}

// outOfOrder reports sessions whose date is not in the order of their numbers, where that of
// nearly all others is. What lies far away is said already.
func (c *Collection) outOfOrder() {
	type placed struct {
		*Session
		n   int
		day string
	}
	far := c.far()
	series := make(map[string][]placed) // by the session_id without its number
	var names []string
	for _, s := range c.Sessions {
		n, ok := lastNumber(s.ID)
		if !ok || s.Started.IsZero() || far[s.File] {
			continue
		}
		name := strings.TrimRight(strings.ToLower(s.ID), "0123456789")
		if series[name] == nil {
			names = append(names, name)
		}
		series[name] = append(series[name], placed{s, n, s.Started.Format(time.DateOnly)})
	}
	for _, name := range names {
		all := series[name]
		slices.SortStableFunc(all, func(a, b placed) int { return a.n - b.n })
		// the longest part of the series whose days do not decrease: the last of each length
		var last []int
		before := make([]int, len(all))
		for i := range all {
			at := sort.Search(len(last), func(k int) bool { return all[last[k]].day > all[i].day })
			if before[i] = -1; at > 0 {
				before[i] = last[at-1]
			}
			if at == len(last) {
				last = append(last, 0)
			}
			last[at] = i
		}
		odd := len(all) - len(last)
		if odd == 0 || len(all) < fewSessions+1 || odd > max(1, len(all)/orderShare) {
			continue
		}
		in := make([]bool, len(all))
		for i := last[len(last)-1]; i >= 0; i = before[i] {
			in[i] = true
		}
		for i, s := range all {
			if in[i] {
				continue
			}
			other, side := i-1, "before"
			if i == 0 || all[i-1].day <= s.day {
				for other = i + 1; !in[other]; other++ {
				}
				side = "after"
			} else {
				for ; !in[other]; other-- {
				}
			}
			c.report(s.Session, "/started_at", "session.order", Warning, fmt.Sprintf("by their numbers this session "+
				"and that in %s are in another order than by their dates, and all others are in order: it is dated "+
				"%s that one, so check the day", all[other].at("/started_at"), side))
		}
	}
}

// far returns the files of the sessions that lie far from the others.
func (c *Collection) far() map[string]bool {
	out := make(map[string]bool)
	for _, p := range c.Problems {
		if p.Rule == "session.far" {
			out[p.File] = true
		}
	}
	return out
}
