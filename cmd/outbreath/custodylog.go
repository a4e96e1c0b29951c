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

func siteOptions(col *schema.Collection, f *keys.Folder) site.Options {
	return site.Options{Collection: col, Folder: f, Who: operatorName(""), Now: now}
}

// lookAtLog opens the log of a collection for what only reads, after comparing it
// with what the key folder knows.
func lookAtLog(u *ui, col *schema.Collection, f *keys.Folder) (*site.Log, error) {
	l, err := site.Open(siteOptions(col, f))
	if l != nil && l.Completed {
		u.say("remark: %s lacked the decisions of the last entry of %s, which a stopped run had left out; "+
			"they count", reviewFile, custodyFile)
	}
	return l, err
}

// openLog opens the log of a collection for what adds entries. Commands that add
// one begin here, and end with [site.Log.Release].
func openLog(u *ui, col *schema.Collection, f *keys.Folder) (*site.Log, error) {
	o := siteOptions(col, f)
	o.Waiting = func() { u.say("waiting: another command is at work on this collection") }
	l, err := site.OpenToAdd(o)
	if err != nil {
		return nil, err
	}
	if l.Torn != "" {
		u.say("remark: the last line of %s was not written to its end; it is now in %s: keep it", custodyFile, l.Torn)
	}
	if l.Completed {
		u.say("remark: %s lacked the decisions of the last entry of %s, which a stopped run had left out; they "+
			"were written", reviewFile, custodyFile)
	}
	return l, nil
}

// A logCheck is what custody --check says of a log that agrees with the key folder.
type logCheck struct {
	Entries int    `json:"entries"`
	Signed  int    `json:"signed"` // from the first
	Head    string `json:"head"`   // SHA-256 of the last line
	Detail  string `json:"detail"`

	status int
}

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

// conflictToDo says what to do when collection and key folder contradict each other.
func conflictToDo(e *site.ConflictError) string {
	const officer = "; if it is so for a good reason, the privacy officer records it: outbreath custody " +
		"COLLECTION --restored --reason TEXT --by NAME"
	const evidence = "change nothing, keep a copy of the collection, and tell the privacy officer"
	switch e.Kind {
	case site.Older:
		return "if this folder came back from a backup, put back its newest copy. If it was copied, and the other " +
			"copy was used since, put neither over the other: keep both and tell the privacy officer" + officer
	case site.Foreign:
		return fmt.Sprintf("if this folder is a copy that a new week was begun in, move %s, %s.sig and %s out of "+
			"it: then it begins its own log. If not, put back this collection's own %s and %s.sig from its newest copy",
			custodyFile, custodyFile, reviewFile, custodyFile, custodyFile) + officer
	case site.NoLog:
		return "put back the newest copy of the collection" + officer
	case site.Newer, site.NoState:
		return "put back the newest copy of the key folder" + officer
	case site.UnknownLog:
		return "name the key folder that this collection was sealed with, or put back its newest copy" + officer
	}
	return evidence + officer
}

// damagedToDo is for a log that cannot be read.
const damagedToDo = "keep a copy of " + custodyFile + " as it is, then " +
	"put back " + custodyFile + " and " + custodyFile + ".sig from the newest copy of the collection, both together. " +
	"If there is none, the privacy officer begins the log anew from what the key folder knows, and the damaged " +
	"file is kept: outbreath custody COLLECTION --restored --reason TEXT --by NAME"

// tornOnly reports whether err only says that the log's last line is unfinished.
func tornOnly(err error) bool { return errors.As(err, new(*custody.TornError)) }
