package media

import "errors"

// Explain says in words what a failed file operation means and what to do, for
// the failures that media have; "" and "" for any other. Of several joined
// errors it takes the one that explains the others.
func Explain(err error) (what, do string) {
	if errors.As(err, new(*MismatchError)) {
		return "what was read back from the medium is not what was written to it",
			"do not send this medium: take another one, and do not use this one again"
	}
	for _, e := range explanations {
		for _, code := range e.codes {
			if errors.Is(err, code) {
				return e.what, e.do
			}
		}
	}
	return "", ""
}

// An explanation is for codes of the operating system, which each have their
// own; the earlier one wins.
type explanation struct {
	codes    []error
	what, do string
}

var explanations = []explanation{
	{pulledOut,
		"the medium is no longer there: it was pulled out, or its connection failed",
		"plug it in again, in another port if this happens twice, then run the command again from the start"},
	{full,
		"the medium is full",
		"remove files that are not needed there, or take a larger medium, then run the command again"},
	{overQuota,
		"the storage allowance for this account on that file system is used up",
		"delete files there, or ask whoever runs the computers for more room, then run the command again"},
	{fileTooBig,
		"the file system of the medium, or a limit of this computer, does not allow a file of that size",
		"run the command again with a smaller part size (--part-size), or use a medium formatted as exFAT"},
	{readOnly,
		"the medium is write-protected, or was switched to read-only after a fault",
		"look for a write-protect switch on the medium; if there is none, have it checked or take another one, then run the command again"},
	{broken,
		"the medium did not write or read what it was asked to: it may be worn out or damaged",
		"do not send this medium: take another one and run the command again"},
	{notAllowed,
		"this account may not write there",
		"choose another folder, or ask whoever runs the computers for permission to write to it, then run the command again"},
}
