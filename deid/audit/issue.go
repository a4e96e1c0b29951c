package audit

import (
	"fmt"
	"slices"
)

// An Issue is an objection of the audit. It names a place by pseudonym and field, and
// holds no value.
type Issue struct {
	Code  string `json:"code"`  // stable, for example "date.unshifted"
	Fault bool   `json:"fault"` // true: the treatment failed; false: a person must judge
	Where string `json:"where"`
	What  string `json:"what"`
	Do    string `json:"do"`
}

// maxOfCode is how many issues of one code are listed; the rest are counted.
const maxOfCode = 50

// issues collects the issues of one examination.
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

// done returns the issues, faults first, and last one issue for each code of which not
// all were listed.
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
