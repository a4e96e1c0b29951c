package audit

import (
	"cmp"
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
	// More is set in the last issue of a code, which stands for this many that are not
	// listed one by one.
	More int `json:"more,omitempty"`
}

// maxOfCode is how many issues of one code are listed; the rest are counted.
const maxOfCode = 5000

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
		is.list = append(is.list, Issue{code, fault, where, what, do, 0})
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
		more := is.list[at]
		more.Where, more.More = "", is.count[code]-maxOfCode
		out = append(out, more)
	}
	return out
}

// A Kind is all issues that say the same of different places.
type Kind struct {
	Code  string   `json:"code"`
	Fault bool     `json:"fault"`
	What  string   `json:"what"`
	Do    string   `json:"do"`
	Count int      `json:"count"`
	Where []string `json:"-"` // each place once
}

// Fold returns the kinds of a list of issues, faults first, and of each the most frequent
// first.
func Fold(list []Issue) []Kind {
	kinds := []Kind{}
	at := map[[2]string]int{}
	for _, i := range list {
		key := [2]string{i.Code, i.What}
		k, ok := at[key]
		if !ok {
			k = len(kinds)
			at[key] = k
			kinds = append(kinds, Kind{Code: i.Code, Fault: i.Fault, What: i.What, Do: i.Do})
		}
		kinds[k].Count += max(1, i.More)
		if i.Where != "" {
			kinds[k].Where = append(kinds[k].Where, i.Where)
		}
	}
	for k := range kinds {
		slices.Sort(kinds[k].Where)
		kinds[k].Where = slices.Compact(kinds[k].Where)
	}
	slices.SortStableFunc(kinds, func(a, b Kind) int {
		if a.Fault != b.Fault {
			return map[bool]int{true: -1, false: 1}[a.Fault]
		}
		return cmp.Compare(b.Count, a.Count)
	})
	return kinds
}
