package main

import (
	"errors"
	"fmt"
	"strings"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/pack/durable"
	"outbreath/pack/intake"
	"outbreath/pack/place"
	"outbreath/pack/register"
	"outbreath/schema"
	"outbreath/schema/sheet"
)

const (
	exitOK          = 0
	exitResolve     = 1
	exitUsage       = 2
	exitRejected    = 3
	exitIO          = 4
	exitInterrupted = 130 // as shells report an interrupt
)

// statuses are the meanings of the exit statuses. A test compares them with README.md and
// the topic exit-status, and the help of every command ends with them.
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

// statusList returns statuses as one sentence.
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

// usagef returns a usageError with advice and a formatted message.
func usagef(do, format string, args ...any) error {
	return &usageError{msg: fmt.Sprintf(format, args...), do: do}
}

// A rejectedError refuses something that is damaged, altered or not authentic.
type rejectedError struct {
	msg string // what is wrong
	do  string // what to do
}

func (e *rejectedError) Error() string { return e.msg }

// rejectf returns a rejectedError with advice and a formatted message.
func rejectf(do, format string, args ...any) error {
	return &rejectedError{msg: fmt.Sprintf(format, args...), do: do}
}

// A statusError ends a command whose result has already been printed.
type statusError int

func (e statusError) Error() string { return "see above" }

// is reports whether an error of type E is in err.
func is[E error](err error) bool {
	_, ok := errors.AsType[E](err)
	return ok
}

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
	case is[*intake.ReceiptError](err): // whatever it wraps: the verdicts are not affected
		return exitIO
	case siteStatus(err) != 0:
		return siteStatus(err)
	case is[*schema.QueriesError](err), is[*deid.FindingsError](err), is[*deid.InspectionError](err),
		is[*deid.RosterError](err),
		is[*custody.TornError](err), is[*refusedError](err), is[*deid.ReasonError](err), is[*tubeError](err),
		is[*keys.MissingSharesError](err),
		is[*custody.ChangedError](err), is[*schema.ChangedError](err),
		errors.Is(err, keys.ErrBusy):
		return exitResolve
	case is[*rejectedError](err), is[*custody.BrokenError](err), is[*custody.AlteredError](err):
		return exitRejected
	case is[*usageError](err), is[*schema.ConfigError](err),
		is[*keys.Error](err), is[*pack.ExistsError](err), is[*pack.TwiceError](err), is[*durable.Refusal](err),
		is[*place.Error](err), is[*intake.Error](err), is[*sheet.Refusal](err):
		return exitUsage
	case errors.As(err, &reg) && reg.Config:
		return exitUsage
	}
	return exitIO
}
