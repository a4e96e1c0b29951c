package main

import (
	"errors"
	"strings"

	"outbreath/deid"
	"outbreath/pack/custody"
	"outbreath/pack/site"
)

// choose decides on the shipment number. If the same sessions have left before, it offers
// another copy of that shipment, at a terminal.
func (j *sealJob) choose() error {
	wish := site.Wish{Again: j.s.again, Number: j.s.number, Anew: j.s.anew}
	err := j.Choose(wish)
	if sent, ok := errors.AsType[*site.SentError](err); ok && sent.Reason == site.SentSame && interactive(j.u) {
		j.u.tell("%s.", sent.Holds())
		answer, err := askLine(j.u, "Make another copy of "+sent.Number+"? (yes or no) ")
		if err != nil {
			return err
		}
		if a := strings.ToLower(answer); a != "yes" && a != "y" {
			return usagef(sendAnew, "nothing was sealed")
		}
		return j.Choose(site.Wish{Again: sent.Number})
	}
	if err != nil {
		return err
	}
	if x := j.Choice.Copy; x != nil && wish.Again == "" && x.What == custody.Sealed {
		j.u.say("remark: %s was sealed on %s; this makes another copy of it", x.Number, x.Day)
	}
	return nil
}

// amended finds records that were changed after they were sealed. The reason comes from
// --amended or, at a terminal, is asked for: ending the command here would waste the scans.
func (j *sealJob) amended() error {
	err := j.Amendments(j.s.amended)
	changed, ok := errors.AsType[*site.AmendedError](err)
	if !ok || j.s.amended != "" || !interactive(j.u) {
		return err
	}
	j.u.tell("%s.", namesOf(j.col, nil, nil, nil).Shown(changed.Error()))
	for {
		text, err := askLine(j.u, "Reason (no personal details; kept in custody.jsonl; Enter to stop): ")
		if err != nil {
			return err
		}
		if text == "" {
			return changed
		}
		if err := deid.NewTyped(j.col).Why(text); err == nil {
			return j.Amendments(text)
		} else {
			j.u.tell("  the reason %s", err)
		}
	}
}

// sayInterrupted reports the interrupted seals that have been settled.
func sayInterrupted(u *ui, settled []site.Interrupted) {
	const half = "If the medium used then has a folder of this name, do not send it"
	for _, s := range settled {
		switch {
		case s.Found:
			u.say("remark: %s was sealed when the computer stopped; it is complete on this medium", s.Number)
		case s.Copy:
			u.say("remark: the computer stopped while another copy of %s was being written; "+
				"the earlier copy is not affected. %s", s.Number, half)
		default:
			u.say("remark: the computer stopped while %s was being sealed; the number is not used "+
				"again. %s", s.Number, half)
		}
	}
}
