package main

import (
	"strings"

	"outbreath/pack/custody"
	"outbreath/schema"
)

// sayLeftOut reports how many records are left out because their subjects have withdrawn, in
// this collection or another one of the study; never whose.
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

// officerEntry returns the log entry of a privacy officer's act. It refuses a reason or a
// name that could identify a subject, because the log keeps both permanently.
func officerEntry(col *schema.Collection, by, reason string) (custody.Entry, error) {
	if strings.TrimSpace(reason) == "" {
		return custody.Entry{}, usagef("say why with --reason TEXT; it is kept in custody.jsonl", "--reason is missing")
	}
	if err := textsMayStay(col, by, actText{"--reason", reason}); err != nil {
		return custody.Entry{}, err
	}
	return custody.Entry{When: now(), Who: operatorName(by), Why: reason}, nil
}

// words joins a list with commas, or is "none".
func words(list []string) string {
	if len(list) == 0 {
		return "none"
	}
	return strings.Join(list, ", ")
}
