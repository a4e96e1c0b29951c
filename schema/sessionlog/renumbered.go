package sessionlog

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"outbreath/schema"
)

// A renumbering is a session that the log has under another number than before.
type renumbering struct {
	record *Record
	old    string // canonical session_id that the log had before
	file   string // of its record
	doubt  Doubt
}

// renumberings finds sessions that the log did not have before, and that have a tube of one
// which it has no more. prior is what the log said then.
func (r *Reading) renumberings(prior *Filled) (out []renumbering) {
	now := map[string]bool{}
	for _, record := range r.Records {
		if key, err := schema.Canonical(record.ID); err == nil {
			now[key] = true
		}
	}
	lost := map[string]string{} // by barcode: the canonical session_id
	for key, s := range prior.Sessions {
		if now[key] {
			continue
		}
		for pointer, text := range s.Values {
			if isBarcode(pointer) {
				lost[schema.Barcode(text)] = key
			}
		}
	}
	for _, record := range r.Records {
		key, err := schema.Canonical(record.ID)
		if _, before := prior.Sessions[key]; err != nil || before {
			continue
		}
		for _, pointer := range slices.Sorted(maps.Keys(record.Values)) {
			old := ""
			if isBarcode(pointer) {
				old = lost[schema.Barcode(literal(record.Values[pointer]))]
			}
			if old == "" {
				continue
			}
			file := prior.Sessions[old].File
			out = append(out, renumbering{record, old, file, Doubt{ID: id("renumbered", old, key), Where: record.Where,
				Question: fmt.Sprintf("this session has a tube of %s, and the log no longer has the number of that "+
					"session: is it the same session under a new number?", file), Choices: []Choice{
					{"same", "yes: " + file + " gets the new number"},
					{"other", "no: it is another session; correct the tube's barcode if it is wrong"}}}})
			break
		}
	}
	return out
}

func isBarcode(pointer string) bool {
	return strings.HasPrefix(pointer, "/tubes/") && strings.HasSuffix(pointer, "/barcode")
}

// recordingsOf returns the names, without endings, of the recordings that a session had when
// records were last made of the log.
func (f FilledSession) recordingsOf() (names []string) {
	for pointer, text := range f.Values {
		if strings.HasPrefix(pointer, "/recordings/") && strings.HasSuffix(pointer, "/file") {
			if n, err := schema.ParseJSON([]byte(text)); err == nil {
				names = append(names, base(n.Text))
			}
		}
	}
	return names
}

// before gives each session the recordings that it had when it was last filled, also under
// another number, unless their names are those of other sessions. It returns those of sessions
// that the log has no more, by the name without its ending: the record of each.
func (r *Reading) before(prior *Filled, s *Settings, visits []Visit) (gone map[string]string) {
	number := map[string]string{} // canonical session_id of the log, by that of filled.json
	for _, n := range r.renumberings(prior) {
		if key, err := schema.Canonical(n.record.ID); err == nil && s.Answers[n.doubt.ID] == "same" {
			number[n.old] = key
		}
	}
	gone = map[string]string{}
	for key, f := range prior.Sessions {
		now := key
		if number[key] != "" {
			now = number[key]
		}
		k := slices.IndexFunc(visits, func(v Visit) bool { return schema.SameID(v.ID, now) })
		for _, name := range f.recordingsOf() {
			switch {
			case slices.ContainsFunc(visits, func(v Visit) bool { return byName(name, &v) == exactly }):
			case k < 0:
				gone[stem(name)] = f.File
			default:
				visits[k].Before = append(visits[k].Before, name)
			}
		}
	}
	return gone
}

// moved returns by how much a time of day that stayed has moved because its zone is another,
// and whether the two values are such times.
func moved(is, log string) (by time.Duration, ok bool) {
	is, log = strings.Trim(is, `"`), strings.Trim(log, `"`)
	a, errA := time.Parse(time.RFC3339Nano, is)
	b, errB := time.Parse(time.RFC3339Nano, log)
	return b.Sub(a), errA == nil && errB == nil && !a.Equal(b) && wall(a).Equal(wall(b))
}

// zoneDoubt asks whether the zone in which the log was read is the right one, where times
// of records that are there would move by it.
func (c *Changes) zoneDoubt(zone string, s *Settings) {
	times, records := 0, 0
	var by time.Duration
	for _, change := range c.Sessions {
		if change.What != Changed {
			continue
		}
		was, now, n := change.was, leaves(change.doc), 0
		for _, pointer := range change.Fields {
			if d, ok := moved(was[pointer], now[pointer]); ok {
				by, n = d, n+1
			}
		}
		if n > 0 {
			times, records = times+n, records+1
		}
	}
	if records == 0 || zone == "" {
		return
	}
	key := id("moved", zone, by.String())
	if s.Answers[key] == "moved" {
		return
	}
	c.Doubts = append(c.Doubts, Doubt{ID: key, Where: "the log",
		Question: fmt.Sprintf("%d times in %d records stay as "+
			"they are on the clock and move by %.0f minutes, because the log is now read in the zone %s: was "+
			"its clock in "+
			"that zone? If not, name the zone as before", times, records, by.Abs().Minutes(), zone),
		Choices: []Choice{{"moved", "yes: these times were wrong before"}}})
}
