package rederive

import (
	"cmp"
	"fmt"
	"slices"
)

// A Result is what a comparison found. It holds no value of source or bag.
type Result struct {
	Sorts      []Sort     `json:"sorts"` // what leaves, by what it is
	Total      Tally      `json:"total"` // sum of Sorts
	Mismatches []Mismatch `json:"mismatches"`
	NotTested  []Untested `json:"not_tested"`
	Spread     []Spread   `json:"distributions"`
	Keys       []KeyTest  `json:"key_tests"`
	Subjects   int        `json:"subjects"` // whose records left and were compared
	Sessions   int        `json:"sessions"`
	Generation string     `json:"key_id"` // of the key under which the names are pseudonyms; "" if none was recognised
}

// OK reports whether nothing differs and something was compared. It does not say that
// everything could be: see NotTested.
func (r *Result) OK() bool {
	return len(r.Mismatches) == 0 && r.Sessions > 0 && r.Total.Values.Rederived > 0
}

// A Count parts the values, or the bytes, of what leaves: each is in one of three.
type Count struct {
	Rederived  int64 `json:"rederived"` // computed again, and equal
	Mismatched int64 `json:"mismatched"`
	NotTested  int64 `json:"not_tested"`
}

// All returns the sum.
func (c Count) All() int64 { return c.Rederived + c.Mismatched + c.NotTested }

func (c *Count) add(o Count) {
	c.Rederived += o.Rederived
	c.Mismatched += o.Mismatched
	c.NotTested += o.NotTested
}

// A Tally counts the values and the bytes of files.
type Tally struct {
	Files  int   `json:"files"`
	Values Count `json:"values"`
	Bytes  Count `json:"bytes"`
}

// A Sort is one sort of what leaves, such as "records".
type Sort struct {
	Name string `json:"name"`
	Tally
}

// Sorts of what leaves.
const (
	Records    = "records"
	CSVs       = "CSV recordings"
	EDFs       = "EDF recordings"
	Summary    = "figures of recordings"
	Tables     = "tables"
	PlanSchema = "schema"
	Treatment  = "treatment.json"
	TagFiles   = "tag files"
	Names      = "names of files"
	Headers    = "headers of the archive"
	Strangers  = "other files"
)

var sorts = []string{Records, CSVs, EDFs, Summary, Tables, PlanSchema, Treatment, TagFiles, Names, Headers, Strangers}

// A Mismatch is a difference between what leaves and what was computed.
type Mismatch struct {
	File  string `json:"file"`  // in the bag, "data/sessions/....json"; described if its name is none of the tool's
	Field string `json:"field"` // JSON pointer, column, field of a header or position; "" for the file as a whole
	What  string `json:"what"`
}

func (m Mismatch) compare(o Mismatch) int {
	return cmp.Or(cmp.Compare(m.File, o.File), cmp.Compare(m.Field, o.Field), cmp.Compare(m.What, o.What))
}

// An Untested is something that leaves and could not be computed again.
type Untested struct {
	What string `json:"what"`
	Why  string `json:"why"`
	// values that this concerns; 0 where they cannot be counted, or are none
	Values int64 `json:"values"`
}

// A Spread is a test of how the shifts are distributed.
type Spread struct {
	Name      string  `json:"name"`
	Test      string  `json:"test"`
	Level     float64 `json:"level"` // probability of a false alarm
	Subjects  int     `json:"subjects"`
	Least     int     `json:"least"` // subjects without which the test says nothing
	Statistic float64 `json:"statistic"`
	Critical  float64 `json:"critical"`
	Tested    bool    `json:"tested"`
	OK        bool    `json:"ok"` // false if not tested
}

// A KeyTest is an attempt to make the pseudonyms of the bag without the site's key.
type KeyTest struct {
	Name   string `json:"name"`
	Tried  int64  `json:"tried"`
	Hits   int64  `json:"hits"`
	Tested bool   `json:"tested"`
}

// maxMismatches is how many are listed; all are counted in the tallies.
const maxMismatches = 1000

// A record of what was found so far.
type findings struct {
	tally    map[string]*Tally
	list     []Mismatch
	beyond   int
	untested map[[2]string]int64
}

func (f *findings) sort(name string) *Tally {
	if f.tally == nil {
		f.tally = map[string]*Tally{}
	}
	if f.tally[name] == nil {
		f.tally[name] = &Tally{}
	}
	return f.tally[name]
}

func (f *findings) mismatch(file, field, what string) {
	if len(f.list) < maxMismatches {
		f.list = append(f.list, Mismatch{file, field, what})
	} else {
		f.beyond++
	}
}

func (f *findings) cannot(what, why string, values int64) {
	if f.untested == nil {
		f.untested = map[[2]string]int64{}
	}
	f.untested[[2]string{what, why}] += values
}

// result sums up.
func (f *findings) result() *Result {
	r := &Result{Mismatches: slices.Clone(f.list), NotTested: []Untested{}, Spread: []Spread{}, Keys: []KeyTest{}}
	if r.Mismatches == nil {
		r.Mismatches = []Mismatch{}
	}
	slices.SortFunc(r.Mismatches, Mismatch.compare)
	r.Mismatches = slices.Compact(r.Mismatches)
	if f.beyond > 0 {
		r.Mismatches = append(r.Mismatches, Mismatch{"", "", fmt.Sprintf("and %d more", f.beyond)})
	}
	for _, name := range sorts {
		if t := f.tally[name]; t != nil {
			r.Sorts = append(r.Sorts, Sort{name, *t})
			r.Total.Files += t.Files
			r.Total.Values.add(t.Values)
			r.Total.Bytes.add(t.Bytes)
		}
	}
	for k, n := range f.untested {
		r.NotTested = append(r.NotTested, Untested{k[0], k[1], n})
	}
	slices.SortFunc(r.NotTested, func(a, b Untested) int {
		return cmp.Or(cmp.Compare(a.What, b.What), cmp.Compare(a.Why, b.Why))
	})
	return r
}
