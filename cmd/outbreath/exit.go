package main

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/pack/durable"
	"outbreath/pack/intake"
	"outbreath/pack/place"
	"outbreath/pack/register"
	"outbreath/pack/site"
	"outbreath/schema"
)

const (
	exitOK          = 0
	exitResolve     = 1
	exitUsage       = 2
	exitRejected    = 3
	exitIO          = 4
	exitInterrupted = 130 // as shells report an interrupt
)

// statuses says what each exit status means. The help of every command, README.md and the
// topic exit-status give the same texts.
var statuses = []struct {
	status int
	means  string
}{
	{exitOK, "all well"},
	{exitResolve, "a person must resolve something: queries, findings, discrepancies"},
	{exitUsage, "wrong use or configuration"},
	{exitRejected, "rejected: damaged, altered, not authentic, or wrong key"},
	{exitIO, "media or I/O failure, or anything unforeseen"},
	{exitInterrupted, "interrupted (Ctrl-C); nothing was left under a final name"},
}

// statusList is statuses as one sentence.
func statusList() string {
	var all []string
	for _, s := range statuses {
		all = append(all, fmt.Sprintf("%d %s", s.status, s.means))
	}
	return "Exit status: " + strings.Join(all, "; ") + "."
}

// A usageError is a wrong use of the command line or of the folders named there.
type usageError struct {
	msg string // what is wrong
	do  string // what to do
}

func (e *usageError) Error() string { return e.msg }

func usagef(do, format string, args ...any) error {
	return &usageError{msg: fmt.Sprintf(format, args...), do: do}
}

// A rejectedError refuses something that is damaged, altered or not authentic.
type rejectedError struct {
	msg string // what is wrong
	do  string // what to do
}

func (e *rejectedError) Error() string { return e.msg }

func rejectf(do, format string, args ...any) error {
	return &rejectedError{msg: fmt.Sprintf(format, args...), do: do}
}

// A statusError ends a command whose result has already been printed.
type statusError int

func (e statusError) Error() string { return "see above" }

// exitStatus is the one place where an error becomes an exit status.
func exitStatus(err error) int {
	var (
		status statusError
		reg    *register.Error
	)
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &status):
		return int(status)
	case errors.As(err, new(*intake.ReceiptError)): // whatever caused it: the verdicts hold
		return exitIO
	case siteStatus(err) != 0:
		return siteStatus(err)
	case errors.As(err, new(*schema.QueriesError)), errors.As(err, new(*deid.FindingsError)), errors.As(err, new(*deid.InspectionError)), errors.As(err, new(*deid.RosterError)),
		errors.As(err, new(*custody.TornError)), errors.As(err, new(*refusedError)), errors.As(err, new(*deid.ReasonError)), errors.As(err, new(*tubeError)), errors.As(err, new(*keys.MissingSharesError)),
		errors.As(err, new(*custody.ChangedError)), errors.As(err, new(*schema.ChangedError)),
		errors.Is(err, keys.ErrBusy):
		return exitResolve
	case errors.As(err, new(*rejectedError)), errors.As(err, new(*custody.BrokenError)), errors.As(err, new(*custody.AlteredError)):
		return exitRejected
	case errors.As(err, new(*usageError)), errors.As(err, new(*schema.ConfigError)),
		errors.As(err, new(*keys.Error)), errors.As(err, new(*pack.ExistsError)), errors.As(err, new(*pack.TwiceError)), errors.As(err, new(*durable.Refusal)),
		errors.As(err, new(*place.Error)), errors.As(err, new(*intake.Error)):
		return exitUsage
	case errors.As(err, &reg) && reg.Config:
		return exitUsage
	}
	return exitIO
}

// toDo returns what a person can do about err, or "".
func toDo(err error) string {
	var (
		usage    *usageError
		rejected *rejectedError
		media    *pack.MediaError
		reg      *register.Error
		conflict *site.ConflictError
		where    *place.Error
	)
	switch {
	case intakeToDo(err) != "":
		return intakeToDo(err)
	case errors.As(err, &conflict):
		return conflictToDo(conflict)
	case errors.As(err, new(*site.BusyError)), errors.As(err, new(*custody.ChangedError)):
		return "wait until it has ended, then run this command again"
	case errors.As(err, new(*schema.ChangedError)):
		return "close the programs that use the collection, then run this command again"
	case errors.As(err, &usage):
		return usage.do
	case errors.As(err, &rejected):
		return rejected.do
	case errors.As(err, &where):
		return placeToDo(where)
	case errors.As(err, &media):
		return media.Do
	case siteToDo(err) != "":
		return siteToDo(err)
	case errors.As(err, new(*deid.ReasonError)):
		return "give the reason in other words with --tube-reason, then seal again; nothing was written"
	case errors.As(err, new(*keys.MissingSharesError)):
		return "ask further custodians for their shares, and name all files at once"
	case errors.As(err, new(*custody.BrokenError)):
		return damagedToDo
	case errors.As(err, new(*custody.TornError)):
		return "run outbreath custody COLLECTION --repair, which keeps the unfinished line in a file of its own"
	case errors.As(err, &reg):
		return reg.Do
	case errors.As(err, new(*pack.TwiceError)):
		return "name one folder on each of two media, or one folder alone; nothing was written"
	case errors.As(err, new(*pack.ExistsError)):
		return "choose another medium, or another number with --shipment; nothing was changed"
	case errors.Is(err, fs.ErrPermission):
		return "ask for the right to read and write there, or run as the person who owns it"
	}
	return ""
}
