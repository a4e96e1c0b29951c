package schema

import (
	"fmt"
	"time"
)

// Values of a tube held against each other. The limits are our own and wide (common practice,
// no source).

const (
	volumeFactor = 2.0 // between the volume and what was asked for, or what the flow gives
	gatedFactor  = 20  // less than the flow gives, where breath was drawn in a part of each breath only
	leastFlow    = 5.0 // mL/min; less of a pump was mostly read in L/min
)

// fill checks the values of one record's tubes.
func (r *rules) fill(s *Session, q *queries) {
	conditioned(s, q)
	for i, t := range entries(q.node, "tubes") {
		tube, pointer := s.Tubes[i], fmt.Sprintf("/tubes/%d", i)
		role := t.Member("role").text()
		if role == "field-blank" || role == "travel-blank" {
			continue
		}
		for _, name := range []string{"/flow_start_ml_min", "/flow_end_ml_min"} {
			if v, ok := figure(literal(q.node.At(pointer + name))); ok && v > 0 && v < leastFlow {
				q.warning(pointer+name, "flow.unit", fmt.Sprintf("a flow of less than %g mL/min is hardly that of a "+
					"pump: was it read in L/min? Then multiply it by 1000", leastFlow))
			}
		}
		open := tube.Capped.Sub(tube.Uncapped)
		if !tube.Uncapped.IsZero() && !tube.Capped.IsZero() && open == 0 && s.Ended.After(s.Started) {
			q.warning(pointer+"/capped_at", "tube.open", "the tube was open for 0 s, capped_at equals uncapped_at: "+
				"correct the time that is wrong")
		}
		volumeOf(s, t, open, pointer+"/volume_ml", q)
	}
}

// conditioned reports tubes that would have been cleaned by heat after they were opened. Where
// that is so of all tubes of a session, its own date is the more likely mistake.
func conditioned(s *Session, q *queries) {
	var late []string
	known := 0
	for i, t := range entries(q.node, "tubes") {
		at, ok := parseTime(t.Member("conditioned_at").text())
		if !ok || s.Tubes[i].Uncapped.IsZero() {
			continue
		}
		known++
		if at.After(s.Tubes[i].Uncapped) {
			late = append(late, fmt.Sprintf("/tubes/%d/conditioned_at", i))
		}
	}
	if len(late) > 1 && len(late) == known {
		q.error("/started_at", "tube.conditioned", "by this date all tubes of the session would have been cleaned by "+
			"heat after they were opened, so nothing would be on them: correct the date of the session, or else "+
			"conditioned_at of its tubes")
		return
	}
	for _, pointer := range late {
		q.error(pointer, "tube.conditioned", "the tube would have been cleaned by heat after it was opened, "+
			"so nothing "+
			"would be on it: correct this date, or that of uncapped_at")
	}
}

// volumeOf compares a tube's volume with that of the protocol, or else with what its flow
// gives while it is open.
func volumeOf(s *Session, t *Node, open time.Duration, pointer string, q *queries) {
	volume, ok := figure(literal(t.Member("volume_ml")))
	if !ok || volume <= 0 {
		return
	}
	const todo = ": check the volume, its decimal sign and its unit (mL)"
	if asked, ok := figure(literal(t.Member("nominal_ml"))); ok && asked > 0 {
		switch short := s.Outcome == "stopped" || s.Outcome == "timed-out"; {
		case volume > volumeFactor*asked:
			q.warning(pointer, "tube.volume", fmt.Sprintf("the volume is more than %g times nominal_ml"+todo,
				volumeFactor))
			return
		case volume*volumeFactor < asked && !short:
			q.warning(pointer, "tube.volume", fmt.Sprintf("the volume is less than 1/%g of nominal_ml"+todo,
				volumeFactor))
			return
		}
	}
	start, ok1 := figure(literal(t.Member("flow_start_ml_min")))
	end, ok2 := figure(literal(t.Member("flow_end_ml_min")))
	if !ok1 || !ok2 || min(start, end) < leastFlow || open <= 0 {
		return
	}
	given := (start + end) / 2 * open.Minutes()
	least := volumeFactor
	if gate, ok := figure(literal(t.Member("gate_kpa"))); ok && gate > 0 || s.Fraction == "end-tidal" {
		least = gatedFactor
	}
	switch {
	case volume > volumeFactor*given:
		q.warning(pointer, "tube.volume", fmt.Sprintf("the volume is more than %g times what the flow gives from "+
			"uncapped_at to capped_at: check the volume, the flow and both times", volumeFactor))
	case volume*least < given:
		q.warning(pointer, "tube.volume", fmt.Sprintf("the volume is less than 1/%g of what the flow gives from "+
			"uncapped_at to capped_at: check the volume, the flow and both times", least))
	}
}
