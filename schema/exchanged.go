package schema

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// What two sessions have of each other: their days, or their tubes. It shows where numbers
// go up with time but for two of them. How many sessions show it is our own (common
// practice, no source).
const (
	fewOrdered = 4 // session_ids, which are given in order
	fewTaken   = 7 // codes, which may be taken in any order: of 5040 of them, 21 are but for two in the right one
)

// A numbered session is one whose code at a pointer has a number of its own.
type numbered struct {
	*Session
	n   int
	day string
}

// exchanged reports two sessions whose days, tubes or kits are perhaps each other's.
func (c *Collection) exchanged() {
	ids := c.numbered("/session_id")
	if c.exchangedDays(ids) {
		return
	}
	for _, pointer := range []string{"/tubes/0/barcode", "/kit/unit"} {
		all := c.numbered(pointer)
		if len(all) < fewTaken {
			continue
		}
		slices.SortStableFunc(all, func(a, b numbered) int { return a.Started.Compare(b.Started) })
		a, b := misplaced(all, func(a, b numbered) int { return cmp.Compare(a.n, b.n) })
		told := c.told()
		if a == nil || slices.ContainsFunc([]string{pointer, "/started_at",
			"/tubes/0/uncapped_at"}, func(at string) bool {
			return told[[2]string{a.File, at}] || told[[2]string{b.File, at}]
		}) {
			continue
		}
		what := pointer[strings.LastIndexByte(pointer, '/')+1:]
		for _, two := range [][2]*numbered{{a, b}, {b, a}} {
			c.report(two[0].Session, pointer, "session.exchanged", Warning,
				fmt.Sprintf("%s of this session and that in "+
					"%s are perhaps each other's, or their times are: in all other sessions they go up with "+
					"time; look "+
					"at the labels and the notes taken at the time, and correct what is wrong", what,
					two[1].at(pointer)))
		}
		return
	}
}

// exchangedDays reports two sessions that are in order by their numbers once they exchange
// their days. Where one day alone explains it, outOfOrder has said so.
func (c *Collection) exchangedDays(all []numbered) bool {
	slices.SortStableFunc(all, func(a, b numbered) int { return cmp.Compare(a.n, b.n) })
	if len(all) < fewOrdered && !(len(all) == fewOrdered-1 && c.agree(all)) {
		return false
	}
	a, b := misplaced(all, func(a, b numbered) int { return cmp.Compare(a.day, b.day) })
	said := 0
	for _, p := range c.Problems {
		if p.Rule == "session.order" {
			said++
		}
	}
	if a == nil || said == 1 {
		return said > 0
	}
	c.Problems = slices.DeleteFunc(c.Problems, func(p Problem) bool { return p.Rule == "session.order" })
	const at = "/started_at"
	for _, two := range [][2]*numbered{{a, b}, {b, a}} {
		c.report(two[0].Session, at, "session.exchanged", Warning,
			fmt.Sprintf("by the order of session_id, the day of "+
				"this session and that in %s are perhaps each other's, or one of them is wrong; all others "+
				"are in order: "+
				"compare both days with the notes taken at the time, and correct what is wrong", two[1].at(at)))
	}
	return true
}

// numbered returns the sessions with the number in their code at pointer, nil unless all
// codes are of one form and no two have one number.
func (c *Collection) numbered(pointer string) []numbered {
	far, seen, prefix := c.far(), make(map[int]bool), ""
	var all []numbered
	for _, s := range c.Sessions {
		if far[s.File] || s.Started.IsZero() {
			continue
		}
		text := strings.ToLower(literal(s.Doc.At(pointer)))
		n, ok := lastNumber(text)
		own := strings.TrimRight(text[:strings.LastIndexAny(text, "0123456789")+1], "0123456789")
		if !ok || seen[n] || len(all) > 0 && own != prefix {
			return nil
		}
		seen[n], prefix = true, own
		all = append(all, numbered{s, n, s.Started.Format(time.DateOnly)})
	}
	return all
}

// agree reports whether the barcodes go up with the session_ids, in whose order all is.
func (c *Collection) agree(all []numbered) bool {
	codes := c.numbered("/tubes/0/barcode")
	slices.SortStableFunc(codes, func(a, b numbered) int { return cmp.Compare(a.n, b.n) })
	return slices.EqualFunc(all, codes, func(a, b numbered) bool { return a.Session == b.Session })
}

// misplaced returns the two sessions that keep all from being in order, nil if there are no
// two that do.
func misplaced(all []numbered, compare func(a, b numbered) int) (a, b *numbered) {
	sorted := slices.SortedStableFunc(slices.Values(all), compare)
	var at []int
	for i := range all {
		if compare(all[i], sorted[i]) != 0 {
			at = append(at, i)
		}
	}
	if len(at) != 2 {
		return nil, nil
	}
	return &all[at[0]], &all[at[1]]
}
