package audit

import "fmt"

// An Untested is something that the audit did not test, and why: it is never counted as
// good.
type Untested struct {
	What string `json:"what"`
	Why  string `json:"why"`

	Lacks Lack `json:"-"`
}

// tried returns the attacks; those that found nothing to be tried on were not run.
func tried(list []Attack) []Attack {
	for i := range list {
		if a := &list[i]; a.Tried == 0 && a.Verdict != NotRun {
			a.Verdict, a.Detail = NotRun, "nothing leaves on which it could be tried"
		}
	}
	return list
}

// untested lists what this run did not test.
func (e *examiner) untested(r *Report) []Untested {
	list := []Untested{}
	if len(r.Risk.Quasi) == 0 {
		list = append(list, Untested{What: "whether subjects can be told apart",
			Why: "the plan marks no field as a quasi-identifier, so nothing was computed"})
	}
	for _, a := range r.Attacks {
		if a.Verdict == NotRun {
			list = append(list, Untested{a.Name, a.Detail, a.Lacks})
		}
	}
	partial := 0
	for _, t := range e.o.Recordings {
		if t.Partial {
			partial++
		}
	}
	if partial > 0 {
		list = append(list, Untested{What: "annotations of large recordings",
			Why: fmt.Sprintf("%d recordings are larger than %d MB; only the annotations of their beginning are "+
				"listed for reading", partial, maxDrawn>>20)})
	}
	return list
}
