package reach

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Target says what a plan must reach. The zero value is reached by every plan.
type Target struct {
	K int // least number of subjects in a class; at most 1: any
	// L is the least number of distinct values of every sensitive field in a class; at most 1: any.
	// From 2 on, no item of a list may be that of all subjects of a class.
	L int
}

// most bounds K and L.
const most = 1_000_000

// ParseTarget reads words such as "k=5", "risk=0.2" and "l=3", which may be separated by commas.
// A greatest risk r is the same as k = 1/r, rounded up: it is the chance of an attacker who knows
// that the subject is in the data. The greatest of several k applies.
func ParseTarget(words ...string) (Target, error) {
	var t Target
	for _, word := range strings.Split(strings.Join(words, ","), ",") {
		name, value, _ := strings.Cut(strings.TrimSpace(word), "=")
		switch name {
		case "k", "l":
			n, err := strconv.Atoi(value)
			if err != nil || n < 2 || n > most {
				return t, fmt.Errorf("%s must be a whole number from 2 to 1,000,000", name)
			}
			if name == "k" {
				t.K = max(t.K, n)
			} else {
				t.L = max(t.L, n)
			}
		case "risk":
			r, err := strconv.ParseFloat(value, 64)
			if err != nil || !(r >= 1.0/most && r < 1) {
				return t, errors.New("risk must be greater than 0 and less than 1, for example 0.2")
			}
			t.K = max(t.K, int(math.Ceil(1/r-1e-9)))
		default:
			return t, errors.New("a target is k=5, risk=0.2 or l=3, with numbers of your own")
		}
	}
	return t, nil
}

// String returns the target in words, for example "k=5, l=3".
func (t Target) String() string {
	var parts []string
	if t.K > 1 {
		parts = append(parts, fmt.Sprintf("k=%d", t.K))
	}
	if t.L > 1 {
		parts = append(parts, fmt.Sprintf("l=%d", t.L))
	}
	return strings.Join(parts, ", ")
}
