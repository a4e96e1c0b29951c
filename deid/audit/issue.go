package audit

import (
	"fmt"
	"slices"
)

// An Issue is something that the audit objects to. It names a place by
// pseudonym and field, and holds no value.
type Issue struct {
	Code  string `json:"code"`  // stable, for example "date.unshifted"
	Fault bool   `json:"fault"` // the treatment failed; false: for a person to judge
	Where string `json:"where"`
	What  string `json:"what"`
	Do    string `json:"do"`
}

// maxOfCode is how many issues of one code are told; the rest are counted.
const maxOfCode = 50

// issues gathers them.
type issues struct {
	list  []Issue
	count map[string]int
}

func (is *issues) add(code string, fault bool, where, what, do string) {
	if is.count == nil {
		is.count = map[string]int{}
	}
	if is.count[code]++; is.count[code] <= maxOfCode {
		is.list = append(is.list, Issue{code, fault, where, what, do})
	}
}

// done returns all, faults first.
func (is *issues) done() []Issue {
	out := []Issue{}
	for _, fault := range []bool{true, false} {
		for _, i := range is.list {
			if i.Fault == fault {
				out = append(out, i)
			}
		}
	}
	var codes []string
	for code, n := range is.count {
		if n > maxOfCode {
			codes = append(codes, code)
		}
	}
	slices.Sort(codes)
	for _, code := range codes {
		at := slices.IndexFunc(is.list, func(i Issue) bool { return i.Code == code })
		out = append(out, Issue{code, is.list[at].Fault, "",
			fmt.Sprintf("and %d more of the same", is.count[code]-maxOfCode), is.list[at].Do})
	}
	return out
}
