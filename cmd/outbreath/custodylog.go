package main

import (
	"errors"
	"fmt"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/pack/site"
	"outbreath/schema"
)

const (
	custodyFile = site.LogName
	reviewFile  = site.ReviewName
)

// siteOptions are the options of package site for work on col by the current user.
func siteOptions(col *schema.Collection, f *keys.Folder) site.Options {
	return site.Options{Collection: col, Folder: f, Who: operatorName(""), Now: now}
}

// lookAtLog opens the log of a collection for reading, after comparing it with what the
// key folder knows.
func lookAtLog(u *ui, col *schema.Collection, f *keys.Folder) (*site.Log, error) {
	l, err := site.Open(siteOptions(col, f))
	if l != nil && l.Completed {
		u.say("remark: %s lacked the decisions of the last entry of %s, which an interrupted run had left out; "+
			"they count", reviewFile, custodyFile)
	}
	return l, err
}

// openLog opens and locks the log of a collection for adding entries, and reports what an
// interrupted run left. The caller ends with [site.Log.Release].
func openLog(u *ui, col *schema.Collection, f *keys.Folder) (*site.Log, error) {
	o := siteOptions(col, f)
	o.Waiting = func() { u.say("waiting: another command is working on this collection") }
	l, err := site.OpenToAdd(o)
	if err != nil {
		return nil, err
	}
	if l.Torn != "" {
		u.say("remark: the last line of %s was incomplete; it is now in %s: keep it", custodyFile, l.Torn)
	}
	if l.Completed {
		u.say("remark: %s lacked the decisions of the last entry of %s, which an interrupted run had left out; they "+
			"were added", reviewFile, custodyFile)
	}
	return l, nil
}

// A logCheck is the result of custody --check for a log that agrees with the key folder.
type logCheck struct {
	Entries int    `json:"entries"`
	Signed  int    `json:"signed"` // from the first
	Head    string `json:"head"`   // SHA-256 of the last line
	Detail  string `json:"detail"`

	status int
}

// checkLog describes how much of the log is signed.
func checkLog(l *site.Log) *logCheck {
	c := &logCheck{Entries: len(l.Entries), Signed: l.Signed, Head: l.Head()}
	switch {
	case len(l.Entries) == 0:
		c.Detail = "the log has no entry yet"
	case l.Signed < len(l.Entries):
		c.status = exitResolve
		c.Detail = fmt.Sprintf("the computer stopped before the last entry was signed; the key folder knows it, "+
			"and the %s before it are as they were signed; the next command that adds an entry "+
			"signs it", count(l.Signed, "entry"))
	case len(l.Entries) == 1:
		c.Detail = "the only entry is as it was signed, and as the key folder knows it"
	default:
		c.Detail = fmt.Sprintf("all %s are as they were signed, and as the key folder knows them: nothing was "+
			"changed, removed or reordered", count(l.Signed, "entry"))
	}
	return c
}

// conflictToDo returns the advice when collection and key folder contradict each other.
func conflictToDo(e *site.ConflictError) string {
	const officer = "; if there is a good reason for this, the privacy officer records it: outbreath custody " +
		"COLLECTION --restored --reason TEXT --by NAME"
	const evidence = "change nothing, keep a copy of the collection, and tell the privacy officer"
	switch e.Kind {
	case site.Older:
		return "if this folder came back from a backup, put back its newest copy. If it was copied, and the other " +
			"copy was used since, do not overwrite either: keep both and tell the privacy officer" + officer
	case site.Foreign:
		return fmt.Sprintf("if this folder is a copy made to begin a new week, move %s, %s.sig and %s out of "+
			"it: it then begins its own log. If not, put back this collection's own %s and %s.sig from its newest copy",
			custodyFile, custodyFile, reviewFile, custodyFile, custodyFile) + officer
	case site.NoLog:
		return "if this folder was begun for a new week, it holds sessions that were sealed in an earlier one: give " +
			"fill a log of this week alone, and move the earlier sessions' records and recordings out of this folder. " +
			"If not, put back the newest copy of the collection" + officer
	case site.Newer, site.NoState:
		return "put back the newest copy of the key folder" + officer
	case site.UnknownLog:
		return "name the key folder that this collection was sealed with, or put back its newest copy" + officer
	}
	return evidence + officer
}

// damagedToDo is the advice on a log that cannot be read.
const damagedToDo = "keep a copy of " + custodyFile + " as it is, then " +
	"put back " + custodyFile + " and " + custodyFile + ".sig from the newest copy of the collection, both together. " +
	"If there is none, the privacy officer begins a new log from what the key folder knows, and the damaged " +
	"file is kept: outbreath custody COLLECTION --restored --reason TEXT --by NAME"

// tornOnly reports whether the only fault is an incomplete last line of the log.
func tornOnly(err error) bool { return errors.As(err, new(*custody.TornError)) }
