package main

import (
	"errors"
	"strings"

	"outbreath/pack/site"
)

const (
	sendAnew = "to send them under a new number: outbreath seal COLLECTION --to MEDIA --new-number"
	leaveOut = "leave out --again and --shipment"
)

// numberToDo returns the advice on a refused shipment number.
func numberToDo(e *site.NumberError) string {
	switch e.Reason {
	case site.NotANumber:
		return "write it as " + e.Site + "-0012, or only 12"
	case site.NumberFar:
		return "compare it with the label; the next number of this site is " + e.Next
	}
	return map[site.NumberReason]string{
		site.NumberAcknowledged: "nothing needs to be sent again; for a new shipment " + leaveOut,
		site.NumberGivenUp:      leaveOut + ": the next number is taken",
		site.NumberNeverSealed:  "outbreath custody COLLECTION lists what was sealed",
		site.NumberUsed: "leave out --shipment, and the next number is taken; " +
			"for another copy of it give --again, without --new-number",
		site.NumberWithdrawn: "seal what is left under a new number, without that subject: " +
			"outbreath seal COLLECTION --to MEDIA --new-number",
		site.NumberGivenUpBefore: "nothing needs to be done; outbreath custody lists it",
		site.NumberAnswered:      "see outbreath custody; what the laboratory objects to is recorded with --settle",
		site.NumberElsewhere: "give it up in the collection that it was sealed from: the one in which outbreath " +
			"custody lists " +
			e.Number + ", sealed on " + e.Day,
		site.NumberSettled: "see outbreath custody for the shipments whose receipt objects to something",
		site.NumberTaken: "another collection took this number while yours was being sealed, and nothing was sealed: " +
			"run seal again, without --shipment; it takes the next number",
	}[e.Reason]
}

// sentToDo returns the advice on sessions that have left before.
func sentToDo(e *site.SentError) string {
	if e.Reason != site.SentSame {
		return sendAnew
	}
	digits := strings.TrimLeft(e.Number[strings.LastIndex(e.Number, "-")+1:], "0")
	return "for another copy of it: outbreath seal COLLECTION --to MEDIA --again " + digits + "; " + sendAnew
}

// siteReceiptToDo returns the advice on a receipt that does not count here.
func siteReceiptToDo(e *site.ReceiptError) string {
	return map[site.ReceiptReason]string{
		site.ReceiptUnknown: "name the collection that it was sealed from; if this is the one, entries were removed " +
			"from its log: tell the privacy officer",
		site.ReceiptElsewhere: "tell the laboratory by telephone; nothing was recorded",
		site.ReceiptFuture: "compare this computer's clock with the laboratory's, and ask for a new receipt; " +
			"nothing was recorded",
		site.ReceiptEarly: "compare this computer's clock with the laboratory's, and ask the laboratory by telephone " +
			"for a new receipt; nothing was recorded",
		site.ReceiptOtherArchive: "ask the laboratory by telephone what it received; nothing was recorded",
		site.ReceiptOtherReader: "ask both laboratories by telephone how the shipment came there; if the " +
			"laboratory's key was listed without a name, give it one with keys trust FILE --name NAME",
	}[e.Reason]
}

// contentsToDo returns the advice on a number that would have two contents.
func contentsToDo(e *site.ContentsError) string {
	if e.Copy {
		return "restore the collection as it was then, from your backup, and state the same about the box " +
			"(--tubes, --tube-reason); or seal what it holds now under a new number, without --again"
	}
	return "leave out --shipment, and the next free number is taken"
}

const amendedToDo = "say why with --amended TEXT, without anything about a person; " +
	"or restore the records as they were"

const planToDo = "put the previous plan back into study.json; if the privacy officer has decided on another one, " +
	"give the reason with --new-plan TEXT"

const clockToDo = "set the clock, then seal again; if it is right and the earlier entry was written under a " +
	"wrong clock, add --clock-is-right"

// siteStatus returns the exit status of an error of package site, or 0 for any other error.
// What another program did in the meantime is for a person to resolve (status 1): the command
// was right, and can be given again.
func siteStatus(err error) int {
	number, ok := errors.AsType[*site.NumberError](err)
	switch {
	case is[*site.WithdrawnError](err), is[*site.SealAtWorkError](err), is[*site.SourceChangedError](err),
		is[*site.BusyError](err), is[*site.StrangerError](err), ok && number.Reason == site.NumberTaken:
		return exitResolve
	case is[*site.ConflictError](err), is[*site.ReceiptError](err):
		return exitRejected
	case ok, is[*site.SentError](err), is[*site.ContentsError](err), is[*site.ClockError](err),
		is[*site.PlanError](err), is[*site.AmendedError](err), is[*site.LastNumberError](err),
		errors.Is(err, site.ErrSamePlan), errors.Is(err, site.ErrNobodyLeft), errors.Is(err, site.ErrNoSubject),
		errors.Is(err, site.ErrOneGeneration), errors.Is(err, site.ErrNothing), errors.Is(err, site.ErrNoSuchTube):
		return exitUsage
	}
	return 0
}

// siteRemedies are the advice on errors of package site.
var siteRemedies = []remedy{
	of(numberToDo),
	of(sentToDo),
	of(contentsToDo),
	of(siteReceiptToDo),
	of(lastNumberToDo),
	on[*site.ClockError](clockToDo),
	on[*site.PlanError](planToDo),
	behind(site.ErrSamePlan, "leave out --new-plan"),
	on[*site.AmendedError](amendedToDo),
	behind(site.ErrNobodyLeft, "there is nothing to seal"),
	behind(site.ErrNoSubject, "compare the id with roster.csv, character by character; if it is right, "+
		"run withdraw for the collection whose roster has it"),
	behind(site.ErrOneGeneration, "there is nothing to join before keys rotate"),
	behind(site.ErrNoSuchTube, "write --tube-reason BARCODE=TEXT, with the barcode as it is listed"),
	on[*site.StrangerError]("remove it and scan the box again"),
	behind(site.ErrNothing, "go on: no command refuses this collection"),
	on[*site.SealAtWorkError]("wait until it has ended, then seal again; nothing was changed"),
	on[*site.SourceChangedError]("close the programs that use the collection, run check again, then seal"),
	on[*site.WithdrawnError]("the withdrawal was recorded while this collection was being sealed, " +
		"and nothing was sealed: run seal again; it leaves that subject out"),
}

// siteToDo returns the advice on an error of package site, or "" for any other error.
func siteToDo(err error) string {
	for _, a := range siteRemedies {
		if do := a(err); do != "" {
			return do
		}
	}
	return ""
}

// lastNumberToDo returns the advice when the numbers of a site are used up.
func lastNumberToDo(e *site.LastNumberError) string {
	if e.Free == "" {
		return "agree on another site code with the laboratory, and begin a new collection with it"
	}
	return "name a free number when you seal, such as --shipment " + e.Free
}
