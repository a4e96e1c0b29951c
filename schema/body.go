package schema

import (
	"fmt"
	"slices"
	"strings"
)

// A subject's height and weight held against each other and against the age. Children take
// part in studies, so nothing is odd of itself. The limits are our own and wide (common
// practice, no source): the body mass index of anybody from birth on lies between them.
const (
	leastIndex, mostIndex = 8.0, 90.0 // kg/m²
	adultAge              = 18
	leastHeight           = 100.0    // cm, of an adult
	leastWeight           = 25.0     // kg, of an adult
	likelyLow, likelyHigh = 12., 60. // kg/m², of a guess what was meant
	heavyIndex            = 40.0     // kg/m², of most subjects of a folder
	inch, pound           = 2.54, 0.45359237
	heightField           = "/subject/height_cm"
	weightField           = "/subject/weight_kg"
)

// index is the body mass index in kg/m² of a height in cm and a weight in kg.
func index(height, weight float64) float64 { return weight / (height / 100) / (height / 100) }

func likely(height, weight float64) bool {
	return height >= 40 && height <= 230 && index(height, weight) >= likelyLow && index(height, weight) <= likelyHigh
}

// body checks height and weight of one record.
func body(s *Session, q *queries) {
	height, tall := figure(literal(q.node.At(heightField)))
	weight, heavy := figure(literal(q.node.At(weightField)))
	if tall && heavy && (index(height, weight) < leastIndex || index(height, weight) > mostIndex) {
		var guesses []string
		guess := func(fits bool, what string) {
			if fits {
				guesses = append(guesses, what)
			}
		}
		guess(likely(weight, height), "they are in each other's place")
		guess(likely(height*inch, weight), "the height is in inches")
		guess(likely(height*inch, weight*pound), "they are in inches and pounds")
		guess(likely(height, weight*10), "the decimal sign of the weight is a place too far left")
		guess(likely(height, weight/10), "the decimal sign of the weight is missing")
		message := "height_cm and weight_kg cannot both be true of one person"
		if guesses != nil {
			message += " (perhaps " + strings.Join(guesses, ", or ") + ")"
		}
		q.warning(heightField, "subject.body", message+": correct what is wrong")
		return
	}
	if s.BirthDate == "" || s.Started.IsZero() ||
		s.BirthDate > s.Started.AddDate(-adultAge, 0, 0).Format("2006-01-02") {
		return
	}
	if tall && height < leastHeight {
		q.warning(heightField, "subject.body", fmt.Sprintf("by birth_date this is an adult, and height_cm is less "+
			"than %g: is it in inches, or in another's place? Correct it, or the birth_date", leastHeight))
	}
	if heavy && weight < leastWeight {
		q.warning(weightField, "subject.body", fmt.Sprintf("by birth_date this is an adult, and weight_kg is less "+
			"than %g: correct it, or the birth_date", leastWeight))
	}
}

// pounds reports a folder most of whose subjects would be very heavy, and are not if the
// weights are pounds.
func (c *Collection) pounds() {
	seen := make(map[string]bool)
	var all []float64
	var first *Session
	for _, s := range c.Sessions {
		height, tall := figure(literal(s.Doc.At(heightField)))
		weight, heavy := figure(literal(s.Doc.At(weightField)))
		id, _ := Canonical(s.Subject)
		if !tall || !heavy || seen[id] || index(height, weight) > mostIndex {
			continue
		}
		seen[id] = true
		if first == nil {
			first = s
		}
		all = append(all, index(height, weight))
	}
	slices.Sort(all)
	if len(all) >= fewAlike && all[len(all)/2] > heavyIndex {
		c.report(first, weightField, "subject.body", Warning, fmt.Sprintf("most of the %d subjects of this folder "+
			"would be very heavy for their height: if weight_kg was read in pounds, multiply it by 0.4536", len(all)))
	}
}
