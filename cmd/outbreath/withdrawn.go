package main

import (
	"strings"

	"outbreath/pack/custody"
	"outbreath/schema"
)

// sayLeftOut tells how many records of subjects who have withdrawn, from this
// collection or another of the study, are left out, never whose.
func sayLeftOut(u *ui, gone []*schema.Session) {
	if len(gone) == 0 {
		return
	}
	be, their := "are", "their"
	if len(gone) == 1 {
		be, their = "is", "its"
	}
	u.say("remark: %s %s left out, because consent was withdrawn; %s tubes must not be "+
		"in the box", count(len(gone), "record"), be, their)
}

// officerEntry is the entry of a privacy officer's act. The reason must not name
// anybody: it stays in the log for good.
func officerEntry(col *schema.Collection, by, reason string) (custody.Entry, error) {
	if strings.TrimSpace(reason) == "" {
		return custody.Entry{}, usagef("say why with --reason TEXT; it is kept in custody.jsonl", "--reason is missing")
	}
	if err := textsMayStay(col, by, actText{"--reason", reason}); err != nil {
		return custody.Entry{}, err
	}
	return custody.Entry{When: now(), Who: operatorName(by), Why: reason}, nil
}

// words joins with commas, for the screen.
func words(list []string) string {
	if len(list) == 0 {
		return "none"
	}
	return strings.Join(list, ", ")
}
