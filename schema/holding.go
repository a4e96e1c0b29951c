package schema

import (
	"fmt"
	"time"
)

// Holding returns warnings about the time since collection, as of now: "tube.held" if a session's
// tubes have waited for four fifths of holding_days or longer, "tube.ambient" if tubes kept at
// ambient temperature were not sent on the day of collection. Whether a tube can still be
// analysed is for the laboratory and its method to decide.
//
// Source: EPA Compendium Method TO-17 (1999), from memory: sampled tubes below
// 4 degrees Celsius, analysed within 30 days, a week for labile compounds. That
// ambient tubes go the same day is common practice, no source.
func (c *Collection) Holding(now time.Time) []Problem {
	var out []Problem
	warn := func(s *Session, pointer, rule, message string) {
		p := Problem{File: s.File, Pointer: pointer, Rule: rule, Severity: Warning, Message: message}
		if n := s.Doc.At(pointer); n != nil {
			p.Line, p.Column = n.Line, n.Column
		}
		out = append(out, p)
	}
	far := c.far()
	for _, s := range c.Sessions {
		if s.Ended.IsZero() || now.Before(s.Ended) {
			continue
		}
		days := int(now.Sub(s.Ended) / (24 * time.Hour))
		switch limit := c.Study.HoldingDays; {
		case days > limit && far[s.File]:
			warn(s, "/ended_at", "tube.held", fmt.Sprintf("this session lies far from the others, so check its date "+
				"first; if it is right, the tubes have waited for more than the %d days of holding_days in "+
				"study.json: ask the laboratory whether its method can still use them", limit))
		case days > limit:
			warn(s, "/ended_at", "tube.held", fmt.Sprintf("by this date the tubes have waited for %d days: are year, "+
				"month and day right? If they are, that is more than the %d days of holding_days in study.json: "+
				"ask the laboratory whether its method can still use them", days, limit))
		case days*5 >= limit*4:
			warn(s, "/ended_at", "tube.held", fmt.Sprintf("by this date the tubes of this session have waited for "+
				"%d of the %d days of holding_days in study.json: if the date is right, send them now, and tell the "+
				"laboratory that they are urgent", days, limit))
		}
		if now.In(s.Ended.Location()).Format(time.DateOnly) == s.Ended.Format(time.DateOnly) {
			continue
		}
		for i, t := range s.Tubes {
			if t.Storage == "ambient" {
				warn(s, fmt.Sprintf("/tubes/%d/storage", i), "tube.ambient",
					"this tube was kept at ambient temperature and not sent on the day of collection: cool it if "+
						"the study's method says so, and tell the laboratory")
			}
		}
	}
	return out
}
