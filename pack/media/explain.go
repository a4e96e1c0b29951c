package media

import "errors"

// A Fault is what a failed file operation means for a medium. Its values are stable, so
// that a caller can choose by them what to advise. Callers may have further ones.
type Fault string

const (
	Mismatch    Fault = "mismatch"     // what was read back is not what was written
	PulledOut   Fault = "pulled-out"   // the medium is gone
	Full        Fault = "full"         // no room is left
	OverQuota   Fault = "over-quota"   // nor within this account's allowance
	FileTooBig  Fault = "file-too-big" // the file system holds no file of that size
	ReadOnly    Fault = "read-only"    // write-protected, by a switch or after a fault
	Broken      Fault = "broken"       // the device failed
	NotAllowed  Fault = "not-allowed"  // this account may not write there
	Unexplained Fault = "unexplained"  // none that media have
)

// Explain returns the fault behind the error of a file operation and what it means, in
// words that are a clause; [Unexplained] and "" for an error that media do not have, or
// nil. Of several joined errors it takes the one that explains the others.
func Explain(err error) (kind Fault, what string) {
	if errors.As(err, new(*MismatchError)) {
		return Mismatch, "what was read back from the medium is not what was written to it"
	}
	for _, e := range explanations {
		for _, code := range e.codes {
			if errors.Is(err, code) {
				return e.kind, e.what
			}
		}
	}
	return Unexplained, ""
}

// An explanation is for codes of the operating system, which each have their
// own; the earlier one wins.
type explanation struct {
	codes []error
	kind  Fault
	what  string
}

var explanations = []explanation{
	{pulledOut, PulledOut, "the medium is no longer there: it was pulled out, or its connection failed"},
	{full, Full, "the medium is full"},
	{overQuota, OverQuota, "the storage allowance for this account on that file system is used up"},
	{fileTooBig, FileTooBig,
		"the file system of the medium, or a limit of this computer, does not allow a file of that size"},
	{readOnly, ReadOnly, "the medium is write-protected, or was switched to read-only after a fault"},
	{broken, Broken, "the medium did not write or read what it was asked to: it may be worn out or damaged"},
	{notAllowed, NotAllowed, "this account may not write there"},
}
